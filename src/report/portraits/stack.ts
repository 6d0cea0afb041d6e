import { median } from '../../numeric/statistics.ts';
import type { Shape } from '../../shapes/shape.ts';
import { cutStamp, MAX_RADIUS, newStamp, type Source } from '../../shapes/stamp.ts';

/** Pixels of several stars about their own fitted centres, each star scaled to a fitted peak of 1. */
export interface StarSamples {
  readonly stars: number;
  /** Offsets from the fitted centre, pixels of the file, stored axes. */
  readonly dx: readonly number[];
  readonly dy: readonly number[];
  readonly value: readonly number[];
  /** Noise of one pixel over the star's peak. */
  readonly noise: readonly number[];
}

/** A mean star on a grid finer than the pixels, stored axes; peak 1. */
export interface Portrait {
  readonly stars: number;
  /** Typical width that its reach follows, pixels. */
  readonly fwhm: number;
  /** Pixels from the centre to the edge. */
  readonly half: number;
  /** Points a pixel. */
  readonly oversample: number;
  /** Points along a side, 2 half oversample + 1. */
  readonly size: number;
  readonly image: Float64Array;
  /** Error of each point from the scatter of the stars, and the typical one; in units of the peak. */
  readonly errors: Float64Array;
  readonly error: number;
  /** Width (sigma) of the kernel that gathers pixels into points, pixels of the file: it widens the star in quadrature. */
  readonly kernel: number;
}

const OVERSAMPLE = 4;
/** Portraits reach so many FWHM from the centre. */
const REACH_FWHM = 1.6;
/** The sky of each star is the median of a ring between these radii, FWHM. */
const SKY_FWHM = { from: 3, to: 4 } as const;
/** As in measuring: a lone pixel so many sigma above its neighbours is left out. */
const SPIKE_SIGMA = 6;
const LEAST_SKY_PIXELS = 12;
/** Kernel sigma in pixels: as fine as the number of pixels a point can draw on allows. */
const KERNEL = { finest: 0.3, coarsest: 0.6 } as const;
/** A pixel farther from the median of its neighbourhood than this share of it (and of the peak) belongs to another star. */
const STRAY = { ofValue: 0.3, ofPeak: 0.02, sigmas: 5 } as const;

const stamp = newStamp();

export const portraitHalf = (fwhm: number): number => Math.max(4, Math.ceil(REACH_FWHM * fwhm));

/** Adds one star's pixels; false where its surroundings leave no sky to compare with. */
export function addStar(samples: SamplesBeingGathered, source: Source, shape: Shape, fwhm: number): boolean {
  const noise = shape.amplitude / Math.max(shape.peakSnr, 1e-6);
  const radius = Math.min(MAX_RADIUS, SKY_FWHM.to * fwhm);
  cutStamp(source, shape.x, shape.y, radius, SPIKE_SIGMA * noise, stamp);
  const fx = shape.x - stamp.originX;
  const fy = shape.y - stamp.originY;
  const inner = (SKY_FWHM.from * fwhm) ** 2;
  const ring: number[] = [];
  for (let i = 0; i < stamp.count; i++)
    if ((stamp.dx[i] - fx) ** 2 + (stamp.dy[i] - fy) ** 2 > inner) ring.push(stamp.value[i]);
  if (ring.length < LEAST_SKY_PIXELS || !(shape.amplitude > 0)) return false;
  const sky = median(ring);
  const reach = portraitHalf(fwhm) + 1;
  for (let i = 0; i < stamp.count; i++) {
    const dx = stamp.dx[i] - fx;
    const dy = stamp.dy[i] - fy;
    if (Math.abs(dx) > reach || Math.abs(dy) > reach) continue;
    samples.dx.push(dx);
    samples.dy.push(dy);
    samples.value.push((stamp.value[i] - sky) / shape.amplitude);
    samples.noise.push(noise / shape.amplitude);
  }
  samples.stars++;
  return true;
}

export interface SamplesBeingGathered extends StarSamples {
  stars: number;
  readonly dx: number[];
  readonly dy: number[];
  readonly value: number[];
  readonly noise: number[];
}

export const noSamples = (): SamplesBeingGathered => ({ stars: 0, dx: [], dy: [], value: [], noise: [] });

/**
 * Mean star from pixels that fell on it at many sub-pixel phases: each grid point takes the height of a plane through the
 * pixels about it, weighted by a Gaussian kernel (the sub-pixel idea of Fruchter & Hook 2002, PASP 114, 144, with local straight
 * fits, Cleveland & Devlin 1988, J. Am. Stat. Assoc. 83, 596). Pixels that disagree
 * with the median of their neighbourhood, as those of faint neighbours do, are left out. Null where too few remain.
 */
