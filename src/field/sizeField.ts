import { type CurveFit, type CurveProblem, fitCurve } from '../numeric/curveFit.ts';
import { median, robustSigma } from '../numeric/statistics.ts';
import { compiledSurface } from './compiledSurface.ts';
import { type FrameStars, fieldPosition } from './frameStars.ts';

/**
 * Squared widths over the field of several subs of one set-up:
 *   FWHM_f^2(u, v) = floor_f^2 + (centre_f + tilt . (u, v) + curvature (u^2 + v^2))^2
 * (u, v) in half-diagonals. floor_f is what seeing and optics leave at best focus; the bracket is the blur that defocus
 * adds, in pixels of FWHM, and changes sign through focus. A plane in FWHM would not see a tilt that is focused at the centre.
 * The overall sign is not in the data: (centre, tilt, curvature) and its negative fit alike.
 */
export interface SizeField {
  /** Pixels, one a sub. */
  readonly floor: readonly number[];
  readonly centre: readonly number[];
  readonly centreError: readonly number[];
  /** Pixels of FWHM blur a half-diagonal, stored axes; sign of the whole vector unknown. */
  readonly tilt: { readonly x: number; readonly y: number; readonly error: number };
  /** Pixels of FWHM blur at the corner less at the centre, sign relative to `centre`. */
  readonly curvature: { readonly value: number; readonly error: number };
  /** sqrt(delta chi-square) against the same field without tilt, without curvature. */
  readonly tiltSignificance: number;
  readonly curvatureSignificance: number;
  /** 95 % upper limit of |tilt|, pixels a half-diagonal. */
  readonly tiltUpperLimit: number;
}

interface Point {
  readonly frame: number;
  readonly u: number;
  readonly v: number;
  readonly r2: number;
  /** Mean FWHM^2 of the stars there, pixels^2, and its error. */
  readonly size2: number;
  readonly error: number;
}

/** Cells along the longer side into which stars are averaged: fine against a quadratic, coarse against noise. */
const CELLS = 9;
/** Fewer stars than this in all: no surface. */
export const MIN_SURFACE_STARS = 24;

/** Squared blur, pixels^2 of FWHM, that other aberrations (coma, trefoil) add at a field position of a sub. */
export type OtherBlur = (frame: number, u: number, v: number) => number;

/** `knownCurvature`: the blur of the curvature at the corner, pixels, where it is not to be found (a bare paraboloid's own). */
export function fitSizeField(
  frames: readonly FrameStars[],
  otherBlur: OtherBlur = () => 0,
  knownCurvature: number | null = null,
): SizeField | null {
  const stars = frames.reduce((sum, frame) => sum + frame.shapes.length, 0);
  if (stars < MIN_SURFACE_STARS || frames.some((frame) => frame.shapes.length === 0)) return null;
  const points = frames
    .flatMap((frame, index) => averagePoints(frame, index))
    .map((q) => ({ ...q, size2: q.size2 - otherBlur(q.frame, q.u, q.v) }));
  if (points.length < 2 * frames.length + 6) return null;
  const typical = frames.map((_, f) =>
    Math.sqrt(Math.max(0.2, median(points.filter((q) => q.frame === f).map((q) => q.size2)))),
  );
  const scaled = inflateErrors(points, frames.length, typical, knownCurvature);
  const fitWith = (terms: Terms, near: readonly CurveFit[] = []): CurveFit | null =>
    solve(scaled, frames.length, typical, terms, knownCurvature, near);
  const first = fitWith({ tilt: true, curvature: true });
  if (first === null) return null;
  // Each fit also starts from the others' ends, so that none is called worse for having stuck in a local minimum.
  const flat = fitWith({ tilt: false, curvature: true }, [first]);
  const plane = fitWith({ tilt: true, curvature: false }, [first]);
  const ends = [flat, plane].flatMap((end) => end ?? []);
  const full = ends.some((end) => end.chi2 < first.chi2)
    ? (fitWith({ tilt: true, curvature: true }, [first, ...ends]) ?? first)
    : first;
  const significance = (without: CurveFit | null): number =>
    without === null ? 0 : Math.sqrt(Math.max(0, without.chi2 - full.chi2));
  const n = 2 * frames.length;
  const p = full.parameters;
  const error = (i: number): number => {
    const size = p.length;
    const variance = full.covariance?.[i * size + i];
    return variance !== undefined && variance > 0 ? Math.sqrt(variance) : Number.POSITIVE_INFINITY;
  };
  const tiltSignificance = significance(flat);
  const length = Math.hypot(p[n], p[n + 1]);
  const widest = 2 * Math.max(...typical);
  // Where the surface is flat the quadratic model's own errors are too small: the chance to miss it is in delta chi-square.
  const tiltError = Math.min(
    widest,
    Math.max(Math.hypot(error(n), error(n + 1)) / Math.SQRT2, length / Math.max(1, tiltSignificance)),
  );
  return {
    floor: Array.from({ length: frames.length }, (_, f) => Math.sqrt(p[f])),
    centre: Array.from({ length: frames.length }, (_, f) => p[frames.length + f]),
    centreError: Array.from({ length: frames.length }, (_, f) => Math.min(widest, error(frames.length + f))),
    tilt: { x: p[n], y: p[n + 1], error: tiltError },
    curvature: {
      value: p[n + 2],
      error: Math.min(widest, Math.max(error(n + 2), Math.abs(p[n + 2]) / Math.max(1, significance(plane)))),
    },
    tiltSignificance,
    curvatureSignificance: significance(plane),
    tiltUpperLimit: Math.min(widest, length + 2 * tiltError),
  };
}

