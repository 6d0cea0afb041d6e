import { kernelAddress, kernels } from '../kernels/kernels.ts';
import { MAX_CANDIDATES, MAX_CELLS, MAX_PLACES } from '../kernels/layout.ts';
import { median, selectInPlace, weightedMedian } from '../numeric/statistics.ts';
import { type Background, levelAt, meshBackground, noiseAt, type Plane } from './background.ts';
import { binnedPlane } from './plane.ts';

/** A local maximum that stands out of the sky: a star, or something that selection will name. */
export interface Candidate {
  /** Pixels; of the highest pixel, or of the light around it when found on a binned plane. */
  readonly x: number;
  readonly y: number;
  /** Highest pixel within one pixel, ADU as stored (for saturation). */
  readonly highest: number;
  /** ADU above the mesh background, of the pixel and of its 3x3 binomial mean. */
  readonly peak: number;
  readonly smoothed: number;
  /** How far the smoothed peak stands above the median of a ring around it, ADU. */
  readonly contrast: number;
  /** Sky noise of one pixel there, ADU. */
  readonly noise: number;
  /** Mean of the eight neighbours over the peak: about 0 for a hot pixel. */
  readonly spread: number;
}

export interface Detection {
  readonly candidates: readonly Candidate[];
  /** Typical FWHM of the stars from their area above half maximum, pixels; null where there is none. */
  readonly fwhmGuess: number | null;
}

export const DETECT_DEFAULTS = {
  /** Raw pixel above the mesh level, in sigma of the sky. */
  threshold: 5,
  /** Smoothed peak above its ring, in sigma of the smoothed sky. */
  contrast: 6,
} as const;

/** Noise of the 3x3 binomial mean over the noise of one pixel. */
const SMOOTHING = 0.375;
/** A hot pixel's neighbours hold almost nothing; a star of FWHM 1.5 px leaves 0.19 of the peak in the mean neighbour. */
export const HOT_SPREAD = 0.1;
/** Above this FWHM stars are found on a binned plane: the top of a broad faint star breaks into several peaks of noise. */
const BIN_ABOVE = 4;
/** FWHM that a star keeps on the binned plane, in its pixels, unless that would ask for less than two pixels a block. */
const BINNED_FWHM = 3;

/** Finds stars at any width: a first look tells the typical FWHM, broad stars are then found on a binned plane. */
export function detectStars(plane: Plane, background: Background): Detection {
  const first = localMaxima(plane, background, 3);
  const guess = typicalFwhm(plane, background, first);
  if (guess === null || guess <= BIN_ABOVE) {
    const radius = Math.max(2, Math.round((guess ?? 3) * 0.6));
    return { candidates: thinOut(first, radius), fwhmGuess: guess };
  }
  const factor = Math.max(2, Math.floor(guess / BINNED_FWHM));
  const binned = binnedPlane(plane, factor);
  const coarse = localMaxima(binned, meshBackground(binned), 3);
  const candidates = thinOut(coarse, 2).map((c) => restore(c, factor, binned, plane, background));
  return { candidates, fwhmGuess: guess };
}

/** A candidate of a binned plane in the pixels of the frame: the centroid of its nine blocks, the highest pixel near it. */
function restore(c: Candidate, factor: number, binned: Plane, plane: Plane, background: Background): Candidate {
  const sky = levelAt(background, (c.x + 0.5) * factor - 0.5, (c.y + 0.5) * factor - 0.5);
  let sum = 0;
  let right = 0;
  let down = 0;
  for (let v = -1; v <= 1; v++)
    for (let u = -1; u <= 1; u++) {
      const light = binned.data[(c.y + v) * binned.width + c.x + u] - sky;
      if (!(light > 0)) continue;
      sum += light;
      right += u * light;
      down += v * light;
    }
  const x = (c.x + 0.5 + (sum > 0 ? right / sum : 0)) * factor - 0.5;
  const y = (c.y + 0.5 + (sum > 0 ? down / sum : 0)) * factor - 0.5;
  let highest = -Infinity;
  for (let v = Math.ceil(y - factor); v <= y + factor; v++)
    for (let u = Math.ceil(x - factor); u <= x + factor; u++) {
      if (u < 0 || v < 0 || u >= plane.width || v >= plane.height) continue;
      highest = Math.max(highest, plane.data[v * plane.width + u]);
    }
  return { ...c, x, y, highest, noise: noiseAt(background, x, y) };
}

