import { median } from '../numeric/statistics.ts';
import type { DiscFrame } from './findDiscs.ts';
import { type MixedFit, mixedFit } from './mixedFit.ts';
import { type SizeCurve, sizeCurve } from './sizeCurve.ts';
import type { SweepOptics } from './sweepOptics.ts';

/** A frame of the series with its place on the focuser. */
export interface SeriesFrame {
  readonly measured: DiscFrame;
  /** Focuser reading, steps or whatever the focuser counts in. */
  readonly reading: number;
  /** 0, 1, 2... in time. */
  readonly order: number;
  /** Whether the focuser came from larger readings, where that differs within the series; else false. */
  readonly fromAbove: boolean;
}

/** Readings as the fits use them: t = (reading - middle)/half, -1..1 over the series. */
export interface ReadingScale {
  readonly middle: number;
  readonly half: number;
}

/**
 * Squared sizes of all stars of all frames together: q0 = F g(K dt^2 / F), dt = t - best(u, v), F the floor of the frame
 * (seeing, free for each frame) and of the place (coma, astigmatism). Positions in half-diagonals, stored axes.
 */
export interface FocusFit {
  readonly scale: ReadingScale;
  /** Best focus in t: constant, u, v, u^2 + v^2, or one number for each zone. */
  readonly best: Float64Array;
  /** Of `best`, row-major. */
  readonly covariance: Float64Array;
  /** Growth of q0, px^2 for each t^2, and its error. */
  readonly growth: number;
  readonly growthError: number;
  /** Focused q0 of each frame in the middle of the field, px^2, and its error. */
  readonly floors: readonly { readonly value: number; readonly error: number }[];
  readonly floorSlope: { readonly u: number; readonly v: number; readonly r2: number };
  /** How far a reversal of the focuser shifted best focus, in t; null without reversals. */
  readonly backlash: { readonly value: number; readonly error: number } | null;
  /** Frames that do not follow the curve, and by how many times the others' spread. */
  readonly stray: Float64Array;
  /** Scatter of the stars about the fit over what noise explains, by frame. */
  readonly stretch: Float64Array;
  readonly curve: SizeCurve;
  readonly stars: number;
  /** Stars left out because coma outweighs the seeing in them. */
  readonly leftOut: number;
}

