import { type CurveFit, continueCurve } from '../numeric/curveFit.ts';
import type { ResponseTable } from '../optics/response.ts';
import type { Cell } from './cells.ts';
import type { RetrievalPriors } from './knowledge.ts';
import type { Layout } from './layout.ts';
import { type Bounds, type Prior, retrievalProblem } from './problem.ts';

/** One point of the scan over the focus of the reference sub. */
export interface ScanPoint {
  readonly focus: number;
  /** Share of the probability. */
  readonly weight: number;
  readonly parameters: Float64Array;
  readonly covariance: Float64Array;
}

/** What all fits of one retrieval stand on. */
export interface Given {
  readonly layout: Layout;
  readonly table: ResponseTable;
  readonly cells: readonly Cell[];
  readonly rows: readonly Prior[];
  readonly bounds: Bounds;
  readonly priors: RetrievalPriors;
  /** What was known before the fit, in place: where a plain answer may be looked for. */
  readonly plain: readonly number[];
}

const SCAN_STEPS = 12;
/** Steps about the best fit, sigma. */
const FINE = [-2.4, -1.6, -0.8, 0, 0.8, 1.6, 2.4];
/** A place of the scan whose chi-square is so much worse than the next one's is fitted again from there. */
export const HAND_ON = 1;
/** After a longer look a flat start must have come as near as this to the chi-square of the other. */
const HOPE = 10;
/** A place so much worse than the best fit has no weight. */
const HOPELESS = 80;
/** Tilt and curvature, um of d, from which there is no way to a flatter answer. */
const FLAT_UM = 0.02;
/** The scan holds the reference focus within this, um of d. */
const SCAN_HOLD = 1e-3;

/** The sub that stands nearest to focus. */
export function nearestFocus(layout: Layout, p: ArrayLike<number>): number {
  let nearest = 0;
  for (let f = 1; f < layout.subs; f++)
    if (Math.abs(p[layout.focus(f)]) < Math.abs(p[layout.focus(nearest)])) nearest = f;
  return nearest;
}

/**
 * One focus tells defocus hardly from seeing, and coma answers to both: the reference sub's focus is held at steps, everything
 * else fitted again, and each step weighs as chi-square and the prior of focus say. (d, a, tilt) and its negative are alike,
 * so one side of focus serves.
 */
export function scanFocus(
  { layout, table, cells, rows, bounds, plain, priors: { focus: focusSigma, bare } }: Given,
  scale: number,
  best: CurveFit,
  reference: number,
  side: number,
  progress: (share: number) => void,
): Place[] {
  const index = layout.focus(reference);
  const others = rows.filter((row) => !(row.terms.length === 1 && row.terms[0].index === index));
  const onSide = best.parameters[index] * side >= 0;
  const middle = bare === null || onSide ? Math.abs(best.parameters[index]) : 0;
  const upright = bare === null && !onSide ? mirrored(layout, best.parameters) : best.parameters;
  const farthest = Math.min(bounds.upper[index], Math.max(2.2 * focusSigma, middle + focusSigma));
  const step = farthest / SCAN_STEPS;
  const places = scanPlaces(step, middle, errorAt(best, index));
  const last = places.length - 1;
  const fits = new Map<number, CurveFit>();
  /** Pairs of a place and the fit of another that has been tried there. */
  const tried = new Map<number, Set<CurveFit>>();
  const chi2At = (k: number): number => fits.get(k)?.chi2 ?? Number.POSITIVE_INFINITY;
  const hopeless = (k: number): boolean => chi2At(k) > best.chi2 + HOPELESS;
  const fitAt = (k: number, from: ArrayLike<number>, below?: number): void => {
    const start = Float64Array.from(from);
    start[index] = side * places[k];
    const hold: Prior = { terms: [{ index, factor: 1 }], value: side * places[k], sigma: SCAN_HOLD };
    const problem = retrievalProblem(layout, table, cells, [...others, hold], bounds, scale);
    const fit = continueCurve(problem, start, below);
    if (fit?.covariance && fit.chi2 < chi2At(k)) fits.set(k, fit);
  };
  const fitFrom = (k: number, neighbour: CurveFit | undefined): void => {
    if (neighbour !== undefined) tried.set(k, (tried.get(k) ?? new Set()).add(neighbour));
    fitAt(k, neighbour?.parameters ?? upright);
  };
  // Outwards from the best fit in both directions, each from its neighbour's end, as far as there is any hope.
  const nearest = places.findIndex((place, k) => k === last || middle < (place + places[k + 1]) / 2);
  let done = 0;
  const goOut = (from: number, way: 1 | -1): void => {
    for (let k = from; k >= 0 && k <= last; k += way, done++) {
      if (k !== from && hopeless(k - way) && hopeless(k - 2 * way)) return;
      const neighbour = fits.get(k - way);
      fitFrom(k, neighbour);
      // Near focus a tilt widens both sides alike, and followed outwards that answer hides the plain one, which grows better.
      const hope = (): number => Math.min(chi2At(k) + HOPE, best.chi2 + HOPELESS);
      const flat = flattened(layout, neighbour?.parameters ?? upright, bare);
      if (flat !== null) fitAt(k, flat, hope());
      // And coma with astigmatism may hold each other where neither is.
      fitAt(k, plainAt(layout, plain, neighbour?.parameters ?? upright), hope());
      progress((done + 1) / places.length);
    }
  };
  goOut(nearest, 1);
  goOut(nearest - 1, -1);
  // Whoever found a better answer than the next hands it on, in both directions.
  const handOn = (to: number, from: number): void => {
    const other = fits.get(from);
    if (other === undefined || hopeless(from) || tried.get(to)?.has(other) === true) return;
    if (other.chi2 + HAND_ON < chi2At(to)) fitFrom(to, other);
  };
  for (let k = last - 1; k >= 0; k--) handOn(k, k + 1);
  for (let k = 1; k <= last; k++) handOn(k, k - 1);
  // Each place stands for the way to halfway to its neighbours.
  return [...fits].map(([k, fit]) => ({
    fit,
    focus: side * places[k],
    width: places[Math.min(last, k + 1)] - places[Math.max(0, k - 1)],
  }));
}