function localMaxima(plane: Plane, background: Background, ring: number): Candidate[] {
  const { width, mask } = plane;
  const maxima = compiledMaxima(plane, background);
  const compiled = maxima === null ? null : compiledInspection(plane, background, maxima.length, ring);
  if (compiled !== null) return compiled;
  const out: Candidate[] = [];
  for (const k of maxima ?? maximaOf(plane, background)) {
    if (mask !== null && mask[k] === 1) continue;
    const x = k % width;
    const found = inspect(plane, background, x, (k - x) / width, ring);
    if (found) out.push(found);
  }
  return out;
}

/** Indices of pixels above the threshold of their mesh cell and above their neighbours; of equal ones the first counts. */
function maximaOf({ data, width, height }: Plane, background: Background): number[] {
  const out: number[] = [];
  const { columns, rows, level, noise } = background;
  for (let y = 2; y < height - 2; y++) {
    const meshRow = Math.min(rows - 1, Math.floor((y * rows) / height)) * columns;
    const row = y * width;
    for (let i = 0; i < columns; i++) {
      const x0 = Math.max(2, Math.floor((i * width) / columns));
      const x1 = Math.min(width - 2, Math.floor(((i + 1) * width) / columns));
      const limit = level[meshRow + i] + DETECT_DEFAULTS.threshold * noise[meshRow + i];
      for (let x = x0; x < x1; x++) {
        const k = row + x;
        const v = data[k];
        if (!(v > limit)) continue;
        if (
          v < data[k + 1] ||
          v < data[k + width - 1] ||
          v < data[k + width] ||
          v < data[k + width + 1] ||
          v <= data[k - 1] ||
          v <= data[k - width - 1] ||
          v <= data[k - width] ||
          v <= data[k - width + 1]
        )
          continue;
        out.push(k);
      }
    }
  }
  return out;
}

const ROWS_AT_ONCE = 64;
const PLACES_AT_ONCE = 256;

/** The same by src/kernels/assembly/pixels.ts; null where the kernels cannot read the pixels or find too many. */
function compiledMaxima(plane: Plane, background: Background): Uint32Array | null {
  const address = kernelAddress({ data: plane.data, mask: null });
  const compiled = kernels();
  const { columns, rows, level, noise } = background;
  if (address === null || compiled === null || level.length > MAX_CELLS) return null;
  compiled.level.set(level);
  compiled.noise.set(noise);
  const { width, height } = plane;
  const { threshold } = DETECT_DEFAULTS;
  const given = [address, width, height, columns, rows, threshold];
  const room = Math.floor(MAX_PLACES / Math.ceil(height / ROWS_AT_ONCE));
  const counts = compiled.share('localMaxima', [...given, ROWS_AT_ONCE, room], height, ROWS_AT_ONCE);
  const { places } = compiled;
  if (counts.every((count) => count <= room) && counts.length * ROWS_AT_ONCE >= height) {
    let end = 0;
    counts.forEach((count, piece) => {
      places.copyWithin(end, piece * room, piece * room + count);
      end += count;
    });
    return places.subarray(0, end);
  }
  // A crowd somewhere: all in one piece has room for it wherever it is.
  const count = Number(compiled.run.localMaxima(...given, height, MAX_PLACES, 0, height));
  return count > MAX_PLACES ? null : places.subarray(0, count);
}

/** `inspect` of all maxima, which stand in the kernels' memory, by src/kernels/assembly/candidates.ts; null as above. */
function compiledInspection(plane: Plane, background: Background, count: number, ring: number): Candidate[] | null {
  const address = kernelAddress(plane);
  const compiled = kernels();
  if (address === null || compiled === null || count > MAX_CANDIDATES) return null;
  const radii = [ring, 2 * ring, 4 * ring];
  radii.forEach((radius, r) => {
    for (let i = 0; i < RING_POINTS; i++) {
      compiled.ringDx[r * RING_POINTS + i] = Math.round(radius * RING_X[i]);
      compiled.ringDy[r * RING_POINTS + i] = Math.round(radius * RING_Y[i]);
    }
  });
  const { width, height } = plane;
  const { columns, rows, cell } = background;
  const needed = DETECT_DEFAULTS.contrast * SMOOTHING;
  const given = [address, width, height, columns, rows, cell, radii.length, needed];
  const counts = compiled.share('inspect', given, count, PLACES_AT_ONCE);
  const list = compiled.candidates;
  const out: Candidate[] = [];
  counts.forEach((found, piece) => {
    const first = 8 * PLACES_AT_ONCE * piece;
    for (let at = first; at < first + 8 * found; at += 8)
      out.push({
        x: list[at],
        y: list[at + 1],
        highest: list[at + 2],
        peak: list[at + 3],
        smoothed: list[at + 4],
        contrast: list[at + 5],
        noise: list[at + 6],
        spread: list[at + 7],
      });
  });
  return out;
}