/** A vector on stored axes with the error of each component. */
export interface Uncertain2 {
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

export type Basis = (u: number, v: number) => readonly number[];

export const SURFACE: Basis = (u, v) => [1, u, v, u * u + v * v];
/** Ninths of the frame, in stored order. */
export const ZONES =
  (halfWidth: number, halfHeight: number): Basis =>
  (u, v) => {
    const third = (w: number, half: number): number =>
      Math.min(2, Math.max(0, Math.floor((3 * (w + half)) / (2 * half))));
    const zone = 3 * third(v, halfHeight) + third(u, halfWidth);
    return Array.from({ length: 9 }, (_, i) => (i === zone ? 1 : 0));
  };

/** Pixel phase and profile leave this share of q0 unexplained in any star. */
const SHAPE_NOISE = 0.03;
/** Seeing changes from frame to frame by about so much of its square, counted as so many frames' worth of knowledge. */
const SEEING_SPREAD = { share: 0.12, counts: 3 };
/** Steady drift of the squared seeing from the first frame to the last, as a share, half of it: 1 sigma before the data. */
const SEEING_DRIFT = 0.15;
/** The model curve is good to about this share; it scales tilt and curvature. */
const CURVE_SHARE = 0.012;
/**
 * Best focus of the middle hangs on what seeing is believed to do between frames: over 300 drawn runs it scattered by this much
 * more than the fit alone says (`npm run accuracy:sweep`).
 */
const BEST_WIDENED = 1.3;
const NEWTON_ROUNDS = 8;
/** Least floor of a place, as a share of the typical one, that the fit may try. */
const LEAST_FLOOR = 0.3;
/** Backlash before the data, as a share of the series' half length. */
const BACKLASH_PRIOR = 0.5;
/** Places with more than this many times the least focused q0 beyond it are left out. */
const COMATIC = 1.2;
const TERMS = 2;
const PLACE_TERMS = 3;

/** Half the diagonal, pixels. */
const halfDiagonal = (frame: { readonly width: number; readonly height: number }): number =>
  0.5 * Math.hypot(frame.width, frame.height);

export function placeOf(
  frame: { readonly width: number; readonly height: number },
  x: number,
  y: number,
): { readonly u: number; readonly v: number } {
  const half = halfDiagonal(frame);
  return { u: (x - (frame.width - 1) / 2) / half, v: (y - (frame.height - 1) / 2) / half };
}

export function readingScale(frames: readonly SeriesFrame[]): ReadingScale {
  const readings = frames.map((f) => f.reading);
  const [low, high] = [Math.min(...readings), Math.max(...readings)];
  return { middle: (low + high) / 2, half: (high - low) / 2 };
}

interface Start {
  readonly floor: number;
  readonly growth: number;
  readonly best: number;
}

/**
 * Null where the frames show no minimum or too few stars. With `near`, the fit of the surface, `best` counts from its tilt and
 * curvature.
 */
export function fitFocus(
  frames: readonly SeriesFrame[],
  optics: SweepOptics,
  basis: Basis = SURFACE,
  near: FocusFit | null = null,
  curveFor: (optics: SweepOptics, floor: number) => SizeCurve = sizeCurve,
): FocusFit | null {
  const scale = readingScale(frames);
  if (!(scale.half > 0)) return null;
  const start =
    near === null ? startOf(frames, scale) : { floor: typicalFloor(near), growth: near.growth, best: near.best[0] };
  if (start === null) return null;
  const curve = curveFor(optics, start.floor);
  const points = pointsOf(frames, scale, basis, near);
  const width = points[0]?.basis.length ?? 0;
  if (points.length < width + PLACE_TERMS + TERMS + 5) return null;
  const fit = solve(frames, points, width, curve, start, scale);
  if (fit === null) return null;
  const clean = withoutComatic(points, fit);
  if (clean.length === points.length) return fit;
  if (clean.length < width + PLACE_TERMS + TERMS + 5 * frames.length) return null;
  const again = solve(frames, clean, width, curve, start, scale);
  return again && { ...again, leftOut: points.length - clean.length };
}

/**
 * Stars whose focused size is mostly coma (a bare mirror's, far from its node): coma and astigmatism together shift their
 * sharpest focus, which squared sizes alone do not show.
 */
function withoutComatic(points: readonly Point[], fit: FocusFit): readonly Point[] {
  const { u, v, r2 } = fit.floorSlope;
  const extra = points.map((p) => u * p.u + v * p.v + r2 * (p.u * p.u + p.v * p.v));
  const least = Math.min(...extra);
  const round = typicalFloor(fit) + least;
  return points.filter((_, i) => extra[i] - least < COMATIC * Math.max(round, LEAST_FLOOR * typicalFloor(fit)));
}

interface Point {
  readonly frame: number;
  readonly t: number;
  readonly u: number;
  readonly v: number;
  readonly basis: readonly number[];
  readonly q0: number;
  readonly error: number;
}

/** With `near`, positions in focus count from its tilt and curvature: what is left is asked for. */
function pointsOf(frames: readonly SeriesFrame[], scale: ReadingScale, basis: Basis, near: FocusFit | null): Point[] {
  const [, x, y, r] = near === null ? [0, 0, 0, 0] : near.best;
  return frames.flatMap(({ measured, reading }, frame) =>
    measured.discs.map((d) => {
      const { u, v } = placeOf(measured, d.x, d.y);
      return {
        frame,
        t: (reading - scale.middle) / scale.half - x * u - y * v - r * (u * u + v * v),
        u,
        v,
        basis: basis(u, v),
        q0: d.q0,
        error: Math.hypot(d.q0Error, SHAPE_NOISE * d.q0),
      };
    }),
  );
}

/** Parabola through the frames' median sizes, by the smallest sum of relative misfits: one bad frame does not bend it. */
function startOf(frames: readonly SeriesFrame[], scale: ReadingScale): Start | null {
  const medians = frames.flatMap(({ measured, reading }) =>
    measured.discs.length === 0
      ? []
      : [{ t: (reading - scale.middle) / scale.half, q: median(measured.discs.map((d) => d.q0)) }],
  );
  if (medians.length < 3) return null;
  let found: (Start & { cost: number }) | null = null;
  for (let best = -2; best <= 2; best += 0.05) {
    // Weighted straight line of q against (t - best)^2.
    let [s, sx, sy, sxx, sxy] = [0, 0, 0, 0, 0];
    for (const { t, q } of medians) {
      const x = (t - best) ** 2;
      const w = 1 / (q * q);
      s += w;
      sx += w * x;
      sy += w * q;
      sxx += w * x * x;
      sxy += w * x * q;
    }
    const det = s * sxx - sx * sx;
    if (!(det > 0)) continue;
    const growth = (s * sxy - sx * sy) / det;
    const smallest = Math.min(...medians.map((m) => m.q));
    const floor = Math.max((sy - growth * sx) / s, 0.05 * smallest);
    if (!(growth > 0)) continue;
    const cost = medians.reduce((sum, { t, q }) => sum + Math.abs(q - floor - growth * (t - best) ** 2) / q, 0);
    if (found === null || cost < found.cost) found = { floor, growth, best, cost };
  }
  return found;
}

const typicalFloor = (fit: FocusFit): number => median(fit.floors.map((f) => f.value));

function solve(
  frames: readonly SeriesFrame[],
  points: readonly Point[],
  width: number,
  curve: SizeCurve,
  start: Start,
  scale: ReadingScale,
): FocusFit | null {
  // Order of the parameters: floor, drift, growth, backlash, place terms, best focus.
  const BEST = 4 + PLACE_TERMS;
  const n = BEST + width;
  const reversed = frames.some((f) => f.fromAbove) && frames.some((f) => !f.fromAbove);
  const last = Math.max(1, ...frames.map((f) => f.order));
  const drift = frames.map((f) => (2 * f.order) / last - 1);
  const parameters = new Float64Array(n + frames.length);
  parameters.set([start.floor, 0, start.growth, 0]);
  // Zones start from the same place, a surface from its constant.
  for (let j = 0; j < width; j++) parameters[BEST + j] = width === 9 || j === 0 ? start.best : 0;
  const none = { centre: 0, sigma: Infinity };
  const priors = [
    none,
    { centre: 0, sigma: SEEING_DRIFT * start.floor },
    none,
    { centre: 0, sigma: reversed ? BACKLASH_PRIOR : 1e-9 },
    ...Array.from({ length: PLACE_TERMS }, () => none),
    ...Array.from({ length: width }, () => ({ centre: parameters[BEST], sigma: 4 })),
  ];
  const count = points.length;
  const values = new Float64Array(count);
  const lever = new Float64Array(count);
  const rows = points.map(() => new Float64Array(n));
  const errors = points.map((p) => p.error);
  const group = points.map((p) => p.frame);
  let fit: MixedFit | null = null;
  for (let round = 0; round < NEWTON_ROUNDS; round++) {
    for (let i = 0; i < count; i++) {
      const p = points[i];
      const row = rows[i];
      const r2 = p.u * p.u + p.v * p.v;
      const above = frames[p.frame].fromAbove ? 1 : 0;
      const wanted =
        parameters[0] +
        parameters[1] * drift[p.frame] +
        parameters[4] * p.u +
        parameters[5] * p.v +
        parameters[6] * r2 +
        parameters[n + p.frame];
      const floor = Math.max(wanted, LEAST_FLOOR * start.floor);
      let dt = p.t - parameters[3] * above;
      for (let j = 0; j < width; j++) dt -= parameters[BEST + j] * p.basis[j];
      const growth = Math.max(parameters[2], 0.05 * start.growth);
      const x = (growth * dt * dt) / floor;
      const { g, slope } = curve.at(x);
      const byFloor = wanted === floor ? g - x * slope : 0;
      const byShift = -2 * growth * dt * slope;
      row[0] = byFloor;
      row[1] = byFloor * drift[p.frame];
      row[2] = slope * dt * dt;
      row[3] = byShift * above;
      row[4] = byFloor * p.u;
      row[5] = byFloor * p.v;
      row[6] = byFloor * r2;
      for (let j = 0; j < width; j++) row[BEST + j] = byShift * p.basis[j];
      lever[i] = byFloor;
      let linear = lever[i] * parameters[n + p.frame];
      for (let j = 0; j < n; j++) linear += row[j] * parameters[j];
      values[i] = p.q0 - floor * g + linear;
    }
    fit = mixedFit({
      rows,
      values,
      errors,
      group,
      groups: frames.length,
      lever,
      priors,
      spread: { sigma: SEEING_SPREAD.share * start.floor, counts: SEEING_SPREAD.counts },
    });
    if (fit === null) return null;
    let change = 0;
    for (let j = 0; j < width; j++)
      change = Math.max(change, Math.abs(fit.parameters[BEST + j] - parameters[BEST + j]));
    parameters.set(fit.parameters);
    if (change < 1e-4) break;
  }
  if (fit === null || !(parameters[2] > 0)) return null;
  return summarise(fit, { frames, width, drift, scale, curve, reversed, first: BEST, stars: count });
}

function summarise(
  fit: MixedFit,
  about: {
    readonly frames: readonly SeriesFrame[];
    readonly width: number;
    readonly drift: readonly number[];
    readonly scale: ReadingScale;
    readonly curve: SizeCurve;
    readonly reversed: boolean;
    readonly first: number;
    readonly stars: number;
  },
): FocusFit {
  const { frames, width, drift, first } = about;
  const p = fit.parameters;
  const n = first + width;
  const size = n + frames.length;
  const c = fit.covariance;
  const error = (j: number): number => Math.sqrt(c[j * size + j]);
  const covariance = new Float64Array(width * width);
  for (let i = 0; i < width; i++) {
    for (let j = 0; j < width; j++) covariance[i * width + j] = c[(first + i) * size + first + j];
    // The constant counts from the run's middle and knows nothing of the curve's scale.
    if (i > 0) covariance[i * width + i] += (CURVE_SHARE * p[first + i]) ** 2;
  }
  for (let j = 0; j < width && width < 9; j++) {
    covariance[j] *= BEST_WIDENED;
    covariance[j * width] *= BEST_WIDENED;
  }
  const own = p.subarray(n);
  return {
    scale: about.scale,
    best: p.slice(first, n),
    covariance,
    growth: p[2],
    growthError: error(2),
    floors: frames.map((_, f) => ({
      value: Math.max(1e-3, p[0] + p[1] * drift[f] + p[n + f]),
      error: Math.sqrt(Math.max(0, c[0] + c[(n + f) * size + n + f] + 2 * c[n + f])),
    })),
    floorSlope: { u: p[4], v: p[5], r2: p[6] },
    backlash: about.reversed ? { value: p[3], error: error(3) } : null,
    stray: Float64Array.from(own, (value) => Math.abs(value) / spreadOfOthers(own, Math.abs(value), p[0])),
    stretch: fit.stretch,
    curve: about.curve,
    stars: about.stars,
    leftOut: 0,
  };
}

/** Spread of the frames' own floors without the one in question, never below what seeing usually does. */
function spreadOfOthers(own: Float64Array, without: number, floor: number): number {
  const others = [...own].map(Math.abs).filter((value) => value !== without);
  const typical = others.length === 0 ? 0 : 1.48 * median(others);
  return Math.max(typical, SEEING_SPREAD.share * floor);
}