/** Stars averaged in cells, outliers left out; a sub with few stars keeps a point a star. */
function averagePoints(frame: FrameStars, index: number): Point[] {
  const step = Math.max(frame.width, frame.height) / CELLS;
  const cells = new Map<number, { u: number; v: number; size2: number }[]>();
  for (const s of frame.shapes) {
    const { u, v } = fieldPosition(frame, s.x, s.y);
    const key = frame.shapes.length < 60 ? cells.size : Math.floor(s.x / step) + 1000 * Math.floor(s.y / step);
    const entry = { u, v, size2: s.fwhm ** 2 };
    const cell = cells.get(key);
    if (cell) cell.push(entry);
    else cells.set(key, [entry]);
  }
  const all = frame.shapes.map((s) => s.fwhm ** 2);
  const spreadInCells = [...cells.values()].filter((c) => c.length >= 4).map((c) => robustSigma(c.map((e) => e.size2)));
  const scatter = spreadInCells.length >= 3 ? median(spreadInCells) : robustSigma(all);
  const scale = Math.max(scatter, 1e-3 * median(all));
  return [...cells.values()].map((cell) => {
    const middle = median(cell.map((e) => e.size2));
    const kept = cell.filter((e) => Math.abs(e.size2 - middle) <= 3 * scale);
    const used = kept.length > 0 ? kept : cell;
    const mean = (pick: (e: { u: number; v: number; size2: number }) => number): number =>
      used.reduce((sum, e) => sum + pick(e), 0) / used.length;
    const u = mean((e) => e.u);
    const v = mean((e) => e.v);
    return {
      frame: index,
      u,
      v,
      r2: mean((e) => e.u * e.u + e.v * e.v),
      size2: mean((e) => e.size2),
      error: scale / Math.sqrt(used.length),
    };
  });
}

interface Terms {
  readonly tilt: boolean;
  readonly curvature: boolean;
}

/** Parameters: floor^2 of each sub, centre of each sub, tilt x, tilt y, curvature. */
function solve(
  points: readonly Point[],
  subs: number,
  typical: readonly number[],
  terms: Terms,
  knownCurvature: number | null,
  near: readonly CurveFit[] = [],
): CurveFit | null {
  const n = 2 * subs;
  const bracket = (p: ArrayLike<number>, q: Point): number =>
    p[subs + q.frame] + p[n] * q.u + p[n + 1] * q.v + p[n + 2] * q.r2;
  const widest = Math.max(...typical);
  // Weak priors (one pseudo-point each) keep floor and centre apart where the field is flat and nothing else would.
  const priors = Array.from({ length: subs + 3 }, (_, j) => ({
    parameter: subs + j,
    sigma: j < subs ? 0.5 * widest : 2 * widest,
  }));
  const count = points.length + priors.length;
  const plain: CurveProblem = {
    values: Float64Array.from({ length: count }, (_, i) => (i < points.length ? points[i].size2 : 0)),
    errors: Float64Array.from({ length: count }, (_, i) =>
      i < points.length ? points[i].error : priors[i - points.length].sigma,
    ),
    model: (p, i) => {
      if (i >= points.length) return p[priors[i - points.length].parameter];
      const q = points[i];
      return p[q.frame] + bracket(p, q) ** 2;
    },
    jacobian: (p, i) => {
      const out = new Array<number>(n + 3).fill(0);
      if (i >= points.length) {
        out[priors[i - points.length].parameter] = 1;
        return out;
      }
      const q = points[i];
      const d = 2 * bracket(p, q);
      out[q.frame] = 1;
      out[subs + q.frame] = d;
      out[n] = d * q.u;
      out[n + 1] = d * q.v;
      out[n + 2] = d * q.r2;
      return out;
    },
    lower: limits(subs, n, typical, terms, knownCurvature, -1),
    upper: limits(subs, n, typical, terms, knownCurvature, 1),
  };
  const problem = { ...plain, ...compiledSurface(plain, points, subs, priors) };
  const known = near.map(({ parameters }) =>
    Array.from(parameters, (value, j) =>
      (j >= n && j < n + 2 && !terms.tilt) || (j === n + 2 && !terms.curvature) ? 0 : value,
    ),
  );
  return fitCurve(problem, [...known, ...startingPoints(points, subs, typical, terms)]);
}

