import type { FrameStars } from '../field/frameStars.ts';
import { type CurveFit, continueCurve, fitCurve } from '../numeric/curveFit.ts';
import { libraryFit } from '../numeric/libraryFit.ts';
import { median } from '../numeric/statistics.ts';
import type { ResponseTable } from '../optics/response.ts';
import { type Cell, cellsOf, QUANTITIES } from './cells.ts';
import { type Layout, layoutOf } from './layout.ts';
import { type Bounds, type Prior, retrievalProblem } from './problem.ts';

/** What is roughly known before the fit; wavefront coefficients in um, places in half-diagonals. */
export interface RetrievalGuess {
  /** Arcseconds, one a sub. */
  readonly seeing: readonly number[];
  /** d at the centre, one a sub, signs relative to tilt and curvature. */
  readonly focus: readonly number[];
  readonly tilt: { readonly x: number; readonly y: number };
  readonly curvature: number;
  readonly coma: { readonly x: number; readonly y: number };
  readonly trefoil: { readonly x: number; readonly y: number };
  /** coma3 of a skewed smear, or null where none was seen. */
  readonly skew: { readonly x: number; readonly y: number } | null;
}

export interface Expected {
  readonly value: number;
  readonly sigma: number;
}

/** Weak knowledge that keeps apart what the stars alone cannot; all 1 sigma. */
export interface RetrievalPriors {
  /** Focus error of an imager who focuses, um of d. */
  readonly focus: number;
  /** Astigmatism of a telescope in use, um of each coefficient. */
  readonly astigmatism: number;
  /** Of c growing over the field, um a half-diagonal: nothing give or take what a corrector leaves, or a bare mirror's own. */
  readonly linearComa: Expected;
  /** A bare mirror's own radial astigmatism and curvature, um at the half-diagonal: they also tell the side of focus. */
  readonly bare: { readonly radialAstigmatism: Expected; readonly curvature: Expected } | null;
  /** Subs whose focuser stood alike as the first of each pair; um of d. */
  readonly sameFocus: readonly (readonly [number, number])[];
}

/** One point of the scan over the focus of the reference sub. */
export interface ScanPoint {
  readonly focus: number;
  /** Share of the probability. */
  readonly weight: number;
  readonly parameters: Float64Array;
  readonly covariance: Float64Array;
}

export interface Retrieval {
  readonly layout: Layout;
  readonly cells: readonly Cell[];
  readonly best: CurveFit;
  /** Over the focus that one frame cannot tell from seeing, most probable first. */
  readonly scan: readonly ScanPoint[];
  readonly referenceSub: number;
  /** chi-square over freedom of the data alone; errors are scaled up by its root where it is above 1. */
  readonly chi2PerFreedom: number;
  readonly converged: boolean;
  /** Whether the signs of focus, tilt and astigmatism are told: with a bare mirror's own they are. */
  readonly signed: boolean;
  /** What the fit stood on, for those who fit again. */
  readonly priors: readonly Prior[];
  readonly bounds: Bounds;
  readonly errorScale: number;
}

/** Seeing changes so much from sub to sub (share, 1 sigma; common practice, no source). */
const SEEING_SCATTER = 0.1;
/** And its smear, as a share of the stars' own second moment: astigmatism, that turns through focus, is not taken for it. */
const SMEAR_SCATTER = 0.2;
/** coma3 for each um of d that the shadow of a fold mirror makes, set 0.03 pupil radii off for full illumination (drawn stars). */
const SHADOW_PER_UM = 0.007;
/** Focus differs so much between subs with the same focuser reading, um of d at any focal ratio: a tenth of a wave. */
const SAME_FOCUS_UM = 0.05;
const WIDE_UM = 3;
const SCAN_STEPS = 12;
/** Steps about the best fit, sigma. */
const FINE = [-2.4, -1.6, -0.8, 0, 0.8, 1.6, 2.4];
/** The scan holds the reference focus within this, um of d. */
const SCAN_HOLD = 1e-3;
/**
 * A fit with this much of chi-square, or this share of it, left to gain has not come to its end. The table has bends, at which no
 * step gains what its slopes promise.
 */
