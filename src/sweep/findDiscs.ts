import type { Frame } from '../frame/frame.ts';
import { median, robustSigma } from '../numeric/statistics.ts';
import { measureStar } from '../shapes/measureStar.ts';
import { levelAt, meshBackground, noiseAt, type Plane } from '../stars/background.ts';
import { type Candidate, detectStars } from '../stars/detect.ts';
import { binnedPlane, filledPlane, planeOf } from '../stars/plane.ts';
import { saturationLevel } from '../stars/select.ts';
import { type Disc, measureDisc } from './disc.ts';
import { type DiscStack, stackDiscs } from './discStack.ts';

/** One frame of a series as measured: discs in stored pixels of the frame. */
export interface DiscFrame {
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly discs: readonly Disc[];
  /** Candidates seen. */
  readonly found: number;
  /** Half-flux diameter of the typical star, px; null without stars. */
  readonly hfd: number | null;
  /** By elliptical Gaussian, as `check` measures it; null where stars are discs or too few. */
  readonly fwhm: { readonly value: number; readonly error: number } | null;
  /** Mean discs of ninths of the frame; empty near focus. */
  readonly stacks: readonly DiscStack[];
}

/** Frames above this many pixels are searched on a plane binned by two. */
const BIN_ABOVE = 6e6;
/** Coarser and coarser, until stars are found: faint wide discs stand out only when binned. */
const BINNINGS = [1, 2, 4, 8];
const ENOUGH = 25;
/** Stars are taken evenly over the frame: so many of each cell, the brightest first. */
const COLUMNS = 9;
const ROWS = 6;
const PER_CELL = 12;
const FIRST_LOOK = 80;
const MIN_SNR = 20;
/** No neighbour brighter than this share of the star may stand within so many half-flux diameters. */
const BLEND_SHARE = 0.08;
const BLEND_HFD = 1.9;
/** Candidates nearer than this share of the diameter are maxima of one disc. */
const SAME_DISC = 0.75;
/** From here on stars are looked for again on a plane smoothed over the disc: binned to so many pixels a diameter. */
const WIDE_HFD = 6;
const SMOOTH_HFD = 3.5;
/** Noise of twice 3 x 3 over that of one pixel: (1,2,3,2,1)/9 in both directions. */
const SMOOTHED_NOISE = 19 / 81;
const SMOOTH_SIGMAS = 8;
/** Wider discs are measured on a binned plane. */
const FINE_HFD = 26;
const LARGEST_SHARE = 0.2;
const FALLBACK_GAIN = 1;
/** Stars wider than this are no Gaussians any more. */
const GAUSSIAN_HFD = 8;
const GAUSSIAN_STARS = 60;

/** Finds and measures the stars of one frame at any focus. */
export function findDiscs(frame: Frame): DiscFrame {
  const plane = filledPlane(planeOf(frame));
  const gain = frame.facts.gainEPerAdu?.value ?? FALLBACK_GAIN;
  const found = detect(plane);
  const base = { name: frame.name, width: frame.width, height: frame.height, found: found.candidates.length };
  const nothing = { ...base, discs: [], hfd: null, fwhm: null, stacks: [] };
  const usable = withoutSaturated(found.candidates, plane, frame.facts.saturationAdu?.value ?? null);
  if (usable.length === 0) return nothing;
  const meter = discMeter(plane, gain, found.noise);
  // The brightest tell how large discs are in this frame.
  const look = usable.slice(0, FIRST_LOOK).flatMap((c) => meter(c, found.fwhmGuess) ?? []);
  if (look.length < 3) return nothing;
  const typical = median(look.map((d) => d.hfd));
  const alone = isolated(typical < WIDE_HFD ? usable : wideCandidates(plane, usable, typical), typical);
  const discs: Disc[] = [];
  const counts = new Map<number, number>();
  for (const c of alone) {
    const cell =
      Math.floor((c.x / plane.width) * COLUMNS) + COLUMNS * Math.min(ROWS - 1, Math.floor((c.y / plane.height) * ROWS));
    const taken = counts.get(cell) ?? 0;
    if (taken >= PER_CELL) continue;
    const disc = meter(c, typical);
    if (disc === null || disc.snr < MIN_SNR || disc.hfd > 2.5 * typical || disc.hfd < 0.3 * typical) continue;
    if (discs.some((d) => Math.hypot(d.x - disc.x, d.y - disc.y) < 0.5 * typical)) continue;
    discs.push(disc);
    counts.set(cell, taken + 1);
  }
  if (discs.length === 0) return nothing;
  const hfd = median(discs.map((d) => d.hfd));
  return {
    ...base,
    discs,
    hfd,
    fwhm: hfd < GAUSSIAN_HFD ? gaussianFwhm(planeOf(frame), discs, found.noise, gain) : null,
    stacks: stackDiscs(plane, discs, hfd),
  };
}

