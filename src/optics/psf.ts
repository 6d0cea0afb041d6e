import { add, type Complex, length, scale, ZERO } from './complex.ts';
import { type FilterName, type WavelengthSample, wavelengths } from './filter.ts';
import { type Pupil, pupilAt, transmission } from './pupil.ts';
import { kolmogorovTransfer } from './seeing.ts';
import { type Smear, STEADY } from './smear.ts';
import { effectiveFocalRatio, type Telescope, umPerArcsec } from './telescope.ts';
import { type Transfer, transferOf } from './transfer.ts';
import { type Coefficients, centroidUm, wavefrontUm } from './wavefront.ts';
import { type Workspace, workspace } from './workspace.ts';

/** Everything but the wavefront that shapes a star's image. */
export interface ImageConditions {
  readonly pixelUm: number;
  readonly filter: FilterName;
  /** FWHM of the long exposure, the same at all wavelengths of the band; 0: none. */
  readonly seeingArcsec: number;
  readonly smear?: Smear;
  /** Displacement of the image at each wavelength (atmospheric dispersion), um; none by default. */
  readonly shiftUm?: (wavelengthUm: number) => Complex;
  /** Puts the centre of gravity that coma displaces on the ideal place, so that the image needs a smaller box. */
  readonly recentred?: boolean;
  /** Where the star stands, mm from the middle; matters to a cut light cone only. */
  readonly field?: Complex;
  /** Wavelengths across the band; more where dispersion spreads them. */
  readonly samples?: number;
  /** Wavelengths in place of the filter's, shortest first. */
  readonly lights?: readonly WavelengthSample[];
  readonly grid?: Grid;
}

/** Sampling of the image: `size` x `size` points, `oversample` of them to a pixel. */
export interface Grid {
  readonly size: number;
  readonly oversample: number;
}

/**
 * Image of one star integrated over pixels: `image[j * size + i]` is the share of the star's light that falls on a
 * pixel whose centre stands at ((i - size/2), (j - size/2)) / oversample pixels from the star's ideal place.
 */
export interface Psf {
  readonly size: number;
  readonly oversample: number;
  readonly pixelUm: number;
  readonly image: Float32Array;
}

/** Wavelengths across a band unless said: an octave of diffraction is smooth enough that 3 serve near focus. */
export const DEFAULT_SAMPLES = 3;
/** Points a pixel at least, so that sixth-order interpolation between them is good to 1e-4 of the peak at FWHM 1.5 px. */
const MIN_OVERSAMPLE = 4;
/** Points a pixel at least for stars so wide that a coarse grid serves, and what seeing may leave of folded light. */
const MIN_COARSE_OVERSAMPLE = 3;
const FOLDED_SHARE = 1e-3;
/** Blur other than coma up to which that holds, in FWHM of seeing. */
const COARSE_BLUR = 2;
/** The image's periodic box spans at least so many FWHM of seeing, plus the geometric blur. */
const BOX_FWHM = 8;
const MIN_BOX_PX = 24;
const MAX_GRID = 2048;
/** Grids up to this are quick to transform; above it a coarser sampling is tried first. */
export const QUICK_GRID = 256;

/** Largest distance of a ray from the light's centre of gravity, um, bounded by the sum of the terms. */
export function blurRadiusUm(w: Coefficients, focalRatio: number): number {
  return 2 * focalRatio * (2 * Math.abs(w.d) + 2 * length(w.a) + 2 * length(w.c) + 3 * length(w.t) + 4 * Math.abs(w.s));
}

function smearRadiusUm(smear: Smear): number {
  return (
    length(smear.driftUm) / 2 +
    3 * smear.jitterUm +
    3 * length(smear.shakeUm) +
    length(smear.jumpUm) +
    length(smear.swingUm)
  );
}

export function lightsOf(conditions: ImageConditions): readonly WavelengthSample[] {
  return conditions.lights ?? wavelengths(conditions.filter, conditions.samples ?? DEFAULT_SAMPLES);
}

/** Width of the box that holds a star's image, pixels. */
export function boxPxFor(telescope: Telescope, w: Coefficients, conditions: ImageConditions, boxFwhm: number): number {
  const focalRatio = effectiveFocalRatio(telescope);
  const seeingUm = conditions.seeingArcsec * umPerArcsec(telescope);
  const airyUm = 2.44 * lightsOf(conditions)[0].um * focalRatio;
  const boxUm =
    boxFwhm * Math.hypot(seeingUm, airyUm, conditions.pixelUm) +
    2.1 *
      (blurRadiusUm(w, focalRatio) +
        (conditions.recentred === true ? 0 : length(centroidUm(telescope, w))) +
        smearRadiusUm(conditions.smear ?? STEADY));
  return Math.max(MIN_BOX_PX, boxUm / conditions.pixelUm);
}