/** The same without tilt and curvature, or with a bare mirror's own; null where there is hardly any. */
function flattened(layout: Layout, p: ArrayLike<number>, bare: RetrievalPriors['bare']): Float64Array | null {
  const own = bare?.curvature.value ?? 0;
  const bent = [p[layout.tilt], p[layout.tilt + 1], p[layout.curvature] - own];
  if (bent.every((um) => Math.abs(um) < FLAT_UM)) return null;
  const out = Float64Array.from(p);
  out[layout.tilt] = 0;
  out[layout.tilt + 1] = 0;
  out[layout.curvature] = own;
  return out;
}

/** Foci and seeing of a fit, everything else as it was known before, the field flat. */
function plainAt(layout: Layout, plain: readonly number[], fitted: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(plain);
  for (let f = 0; f < layout.subs; f++) {
    out[layout.seeing(f)] = fitted[layout.seeing(f)];
    out[layout.focus(f)] = fitted[layout.focus(f)];
  }
  return out;
}

export interface Place {
  readonly fit: CurveFit;
  readonly focus: number;
  readonly width: number;
}

/** Places by their share of the probability, the most probable first. */
export function weighed(places: readonly Place[], focusSigma: number): ScanPoint[] {
  const entries = places.map(({ fit, focus, width }) => ({
    fit,
    focus,
    log: -0.5 * (fit.chi2 + (focus / focusSigma) ** 2) + Math.log(width),
  }));
  const top = Math.max(...entries.map((e) => e.log));
  const total = entries.reduce((sum, e) => sum + Math.exp(e.log - top), 0);
  return entries
    .map(({ fit, focus, log }) => ({
      focus,
      weight: Math.exp(log - top) / total,
      parameters: fit.parameters,
      covariance: fit.covariance as Float64Array,
    }))
    .sort((a, b) => b.weight - a.weight);
}

/** An even grid from 0, finer about the best fit where the stars tell the focus more closely than the grid does. */
function scanPlaces(step: number, middle: number, error: number): number[] {
  const even = Array.from({ length: SCAN_STEPS + 1 }, (_, k) => k * step);
  if (!(error < step)) return even;
  const fine = FINE.map((k) => middle + k * error).filter((place) => place >= 0);
  const apart = even.filter((place) => Math.abs(place - middle) > (FINE[FINE.length - 1] + 0.5) * error);
  return [...apart, ...fine].sort((a, b) => a - b);
}

function errorAt(fit: CurveFit, index: number): number {
  const n = fit.parameters.length;
  const variance = fit.covariance?.[index * n + index];
  return variance !== undefined && variance > 0 ? Math.sqrt(variance) : Number.POSITIVE_INFINITY;
}

/** The same stars from the other side of focus: (d, a) -> -(d, a), everything else kept. */
export function mirrored(layout: Layout, p: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(p);
  const turn = (index: number, count: number): void => {
    for (let k = 0; k < count; k++) out[index + k] = -out[index + k];
  };
  for (let f = 0; f < layout.subs; f++) turn(layout.focus(f), 1);
  turn(layout.tilt, 2);
  turn(layout.curvature, 1);
  turn(layout.astigmatism, 2);
  turn(layout.linearAstigmatism, 2);
  turn(layout.radialAstigmatism, 1);
  turn(layout.shadow, 2);
  return out;
}