/** A term that is switched off is held between two bounds that leave it no room. */
function limits(
  subs: number,
  n: number,
  typical: readonly number[],
  terms: Terms,
  knownCurvature: number | null,
  sign: 1 | -1,
): number[] {
  const widest = Math.max(...typical);
  const off = sign * 1e-9 * widest;
  return Array.from({ length: n + 3 }, (_, j) => {
    if (j < subs) return sign < 0 ? 0.1 * typical[j] ** 2 : 4 * typical[j] ** 2;
    if (j < n) return sign * 4 * widest;
    if (j < n + 2) return terms.tilt ? sign * 8 * widest : off;
    if (!terms.curvature) return off;
    return knownCurvature === null ? sign * 8 * widest : knownCurvature + off;
  });
}

/** Signs of centre, tilt and curvature make local minima: start from every combination. */
function startingPoints(points: readonly Point[], subs: number, typical: readonly number[], terms: Terms): number[][] {
  const sizes = points.map((q) => q.size2);
  const amplitude = Math.sqrt(Math.max(2 * robustSigma(sizes), 1e-3 * median(sizes)));
  const directions = terms.tilt
    ? [
        [0.1, 0.1],
        [1, 0],
        [0, 1],
        [0.7, 0.7],
        [0.7, -0.7],
      ]
    : [[0, 0]];
  const curvatures = terms.curvature ? [-1.5, 0.1, 1.5] : [0];
  const floor = typical.map((t) => Math.max(0.3 * t * t, t * t - 0.7 * amplitude ** 2));
  // Wider subs stand farther from focus than the sharpest; on which side is tried out.
  const sharpest = Math.min(...typical);
  const offsets = typical.map((t) => 0.7 * amplitude + Math.sqrt(Math.max(0, t * t - sharpest ** 2)));
  return sidesOfFocus(subs).flatMap((sides, k) =>
    (k < 2 ? directions : directions.slice(0, 2)).flatMap(([x, y]) =>
      curvatures.map((c) => [
        ...floor,
        ...sides.map((side, f) => side * offsets[f]),
        x * amplitude,
        y * amplitude,
        c * amplitude,
      ]),
    ),
  );
}

/** Which side of focus each sub stands on, the common sign left out: all alike first, then one or two apart. */
function sidesOfFocus(subs: number): number[][] {
  const alike = new Array<number>(subs).fill(1);
  const apart = Array.from({ length: Math.min(subs - 1, 3) }, (_, f) =>
    alike.map((side, i) => (i === f + 1 ? -side : side)),
  );
  const halves = subs > 2 ? [alike.map((side, i) => (i === 0 ? side : -side))] : [];
  // The second list turns the side of all subs against the tilt's and curvature's own signs.
  return [alike, alike.map((side) => -side), ...apart, ...halves];
}

/** Scales the points' errors so that the best surface leaves a reduced chi-square of one (never below the given errors). */
function inflateErrors(
  points: readonly Point[],
  subs: number,
  typical: readonly number[],
  knownCurvature: number | null,
): Point[] {
  const fit = solve(points, subs, typical, { tilt: true, curvature: true }, knownCurvature);
  const freedom = points.length - (2 * subs + 3);
  const scale = fit === null || freedom < 3 ? 1 : Math.max(1, Math.sqrt(fit.chi2 / freedom));
  return points.map((q) => ({ ...q, error: q.error * scale }));
}