const UNFINISHED = 0.01;
const UNFINISHED_SHARE = 1e-3;
/** Fewer cells than this over all subs: no fit. */
const MIN_CELLS = 9;

/** Told now and then during the fit: share done. */
export type RetrievalProgress = (share: number) => void;

/**
 * Fits the shapes of all stars of all subs at once with what the drawn optics answer to seeing, smear and focus of each sub
 * and to one set of aberrations over the field (Jarvis, Schechter & Jain 2008, arXiv:0810.0027, fit much the same).
 * Null where there are too few stars. `from`: where an earlier fit of the same stars ended; null: from many starts.
 */
export function fitWavefront(
  frames: readonly FrameStars[],
  table: ResponseTable,
  guess: RetrievalGuess,
  priors: RetrievalPriors,
  from: Float64Array | null = null,
  progress: RetrievalProgress = () => undefined,
): Retrieval | null {
  const cells = frames.flatMap((frame, f) => cellsOf(frame, f));
  if (cells.length < MIN_CELLS) return null;
  const layout = layoutOf(frames.length, guess.skew !== null);
  const bounds = boundsOf(layout, table, priors);
  const rows = priorsOf(layout, guess, priors, median(cells.map((cell) => cell.values[0])));
  const starts = (from === null ? startsOf(layout, guess, priors) : [Array.from(from)]).map((start) =>
    within(start, bounds),
  );
  const first = fitCurve(retrievalProblem(layout, table, cells, rows, bounds, 1), starts);
  if (first === null) return null;
  progress(0.4);
  const freedom = Math.max(1, cells.length * QUANTITIES - layout.length);
  const chi2PerFreedom = first.chi2 / freedom;
  const scale = Math.max(1, Math.sqrt(chi2PerFreedom));
  const problem = retrievalProblem(layout, table, cells, rows, bounds, scale);
  const own = continueCurve(problem, first.parameters) ?? first;
  // A second opinion on the optimum, by other code: gone on from wherever it finds something better.
  const second = libraryFit(problem, own.parameters);
  const gone = second === null ? null : continueCurve(problem, second);
  const best = gone !== null && gone.chi2 < own.chi2 ? gone : own;
  const referenceSub = nearestFocus(layout, best.parameters);
  const sides = priors.bare === null ? [1] : [1, -1];
  const places = sides.flatMap((side, k) =>
    scanFocus(layout, table, cells, rows, bounds, scale, best, referenceSub, priors, side, (share) =>
      progress(0.4 + (0.6 * (k + share)) / sides.length),
    ),
  );
  const scan = weighed(places, priors.focus);
  return {
    layout,
    cells,
    best,
    scan,
    referenceSub,
    chi2PerFreedom,
    converged: best.gain < Math.max(UNFINISHED, UNFINISHED_SHARE * best.chi2),
    signed: priors.bare !== null,
    priors: rows,
    bounds,
    errorScale: scale,
  };
}

