import type { FrameStars } from '../field/frameStars.ts';
import { type CurveFit, type CurveProblem, continueCurve, fitCurve } from '../numeric/curveFit.ts';
import { libraryFit } from '../numeric/libraryFit.ts';
import { median } from '../numeric/statistics.ts';
import type { ResponseTable } from '../optics/response.ts';
import { type Cell, cellsOf, QUANTITIES } from './cells.ts';
import {
  type Given,
  HAND_ON,
  mirrored,
  nearestFocus,
  type Place,
  type ScanPoint,
  scanFocus,
  weighed,
} from './focusScan.ts';
import {
  boundsOf,
  otherSides,
  plainStart,
  priorsOf,
  type RetrievalGuess,
  type RetrievalPriors,
  reachOf,
  startsOf,
  within,
} from './knowledge.ts';
import { type Layout, layoutOf } from './layout.ts';
import { withoutLone } from './loneStars.ts';
import { type Bounds, type Prior, retrievalProblem } from './problem.ts';

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
  /** Of a typical star, px^2. */
  readonly sigma2: number;
}

/**
 * A fit with this much of chi-square (half a sigma of one parameter), or this share of it, left to gain has not come to its end. The
 * table has bends, at which no step gains what its slopes promise.
 */
const UNFINISHED = 0.25;
const UNFINISHED_SHARE = 1e-3;
/** Share of the work that the first fit is told to be; where its scan finds a better optimum, all is done again, so often at most. */
const FIRST_SHARE = 0.6;
const MOST_ROUNDS = 2;
/** A sub turned to the other side of focus must have come as near as this to the chi-square of the best after a longer look. */
const WORTHWHILE = 30;
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
  const all = frames.flatMap((frame, f) => cellsOf(frame, f));
  if (all.length < MIN_CELLS) return null;
  const layout = layoutOf(frames.length, guess.skew !== null);
  const bounds = boundsOf(layout, table, priors, reachOf(all));
  const sigma2 = median(all.map((cell) => cell.values[0]));
  const rows = priorsOf(layout, guess, priors, sigma2);
  const starts = (from === null ? startsOf(layout, guess, priors) : [Array.from(from)]).map((start) =>
    within(start, bounds),
  );
  let cells = all;
  const fitFrom = (some: readonly number[][], told: RetrievalProgress): Fit | null =>
    fitOnce({ layout, table, cells, rows, bounds, priors, plain: plainStart(layout, guess, priors) }, some, told);
  const again = (share: number): void => progress(FIRST_SHARE + (1 - FIRST_SHARE) * share);
  const followed = (some: readonly number[][], told: RetrievalProgress): Fit | null => {
    let found = fitFrom(some, told);
    // The scan looks where the starts may not have led.
    for (let round = 0; round < MOST_ROUNDS && found?.better; round++)
      found = fitFrom([Array.from(found.better)], again) ?? found;
    return found;
  };
  let fit = followed(starts, (share) => progress(FIRST_SHARE * share));
  if (fit === null) return null;
  const kept = withoutLone(all, layout, table, fit.best.parameters);
  if (kept.length < all.length && kept.length >= MIN_CELLS) {
    cells = kept;
    const without = followed([Array.from(fit.best.parameters)], again);
    if (without === null) cells = all;
    else fit = without;
  }
  const { best, places, chi2PerFreedom, errorScale } = fit;
  return {
    layout,
    cells,
    best,
    scan: weighed(places, priors.focus),
    referenceSub: nearestFocus(layout, best.parameters),
    chi2PerFreedom,
    converged: best.gain < Math.max(UNFINISHED, UNFINISHED_SHARE * best.chi2),
    signed: priors.bare !== null,
    priors: rows,
    bounds,
    errorScale,
    sigma2,
  };
}

interface Fit {
  readonly best: CurveFit;
  readonly places: readonly Place[];
  readonly chi2PerFreedom: number;
  readonly errorScale: number;
  /** Where the scan found a better optimum than the best of the starts; else null. */
  readonly better: Float64Array | null;
}

/**
 * The best fit on the other side of focus, with a bare mirror's own curvature and astigmatism as they are: tilt and strain nearly make up
 * for those, and no small step leads there. Null where none holds.
 */
function beyondFocus(
  layout: Layout,
  problem: CurveProblem,
  { parameters }: CurveFit,
  reference: number,
): CurveFit | null {
  const focus = layout.focus(reference);
  const start = mirrored(layout, parameters);
  for (const own of [layout.curvature, layout.radialAstigmatism]) start[own] = parameters[own];
  const found = continueCurve(problem, start);
  return found !== null && found.parameters[focus] * parameters[focus] < 0 ? found : null;
}

function fitOnce(given: Given, starts: readonly number[][], progress: RetrievalProgress): Fit | null {
  const { layout, table, cells, rows, bounds, priors } = given;
  const first = fitCurve(retrievalProblem(layout, table, cells, rows, bounds, 1), starts);
  if (first === null) return null;
  progress(0.4);
  const freedom = Math.max(1, cells.length * QUANTITIES - layout.length);
  const chi2PerFreedom = first.chi2 / freedom;
  const errorScale = Math.max(1, Math.sqrt(chi2PerFreedom));
  const problem = retrievalProblem(layout, table, cells, rows, bounds, errorScale);
  const own = continueCurve(problem, first.parameters) ?? first;
  // A second opinion on the optimum, by other code: gone on from wherever it finds something better.
  const second = libraryFit(problem, own.parameters);
  const gone = second === null ? null : continueCurve(problem, second);
  const led = gone !== null && gone.chi2 < own.chi2 ? gone : own;
  const best = otherSides(layout, led.parameters).reduce((least, start) => {
    const other = continueCurve(problem, start, least.chi2 + WORTHWHILE);
    return other !== null && other.chi2 < least.chi2 ? other : least;
  }, led);
  const reference = nearestFocus(layout, best.parameters);
  const side = best.parameters[layout.focus(reference)] < 0 ? -1 : 1;
  const ways =
    priors.bare === null
      ? [{ about: best, way: 1 }]
      : [
          { about: best, way: side },
          { about: beyondFocus(layout, problem, best, reference) ?? best, way: -side },
        ];
  const places = ways.flatMap(({ about, way }, k) =>
    scanFocus(given, errorScale, about, reference, way, (share) => progress(0.4 + (0.6 * (k + share)) / ways.length)),
  );
  const found = places.reduce((least, { fit }) => (fit.chi2 < least.chi2 ? fit : least), best);
  const other = found === best ? null : continueCurve(problem, found.parameters);
  const better = other !== null && other.chi2 < best.chi2 - HAND_ON ? other.parameters : null;
  return { best, places, chi2PerFreedom, errorScale, better };
}