/** Smallest grid that neither aliases the diffraction at the shortest wavelength nor wraps the image round. */
export function gridFor(telescope: Telescope, w: Coefficients, conditions: ImageConditions, boxFwhm = BOX_FWHM): Grid {
  const focalRatio = effectiveFocalRatio(telescope);
  const shortest = lightsOf(conditions)[0].um;
  const seeingUm = conditions.seeingArcsec * umPerArcsec(telescope);
  // Diffraction is sampled at lambda N / 2, or a little coarser where seeing wipes out its finest part anyway.
  const finest = (seeingUm >= 2 * shortest * focalRatio ? 0.6 : 0.5) * shortest * focalRatio;
  const oversample = Math.max(MIN_OVERSAMPLE, Math.ceil(conditions.pixelUm / finest));
  const boxPx = boxPxFor(telescope, w, conditions, boxFwhm);
  const size = sizeFor(boxPx * oversample);
  const withoutComa = blurRadiusUm({ ...w, c: ZERO }, focalRatio);
  if (size <= QUICK_GRID || withoutComa > COARSE_BLUR * seeingUm) return { size, oversample };
  // Stars with long tails need no fine points (discs have sharp rims, which do). Sampled at `step`, what lies beyond half of 1/step is folded onto the frequencies
  // from 1/step - 1/(lambda N) up: harmless where seeing leaves nothing of those.
  for (let coarse = MIN_COARSE_OVERSAMPLE; coarse < oversample; coarse++) {
    const stepUm = conditions.pixelUm / coarse;
    const foldedFrom = 1 / stepUm - 1 / (shortest * focalRatio);
    const left = foldedFrom <= 0 ? 1 : kolmogorovTransfer(seeingUm, Math.min(foldedFrom, 0.5 / stepUm));
    const coarseSize = sizeFor(boxPx * coarse);
    if (left < FOLDED_SHARE && coarseSize < size) return { size: coarseSize, oversample: coarse };
  }
  return { size, oversample };
}

function sizeFor(points: number): number {
  let size = 64;
  while (size < points && size < MAX_GRID) size *= 2;
  return size;
}

const MASKS_KEPT = 16;
const masks = new Map<string, Mask>();

interface Mask {
  readonly cells: Float64Array;
  /** Clear area in cells. */
  readonly area: number;
}

/** Transmission of the pupil's cells, (2 reach + 1)^2 values, and its sum; a frame's stars share it at each wavelength. */
function maskOf(pupil: Pupil, across: number): Mask {
  const key = JSON.stringify([pupil, across]);
  const known = masks.get(key);
  if (known) return known;
  const step = 2 / across;
  const reach = Math.ceil(across / 2);
  const cells = new Float64Array((2 * reach + 1) ** 2);
  let area = 0;
  let at = 0;
  for (let j = -reach; j <= reach; j++) {
    for (let i = -reach; i <= reach; i++) {
      const open = transmission(pupil, i * step, j * step, step);
      cells[at++] = open;
      area += open;
    }
  }
  const oldest = masks.keys().next();
  if (masks.size >= MASKS_KEPT && !oldest.done) masks.delete(oldest.value);
  const mask = { cells, area };
  masks.set(key, mask);
  return mask;
}

/** Writes A exp(2 pi i W / lambda) into the first rows of `work.a`; returns how many rows are used. */
function writePupil(
  work: Workspace,
  mask: Mask,
  w: Coefficients,
  shiftUm: Complex,
  across: number,
  wavelengthUm: number,
  focalRatio: number,
): number {
  const step = 2 / across;
  const reach = Math.ceil(across / 2);
  const rows = 2 * reach + 1;
  // A shift u of the image is a wavefront slope u / (2N) over the unit pupil.
  const tiltX = shiftUm.x / (2 * focalRatio);
  const tiltY = shiftUm.y / (2 * focalRatio);
  const wave = (2 * Math.PI) / wavelengthUm;
  const { a: field, compiled } = work;
  const { size } = work.fft;
  if (compiled !== null) {
    const { d, a, c, t, s } = w;
    work.cells.set(mask.cells);
    compiled.run.pupil(
      ...([field.byteOffset, size, work.cells.byteOffset, reach, step, wave] as const),
      ...([d, a.x, a.y, c.x, c.y, t.x, t.y, s, tiltX, tiltY] as const),
    );
    return rows;
  }
  let cell = 0;
  field.fill(0, 0, 2 * rows * size);
  for (let j = -reach; j <= reach; j++) {
    const y = j * step;
    for (let i = -reach; i <= reach; i++) {
      const x = i * step;
      const open = mask.cells[cell++];
      if (open === 0) continue;
      const phase = wave * (wavefrontUm(w, x, y) + tiltX * x + tiltY * y);
      const at = 2 * ((j + reach) * size + i + reach);
      field[at] = open * Math.cos(phase);
      field[at + 1] = open * Math.sin(phase);
    }
  }
  return rows;
}