function binomial(data: ArrayLike<number>, k: number, width: number): number {
  return (
    (data[k] * 4 +
      2 * (data[k - 1] + data[k + 1] + data[k - width] + data[k + width]) +
      data[k - width - 1] +
      data[k - width + 1] +
      data[k + width - 1] +
      data[k + width + 1]) /
    16
  );
}

const RING_POINTS = 16;
const ringValues = new Float64Array(RING_POINTS);
const RING_X = Array.from({ length: RING_POINTS }, (_, i) => Math.cos((i * Math.PI) / 8));
const RING_Y = Array.from({ length: RING_POINTS }, (_, i) => Math.sin((i * Math.PI) / 8));

/** The expensive tests, on the few pixels above the threshold. The ring grows to where the star has fallen below half. */
function inspect(plane: Plane, background: Background, x: number, y: number, ring: number): Candidate | null {
  const { data, width, height } = plane;
  const k = y * width + x;
  const sky = levelAt(background, x, y);
  const noise = noiseAt(background, x, y);
  const smoothed = binomial(data, k, width) - sky;
  const peak = data[k] - sky;
  const needed = DETECT_DEFAULTS.contrast * SMOOTHING * noise;
  if (!(smoothed > needed)) return null;
  let contrast = -Infinity;
  for (let radius = ring; radius <= 4 * ring; radius *= 2) {
    let n = 0;
    for (let i = 0; i < RING_POINTS; i++) {
      const u = Math.round(x + radius * RING_X[i]);
      const v = Math.round(y + radius * RING_Y[i]);
      if (u >= 0 && v >= 0 && u < width && v < height) ringValues[n++] = data[v * width + u];
    }
    contrast = Math.max(contrast, smoothed + sky - median(ringValues.subarray(0, n)));
    if (contrast > 0.5 * smoothed) break;
  }
  // In a bright halo the photon noise is larger than the sky's; twice the needed contrast is asked for in proportion.
  if (contrast < needed || contrast < 0.25 * smoothed) return null;
  const around =
    (data[k - 1] +
      data[k + 1] +
      data[k - width] +
      data[k + width] +
      data[k - width - 1] +
      data[k - width + 1] +
      data[k + width - 1] +
      data[k + width + 1]) /
      8 -
    sky;
  const highest = Math.max(data[k], data[k + 1], data[k - 1], data[k + width], data[k - width]);
  return { x, y, highest, peak, smoothed, contrast, noise, spread: around / peak };
}

/** Signal to noise from which a candidate counts in full for the typical FWHM: the faint ones are often no stars. */
const FULL_SNR = 50;
/** The typical FWHM does not become better by more stars. */
const ENOUGH_WIDTHS = 400;

/**
 * Median of 2 sqrt(area above half maximum / pi) over the brightest candidates that are no hot pixels, weighed by signal to noise.
 * A trail, which breaks into hundreds of maxima, is left out.
 */
function typicalFwhm(plane: Plane, background: Background, candidates: readonly Candidate[]): number | null {
  let top = 0;
  for (const { highest } of candidates) if (highest > top) top = highest;
  const usable = candidates.filter(
    (c) => c.spread > HOT_SPREAD && c.highest < 0.9 * top && c.contrast > 0.5 * c.smoothed,
  );
  const widths: number[] = [];
  const weights: number[] = [];
  for (const c of brightestFirst(usable)) {
    const area = areaAboveHalf(plane, background, c);
    if (area === 0) continue;
    widths.push(2 * Math.sqrt(area / Math.PI));
    weights.push(Math.min(FULL_SNR, c.smoothed / c.noise));
    if (widths.length === ENOUGH_WIDTHS) break;
  }
  return widths.length < 3 ? null : weightedMedian(widths, weights);
}