interface Found {
  /** In pixels of the frame, brightest first. */
  readonly candidates: readonly Candidate[];
  readonly fwhmGuess: number;
  /** Of one pixel of the frame, ADU. */
  readonly noise: number;
}

/** Stars on a binned plane, binned further while there are few. */
function detect(plane: Plane): Found {
  const start = plane.width * plane.height > BIN_ABOVE ? 2 : 1;
  let best: Found = { candidates: [], fwhmGuess: 3, noise: 1 };
  let most = -1;
  for (const more of BINNINGS) {
    const factor = start * more;
    if (Math.min(plane.width, plane.height) / factor < 60) break;
    const searched = factor === 1 ? plane : binnedPlane(plane, factor);
    const background = meshBackground(searched);
    const { candidates, fwhmGuess } = detectStars(searched, background);
    const noise = median(background.noise) * factor;
    const scaled = candidates
      .filter((c) => c.contrast > 0.5 * c.smoothed)
      .map((c) => ({ ...c, x: (c.x + 0.5) * factor - 0.5, y: (c.y + 0.5) * factor - 0.5 }))
      .sort((a, b) => b.smoothed - a.smoothed);
    if (scaled.length > most) {
      best = { candidates: scaled, fwhmGuess: (fwhmGuess ?? 3) * factor, noise };
      most = scaled.length;
    }
    if (fwhmGuess !== null && scaled.length >= ENOUGH) break;
  }
  return best;
}

/**
 * Stars grown into discs: maxima of the plane binned and smoothed so far that a disc's hole and the noise on its ring are
 * gone. Brightness is that of the smoothed disc; saturated discs stand among the given candidates or not at all.
 */
function wideCandidates(plane: Plane, seen: readonly Candidate[], hfd: number): Candidate[] {
  const factor = Math.max(1, Math.round(hfd / SMOOTH_HFD));
  const binned = factor === 1 ? plane : binnedPlane(plane, factor);
  const background = meshBackground(binned);
  const { width, height } = binned;
  const smooth = boxMean(boxMean(Float32Array.from(binned.data), width, height), width, height);
  const out: Candidate[] = [];
  const [pattern] = seen;
  for (let y = 3; y < height - 3; y++)
    for (let x = 3; x < width - 3; x++) {
      const k = y * width + x;
      const value = smooth[k];
      if (!isLargest(smooth, k, width)) continue;
      const light = value - levelAt(background, x, y);
      const noise = noiseAt(background, x, y);
      if (light < SMOOTH_SIGMAS * SMOOTHED_NOISE * noise) continue;
      const at = { x: (x + 0.5) * factor - 0.5, y: (y + 0.5) * factor - 0.5 };
      out.push({ ...pattern, ...at, smoothed: light, peak: light, contrast: light, noise });
    }
  return out.sort((a, b) => b.smoothed - a.smoothed);
}

/** Whether no pixel within two is larger; of equal ones the first counts. */
function isLargest(data: Float32Array, k: number, width: number): boolean {
  const value = data[k];
  for (let j = -2; j <= 2; j++)
    for (let i = -2; i <= 2; i++) {
      const other = data[k + j * width + i];
      if (other > value || (other === value && (j < 0 || (j === 0 && i < 0)))) return false;
    }
  return true;
}

/** Mean of 3 x 3; the outermost pixels stay as they are. */
function boxMean(data: Float32Array, width: number, height: number): Float32Array {
  const rows = data.slice();
  for (let y = 0; y < height; y++)
    for (let x = 1; x < width - 1; x++) {
      const k = y * width + x;
      rows[k] = (data[k - 1] + data[k] + data[k + 1]) / 3;
    }
  const out = rows.slice();
  for (let k = width; k < out.length - width; k++) out[k] = (rows[k - width] + rows[k] + rows[k + width]) / 3;
  return out;
}