/**
 * Diffraction image summed over wavelengths, TRANSPOSED, its origin at index 0 and periodic, as shares of the light:
 * I = |FFT{A exp(2 pi i W / lambda)}|^2 with the kernel exp(-i...), pixel = lambda N (pupil diameter / grid).
 */
function diffraction(
  telescope: Telescope,
  w: Coefficients,
  conditions: ImageConditions,
  lights: readonly WavelengthSample[],
  grid: Grid,
  work: Workspace,
): void {
  const { size } = grid;
  const stepUm = conditions.pixelUm / grid.oversample;
  const focalRatio = effectiveFocalRatio(telescope);
  const pupil = pupilAt(telescope, conditions.field ?? ZERO);
  const back = conditions.recentred === true ? scale(centroidUm(telescope, w), -1) : ZERO;
  work.sum.fill(0);
  for (const light of lights) {
    const across = (size * stepUm) / (light.um * focalRatio);
    if (2 * Math.ceil(across / 2) + 1 > size) {
      throw new RangeError(`the grid of ${size} points is too coarse for ${light.um} um at f/${focalRatio}`);
    }
    const shift = add(conditions.shiftUm?.(light.um) ?? ZERO, back);
    const mask = maskOf(pupil, across);
    const rows = writePupil(work, mask, w, shift, across, light.um, focalRatio);
    work.fft.transform(work.a, work.b, rows);
    // All the light that the clear area lets through is 1: what half-open cells stand for beyond their own square falls
    // outside the box, as far wings do.
    const weight = light.weight / (mask.area * size * size);
    if (work.compiled === null) addIntensity(work.b, weight, work.sum);
    else work.compiled.run.addIntensity(work.b.byteOffset, size * size, weight, work.sum.byteOffset);
  }
}

// Loops over the grid stand in small functions of their own, which compile quickly and once.

function addIntensity(field: Float64Array, weight: number, sum: Float64Array): void {
  for (let i = 0; i < sum.length; i++) {
    const re = field[2 * i];
    const im = field[2 * i + 1];
    sum[i] += weight * (re * re + im * im);
  }
}

function asComplex(real: Float64Array, out: Float64Array): void {
  for (let i = 0; i < real.length; i++) {
    out[2 * i] = real[i];
    out[2 * i + 1] = 0;
  }
}

/** Numbers of a spectrum's first size/2 + 1 rows, which the others mirror: the transform of an image is Hermitian. */
export const halfSpectrum = (size: number): number => 2 * size * (size / 2 + 1);

/** Transform of the diffraction image, the first half of its rows, into `work.b`; what stands behind it means nothing. */
export function diffractionSpectrum(
  telescope: Telescope,
  w: Coefficients,
  conditions: ImageConditions,
  lights: readonly WavelengthSample[],
  grid: Grid,
  work: Workspace,
): void {
  diffraction(telescope, w, conditions, lights, grid, work);
  if (work.compiled !== null) {
    work.compiled.run.transformReal(work.sum.byteOffset, work.b.byteOffset, grid.size);
    return;
  }
  asComplex(work.sum, work.a);
  work.fft.transform(work.a, work.b);
}

/** Image of a star: diffraction at each wavelength, long-exposure seeing, smear, pixel integration. */
export function starImage(telescope: Telescope, w: Coefficients, conditions: ImageConditions): Psf {
  const grid = conditions.grid ?? gridFor(telescope, w, conditions);
  const work = workspace(grid.size);
  diffractionSpectrum(telescope, w, conditions, lightsOf(conditions), grid, work);
  return imageOfSpectrum(work, transferOf(telescope, conditions, grid), grid, conditions.pixelUm);
}