function nearestFocus(layout: Layout, p: ArrayLike<number>): number {
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
function scanFocus(
  layout: Layout,
  table: ResponseTable,
  cells: readonly Cell[],
  rows: readonly Prior[],
  bounds: Bounds,
  scale: number,
  best: CurveFit,
  reference: number,
  { focus: focusSigma, bare }: RetrievalPriors,
  side: number,
  progress: RetrievalProgress,
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
  // Outwards from the best fit in both directions, each from its neighbour's end.
  const nearest = places.findIndex((place, k) => k === last || middle < (place + places[k + 1]) / 2);
  const order = [
    ...Array.from({ length: last + 1 - nearest }, (_, k) => nearest + k),
    ...Array.from({ length: nearest }, (_, k) => nearest - 1 - k),
  ];
  for (const [done, k] of order.entries()) {
    const neighbour = k >= nearest ? fits.get(k - 1) : fits.get(k + 1);
    const start = Float64Array.from(neighbour?.parameters ?? upright);
    start[index] = side * places[k];
    const hold: Prior = { terms: [{ index, factor: 1 }], value: side * places[k], sigma: SCAN_HOLD };
    const problem = retrievalProblem(layout, table, cells, [...others, hold], bounds, scale);
    const fit = continueCurve(problem, start);
    if (fit?.covariance) fits.set(k, fit);
    progress((done + 1) / order.length);
  }
  // Each place stands for the way to halfway to its neighbours.
  return [...fits].map(([k, fit]) => ({
    fit,
    focus: side * places[k],
    width: places[Math.min(last, k + 1)] - places[Math.max(0, k - 1)],
  }));
}

interface Place {
  readonly fit: CurveFit;
  readonly focus: number;
  readonly width: number;
}

/** Places by their share of the probability, the most probable first. */
function weighed(places: readonly Place[], focusSigma: number): ScanPoint[] {
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

const one = (index: number, sigma: number, value = 0): Prior => ({ terms: [{ index, factor: 1 }], value, sigma });

const expected = (index: number, { value, sigma }: Expected): Prior => one(index, sigma, value);

function priorsOf(layout: Layout, guess: RetrievalGuess, priors: RetrievalPriors, sigma2: number): Prior[] {
  const { subs } = layout;
  /** Each sub's number less the mean of all. */
  const fromMean = (f: number, index: (sub: number) => number, sigma: number): Prior => ({
    terms: Array.from({ length: subs }, (_, g) => ({ index: index(g), factor: (g === f ? 1 : 0) - 1 / subs })),
    value: 0,
    sigma,
  });
  const seeing = guess.seeing.reduce((a, b) => a + b, 0) / subs;
  const subRows = Array.from({ length: subs }, (_, f) => {
    const steady: Prior[] =
      subs < 2
        ? []
        : [
            fromMean(f, layout.seeing, SEEING_SCATTER * seeing),
            fromMean(f, layout.smear, SMEAR_SCATTER * sigma2),
            fromMean(f, (g) => layout.smear(g) + 1, SMEAR_SCATTER * sigma2),
          ];
    const smear = layout.smear(f);
    const skew = layout.skew(f);
    return [
      ...steady,
      // Subs told apart by their focus may stand anywhere; the nearest ones are an imager's focus.
      one(layout.focus(f), Math.max(priors.focus, 0.7 * Math.abs(guess.focus[f]))),
      one(smear, 10),
      one(smear + 1, 10),
      ...(skew < 0 ? [] : [one(skew, 0.3), one(skew + 1, 0.3)]),
    ];
  }).flat();
  const same = priors.sameFocus.map(
    ([f, g]): Prior => ({
      terms: [
        { index: layout.focus(f), factor: 1 },
        { index: layout.focus(g), factor: -1 },
      ],
      value: 0,
      sigma: SAME_FOCUS_UM,
    }),
  );
  const pair = (index: number, sigma: number): Prior[] => [one(index, sigma), one(index + 1, sigma)];
  return [
    ...subRows,
    ...same,
    ...pair(layout.tilt, WIDE_UM),
    priors.bare === null ? one(layout.curvature, WIDE_UM) : expected(layout.curvature, priors.bare.curvature),
    ...pair(layout.astigmatism, priors.astigmatism),
    ...pair(layout.linearAstigmatism, priors.astigmatism),
    priors.bare === null
      ? one(layout.radialAstigmatism, priors.astigmatism)
      : expected(layout.radialAstigmatism, priors.bare.radialAstigmatism),
    ...pair(layout.coma, WIDE_UM),
    expected(layout.linearComa, priors.linearComa),
    ...pair(layout.trefoil, WIDE_UM),
    ...pair(layout.shadow, SHADOW_PER_UM),
  ];
}

function boundsOf(
  layout: Layout,
  table: Pick<ResponseTable, 'range' | 'defocusLimit'>,
  { bare, linearComa }: RetrievalPriors,
): Bounds {
  const { limits, seeingArcsec } = table.range;
  const upper = new Array<number>(layout.length).fill(0);
  const lower = new Array<number>(layout.length).fill(0);
  const set = (index: number, count: number, limit: number): void => {
    for (let k = 0; k < count; k++) {
      upper[index + k] = limit;
      lower[index + k] = -limit;
    }
  };
  const d = table.defocusLimit;
  for (let f = 0; f < layout.subs; f++) {
    lower[layout.seeing(f)] = seeingArcsec.from;
    upper[layout.seeing(f)] = seeingArcsec.to;
    set(layout.focus(f), 1, d);
    set(layout.smear(f), 2, 40);
    if (layout.skew(f) >= 0) set(layout.skew(f), 2, 1);
  }
  // Of half a diagonal: a frame's shorter side reaches little more than half of it, its stars' r^2 hardly two thirds.
  set(layout.tilt, 2, 2.5 * d);
  set(layout.curvature, 1, 1.5 * d);
  set(layout.astigmatism, 2, limits.a);
  // A bare mirror's own grows beyond the table where its stars are no longer looked at.
  const radial = 2 * Math.abs(bare?.radialAstigmatism.value ?? 0);
  set(layout.linearAstigmatism, 2, Math.max(limits.a, radial));
  set(layout.radialAstigmatism, 1, Math.max(limits.a, radial));
  set(layout.coma, 2, Math.max(limits.c, Math.abs(linearComa.value)));
  set(layout.linearComa, 1, Math.max(limits.c, 1.3 * Math.abs(linearComa.value)));
  set(layout.trefoil, 2, limits.t);
  set(layout.shadow, 2, 0.1);
  return { lower, upper };
}

function within(start: readonly number[], { lower, upper }: Bounds): number[] {
  return start.map((value, j) => {
    const room = 0.02 * (upper[j] - lower[j]);
    return Math.min(upper[j] - room, Math.max(lower[j] + room, value));
  });
}

/** Signs of focus, tilt and curvature make local minima; so does how much of the width is focus. */
function startsOf(layout: Layout, guess: RetrievalGuess, { bare, linearComa }: RetrievalPriors): number[][] {
  const build = (focusBy: number, tiltBy: number, curvatureBy: number, side = 1): number[] => {
    const p = new Array<number>(layout.length).fill(0);
    for (let f = 0; f < layout.subs; f++) {
      p[layout.seeing(f)] = guess.seeing[f];
      p[layout.focus(f)] = side * guess.focus[f] + focusBy;
      const skew = layout.skew(f);
      if (skew >= 0 && guess.skew !== null) {
        p[skew] = guess.skew.x;
        p[skew + 1] = guess.skew.y;
      }
    }
    p[layout.tilt] = tiltBy * guess.tilt.x + 0.01;
    p[layout.tilt + 1] = tiltBy * guess.tilt.y + 0.01;
    p[layout.curvature] = bare === null ? curvatureBy * guess.curvature + 0.01 : bare.curvature.value;
    p[layout.radialAstigmatism] = bare?.radialAstigmatism.value ?? 0;
    p[layout.linearComa] = linearComa.value;
    p[layout.coma] = guess.coma.x;
    p[layout.coma + 1] = guess.coma.y;
    p[layout.trefoil] = guess.trefoil.x;
    p[layout.trefoil + 1] = guess.trefoil.y;
    return p;
  };
  if (bare !== null)
    return [1, -1].flatMap((side) => [
      build(0, 1, 1, side),
      build(0, -1, 1, side),
      build(0.15 * side, 0.2, 1, 0),
      build(0.02 * side, 0.1, 1, 0),
    ]);
  return [
    build(0, 1, 1),
    build(0, -1, 1),
    build(0, 1, -1),
    build(0, -1, -1),
    build(0.15, 1, 1),
    build(-0.15, 1, 1),
    build(0.15, 0.2, 0.2),
    build(0.15, -1, -1),
    build(0.02, 0.1, 0.1),
  ];
}