/** The highest stored pixel under a candidate decides; binned values hide a clipped core. */
function withoutSaturated(candidates: readonly Candidate[], plane: Plane, told: number | null): Candidate[] {
  const exact = candidates.map((c) => ({ ...c, highest: highestNear(plane, c.x, c.y) }));
  const limit = saturationLevel(plane, told, exact);
  return exact.filter((c) => c.highest < limit);
}

function highestNear({ data, width, height }: Plane, x: number, y: number): number {
  let highest = -Infinity;
  for (let v = Math.max(0, Math.round(y) - 2); v <= Math.min(height - 1, Math.round(y) + 2); v++)
    for (let u = Math.max(0, Math.round(x) - 2); u <= Math.min(width - 1, Math.round(x) + 2); u++)
      highest = Math.max(highest, data[v * width + u]);
  return highest;
}

type Meter = (c: Candidate, hfd: number) => Disc | null;

function discMeter(plane: Plane, gain: number, noise: number): Meter {
  const planes = new Map<number, Plane>();
  const largest = LARGEST_SHARE * Math.min(plane.width, plane.height);
  return (c, guess) => {
    const factor = Math.max(1, Math.floor(guess / FINE_HFD));
    const known = planes.get(factor) ?? (factor === 1 ? plane : binnedPlane(plane, factor));
    planes.set(factor, known);
    const start = { x: (c.x + 0.5) / factor - 0.5, y: (c.y + 0.5) / factor - 0.5, hfd: guess / factor };
    // A binned pixel is the mean of factor^2.
    const disc = measureDisc(known, start, noise / factor, gain * factor * factor, largest / factor);
    if (disc === null || factor === 1) return disc;
    const f2 = factor * factor;
    return {
      ...disc,
      x: (disc.x + 0.5) * factor - 0.5,
      y: (disc.y + 0.5) * factor - 0.5,
      flux: disc.flux * f2,
      hfd: disc.hfd * factor,
      q0: disc.q0 * f2,
      q0Error: disc.q0Error * f2,
      q2x: disc.q2x * f2,
      q2y: disc.q2y * f2,
      q2Error: disc.q2Error * f2,
    };
  };
}

/** Candidates without a neighbour in their aperture, brightest first. */
function isolated(candidates: readonly Candidate[], hfd: number): Candidate[] {
  const reach = BLEND_HFD * hfd;
  const cells = new Map<string, Candidate[]>();
  const keyOf = (i: number, j: number): string => `${i},${j}`;
  for (const c of candidates) {
    const key = keyOf(Math.floor(c.x / reach), Math.floor(c.y / reach));
    const cell = cells.get(key);
    if (cell) cell.push(c);
    else cells.set(key, [c]);
  }
  return candidates.filter((c) => {
    const i = Math.floor(c.x / reach);
    const j = Math.floor(c.y / reach);
    for (let v = j - 1; v <= j + 1; v++)
      for (let u = i - 1; u <= i + 1; u++)
        for (const o of cells.get(keyOf(u, v)) ?? []) {
          const away = Math.hypot(o.x - c.x, o.y - c.y);
          if (away < SAME_DISC * hfd || away > reach) continue;
          if (o.smoothed > BLEND_SHARE * c.smoothed) return false;
        }
    return true;
  });
}

function gaussianFwhm(plane: Plane, discs: readonly Disc[], noise: number, gain: number): DiscFrame['fwhm'] {
  const bright = [...discs].sort((a, b) => b.snr - a.snr).slice(0, GAUSSIAN_STARS);
  const widths = bright.flatMap((d) => {
    const fwhm = d.hfd / 1.13;
    const peak = (0.69 * d.flux) / (fwhm * fwhm);
    const measured = measureStar(plane, { x: d.x, y: d.y, fwhm, peak, sky: d.sky, noise, gainEPerAdu: gain }, null);
    return measured.status === 'measured' ? [measured.shape.fwhm] : [];
  });
  if (widths.length < 3) return null;
  const value = median(widths);
  return { value, error: (1.25 * robustSigma(widths, value)) / Math.sqrt(widths.length) };
}