export function stackStars(samples: StarSamples, fwhm: number): Portrait | null {
  const { dx, dy, value, noise, stars } = samples;
  if (stars === 0) return null;
  const half = portraitHalf(fwhm);
  const size = 2 * half * OVERSAMPLE + 1;
  const perPixel = dx.length / (2 * half + 2) ** 2;
  const kernel = Math.min(KERNEL.coarsest, Math.max(KERNEL.finest, 1 / Math.sqrt(Math.max(perPixel, 1e-6))));
  const typical = localMedians(samples, half);
  // Of each grid point the sums of w, w x, w y, w xx, w xy, w yy, w v, w v x, w v y, w v v and w^2.
  const sums = new Float64Array(SUMS * size * size);
  const reach = Math.ceil(3 * kernel * OVERSAMPLE);
  for (let k = 0; k < dx.length; k++) {
    const near = typical(dx[k], dy[k]);
    const stray = Math.abs(value[k] - near);
    if (!(stray <= STRAY.ofPeak + STRAY.ofValue * Math.abs(near) + STRAY.sigmas * noise[k])) continue;
    const gx = (dx[k] + half) * OVERSAMPLE;
    const gy = (dy[k] + half) * OVERSAMPLE;
    // Faint stars count less, bright ones alike: beyond some point it is not noise that makes stars differ.
    const trust = 1 / (0.02 ** 2 + noise[k] ** 2);
    for (let j = Math.max(0, Math.ceil(gy - reach)); j <= Math.min(size - 1, gy + reach); j++) {
      const y = (gy - j) / OVERSAMPLE;
      for (let i = Math.max(0, Math.ceil(gx - reach)); i <= Math.min(size - 1, gx + reach); i++) {
        const x = (gx - i) / OVERSAMPLE;
        const w = trust * Math.exp(-(x * x + y * y) / (2 * kernel * kernel));
        const at = SUMS * (j * size + i);
        sums[at] += w;
        sums[at + 1] += w * x;
        sums[at + 2] += w * y;
        sums[at + 3] += w * x * x;
        sums[at + 4] += w * x * y;
        sums[at + 5] += w * y * y;
        sums[at + 6] += w * value[k];
        sums[at + 7] += w * value[k] * x;
        sums[at + 8] += w * value[k] * y;
        sums[at + 9] += w * value[k] * value[k];
        sums[at + 10] += w * w;
      }
    }
  }
  const image = new Float64Array(size * size);
  const errors = new Float64Array(size * size);
  let filled = 0;
  for (let point = 0; point < image.length; point++) {
    const at = SUMS * point;
    if (!(sums[at] > 0)) continue;
    const { level, error } = planeAt(sums, at, kernel);
    image[point] = level;
    errors[point] = error;
    filled++;
  }
  const peak = image.reduce((a, b) => Math.max(a, b), 0);
  if (!(peak > 0) || filled < image.length / 2) return null;
  for (let at = 0; at < image.length; at++) {
    image[at] /= peak;
    errors[at] /= peak;
  }
  return { stars, fwhm, half, oversample: OVERSAMPLE, size, image, errors, error: median(errors), kernel };
}

const SUMS = 11;

/**
 * Height at its own place of the plane through the pixels about a grid point, which need not surround it evenly, and its error
 * from how far the pixels stand off the plane.
 */
function planeAt(sums: Float64Array, at: number, kernel: number): { level: number; error: number } {
  const [s0, sx, sy] = [sums[at], sums[at + 1], sums[at + 2]];
  // A little ridge holds the plane level where the pixels stand on one line.
  const ridge = 0.05 * s0 * kernel * kernel;
  const [sxx, sxy, syy] = [sums[at + 3] + ridge, sums[at + 4], sums[at + 5] + ridge];
  const [v, vx, vy] = [sums[at + 6], sums[at + 7], sums[at + 8]];
  const det = sxx * syy - sxy * sxy;
  const p = (syy * sx - sxy * sy) / det;
  const q = (sxx * sy - sxy * sx) / det;
  const rest = s0 - p * sx - q * sy;
  const level = rest > 0.05 * s0 ? (v - p * vx - q * vy) / rest : v / s0;
  const slopeX = (syy * (vx - level * sx) - sxy * (vy - level * sy)) / det;
  const slopeY = (sxx * (vy - level * sy) - sxy * (vx - level * sx)) / det;
  const left = Math.max(0, sums[at + 9] - level * v - slopeX * vx - slopeY * vy);
  return { level, error: Math.sqrt((left / s0) * sums[at + 10]) / s0 };
}

/** Medians over half-pixel cells; where a cell has too few pixels, over the cells about it. */
function localMedians({ dx, dy, value }: StarSamples, half: number): (x: number, y: number) => number {
  const across = 4 * (half + 1) + 1;
  const cellOf = (x: number, y: number): number =>
    Math.round((y + half + 1) * 2) * across + Math.round((x + half + 1) * 2);
  const cells = new Map<number, number[]>();
  for (let k = 0; k < dx.length; k++) {
    const key = cellOf(dx[k], dy[k]);
    const cell = cells.get(key);
    if (cell) cell.push(value[k]);
    else cells.set(key, [value[k]]);
  }
  const medians = new Map<number, number>();
  return (x, y) => {
    const key = cellOf(x, y);
    let known = medians.get(key);
    if (known === undefined) {
      let near = cells.get(key) ?? [];
      if (near.length < 5) near = [-across, -1, 0, 1, across].flatMap((step) => cells.get(key + step) ?? []);
      known = median(near);
      medians.set(key, known);
    }
    return known;
  };
}