/** So many more than needed are put in order first: most have an area. */
const SORTED_FIRST = 2 * ENOUGH_WIDTHS;

/** By signal to noise; a crowd is put in order only as far as it is asked for. */
function* brightestFirst(candidates: readonly Candidate[]): Iterable<Candidate> {
  const count = candidates.length;
  const snr = new Float64Array(count);
  for (let i = 0; i < count; i++) snr[i] = candidates[i].smoothed / candidates[i].noise;
  const limit = count > SORTED_FIRST ? selectInPlace(snr.slice(), count - SORTED_FIRST) : Number.NEGATIVE_INFINITY;
  for (const bright of [true, false]) {
    const some: number[] = [];
    for (let i = 0; i < count; i++) if (snr[i] >= limit === bright) some.push(i);
    for (const i of some.sort((a, b) => snr[b] - snr[a] || a - b)) yield candidates[i];
  }
}

/** Half of the box that `areaAboveHalf` looks at, pixels. */
const AREA_HALF = 30;
/** Less of the box than this in one piece that leaves it is a line, not a disc. */
const LINE_SHARE = 0.25;

/** Connected pixels above half of the smoothed peak, within a box around it; 0 for a line that leaves the box. */
function areaAboveHalf(plane: Plane, background: Background, c: Candidate): number {
  const { data, width, height } = plane;
  const limit = levelAt(background, c.x, c.y) + 0.5 * Math.max(c.smoothed, 0.8 * c.peak);
  const half = AREA_HALF;
  const side = 2 * half + 1;
  const least = LINE_SHARE * side * side;
  const address = kernelAddress({ data, mask: null });
  const compiled = kernels();
  if (address !== null && compiled !== null)
    return compiled.run.area(address, width, height, c.x, c.y, limit, half, least);
  const seen = new Uint8Array(side * side);
  const stack = [half * side + half];
  seen[stack[0]] = 1;
  let area = 0;
  let leaves = false;
  while (stack.length > 0) {
    const place = stack.pop() ?? 0;
    area++;
    const u = place % side;
    const v = (place - u) / side;
    leaves ||= u === 0 || v === 0 || u === side - 1 || v === side - 1;
    for (const [du, dv] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ] as const) {
      const a = u + du;
      const b = v + dv;
      const px = c.x + a - half;
      const py = c.y + b - half;
      if (a < 0 || b < 0 || a >= side || b >= side || px < 0 || py < 0 || px >= width || py >= height) continue;
      const next = b * side + a;
      if (seen[next] === 1 || !(data[py * width + px] > limit)) continue;
      seen[next] = 1;
      stack.push(next);
    }
  }
  return leaves && area < least ? 0 : area;
}

/** Of several maxima within the radius only the brightest stays: noise on the top of one star. `ordered` by rows, as they are found. */
function thinOut(ordered: readonly Candidate[], radius: number): readonly Candidate[] {
  const crowd = neighboursWithin(ordered, radius);
  if (crowd.size === 0) return ordered;
  const gone = new Uint8Array(ordered.length);
  const crowded = [...crowd.keys()].sort((i, k) => ordered[k].smoothed - ordered[i].smoothed || i - k);
  for (const i of crowded) if (gone[i] === 0) for (const other of crowd.get(i) ?? []) gone[other] = 1;
  return ordered.filter((_, i) => gone[i] === 0);
}

/** Those that have others within the radius, with these, by their places in `ordered`, which is by rows. */
function neighboursWithin(ordered: readonly Candidate[], radius: number): Map<number, number[]> {
  const crowd = new Map<number, number[]>();
  const note = (i: number, other: number): void => {
    const known = crowd.get(i);
    if (known) known.push(other);
    else crowd.set(i, [other]);
  };
  for (let i = 0; i < ordered.length; i++) {
    const { x, y } = ordered[i];
    for (let k = i + 1; k < ordered.length && ordered[k].y - y <= radius; k++) {
      const across = ordered[k].x - x;
      const down = ordered[k].y - y;
      if (across * across + down * down > radius * radius) continue;
      note(i, k);
      note(k, i);
    }
  }
  return crowd;
}