/** The image whose spectrum before the `transfer` stands in `work.b`, as diffractionSpectrum leaves it. */
export function imageOfSpectrum(work: Workspace, transfer: Transfer, grid: Grid, pixelUm: number): Psf {
  const { size, oversample } = grid;
  const count = size * size;
  passOn(work, transfer, size);
  // A forward transform in place of the inverse gives the image turned by 180 degrees and transposed: undone on copying.
  work.fft.transform(work.a, work.b);
  const image = new Float32Array(count);
  const norm = (oversample * oversample) / count;
  const half = size / 2;
  for (let j = 0; j < size; j++) {
    const fromY = (size + half - j) % size;
    for (let i = 0; i < size; i++) {
      const fromX = (size + half - i) % size;
      image[j * size + i] = work.b[2 * (fromX * size + fromY)] * norm;
    }
  }
  return { size, oversample, pixelUm, image };
}

/** work.a = work.b x transfer, whole again. */
function passOn({ a, b, transfer: room, compiled }: Workspace, { re, im }: Transfer, size: number): void {
  if (compiled !== null && im === null) {
    room.set(re.subarray(0, halfSpectrum(size) / 2));
    compiled.run.passOn(b.byteOffset, room.byteOffset, size, a.byteOffset);
    return;
  }
  for (let i = 0; i <= size / 2; i++) passRow(a, b, re, im, size, i);
}

/** A row, and the one that mirrors it. */
function passRow(
  a: Float64Array,
  b: Float64Array,
  re: Float64Array,
  im: Float64Array | null,
  size: number,
  i: number,
): void {
  const mirrored = ((size - i) % size) * size;
  for (let j = 0; j < size; j++) {
    const k = i * size + j;
    const tIm = im === null ? 0 : im[k];
    const x = b[2 * k] * re[k] - b[2 * k + 1] * tIm;
    const y = b[2 * k] * tIm + b[2 * k + 1] * re[k];
    a[2 * k] = x;
    a[2 * k + 1] = y;
    if (i === 0 || 2 * i === size) continue;
    const to = 2 * (mirrored + ((size - j) % size));
    a[to] = x;
    a[to + 1] = -y;
  }
}

/** Lagrange weights of six equal steps -2..3 at fraction f of the middle one. */
function sixWeights(f: number): Float64Array {
  const weights = new Float64Array(6);
  for (let k = 0; k < 6; k++) {
    let weight = 1;
    for (let m = 0; m < 6; m++) if (m !== k) weight *= (f + 2 - m) / (k - m);
    weights[k] = weight;
  }
  return weights;
}

/** Largest half width, pixels, of a stamp that stays inside the image at every phase. */
export function maxHalfSize(psf: Pick<Psf, 'size' | 'oversample'>): number {
  return Math.floor((psf.size / 2 - 4) / psf.oversample - 1);
}

/**
 * The star on camera pixels, (2 halfSize + 1)^2 values, row-major: the star's ideal place stands (xFraction, yFraction)
 * right of and above (in stored rows) the middle pixel's centre, each in [-1, 1]. Values are shares of the star's light.
 */
export function stampAt(psf: Psf, xFraction: number, yFraction: number, halfSize: number): Float64Array {
  if (halfSize > maxHalfSize(psf)) {
    throw new RangeError(`halfSize must be at most ${maxHalfSize(psf)} for this image, got ${halfSize}`);
  }
  const { size, oversample, image } = psf;
  const width = 2 * halfSize + 1;
  const startX = size / 2 - (halfSize + xFraction) * oversample;
  const startY = size / 2 - (halfSize + yFraction) * oversample;
  const firstX = Math.floor(startX);
  const firstY = Math.floor(startY);
  const wx = sixWeights(startX - firstX);
  const wy = sixWeights(startY - firstY);
  const line = new Float64Array(2 * halfSize * oversample + 6);
  const stamp = new Float64Array(width * width);
  for (let j = 0; j < width; j++) {
    const row = firstY + j * oversample - 2;
    line.fill(0);
    for (let k = 0; k < 6; k++) {
      const weight = wy[k];
      const at = (row + k) * size + firstX - 2;
      for (let i = 0; i < line.length; i++) line[i] = line[i] + weight * image[at + i];
    }
    for (let i = 0; i < width; i++) {
      let sum = 0;
      for (let k = 0; k < 6; k++) sum += wx[k] * line[i * oversample + k];
      stamp[j * width + i] = sum;
    }
  }
  return stamp;
}
