import { continueCurve } from '../numeric/curveFit.ts';
import { type Complex, dot, length, polar, scale } from '../optics/complex.ts';
import type { ResponseTable } from '../optics/response.ts';
import type { Retrieval } from './fitWavefront.ts';
import { boundsOf, priorsOf, type RetrievalGuess, type RetrievalPriors, reachOf, within } from './knowledge.ts';
import { type Layout, layoutOf } from './layout.ts';
import { retrievalProblem } from './problem.ts';
import { ASTIGMATISM, unshared } from './smearOrAstigmatism.ts';

/** coma3 over the distortion to 3/2 of a smear: a jump after a sixth to a third of the exposure (two places, third moment of their light). */
const SKEW_OF_SMEAR = 0.5;
/** A smear shorter than this, (e1, e2), has no axis to speak of. */
const LEAST_SMEAR = 0.02;
/** Share of the skew that may stand across the smear's long axis: a jump's stands along it. */
const ACROSS = 0.3;

/**
 * Fall of chi-square for each sub, in the errors that the fit without a skew has, from which on the smears are skewed. Drawn drifts of
 * two and three subs reach 15 in all, drawn jumps begin at 80.
 */
const TOLD_FALL = 20;

/**
 * The guess for a fit in which the smears of all subs are skewed, as jumps make them. A skew is the same third moment at any focus, and
 * coma of the optics is answered the more the farther from it; beside coma and trefoil it is not seen by itself. The fit is gone on
 * with, a skew in every sub towards either end of its smear: null where that takes off too little of chi-square, be it of a fit that may
 * make the stars long by astigmatism.
 */
export function findSkew(
  retrieval: Retrieval,
  table: ResponseTable,
  guess: RetrievalGuess,
  priors: RetrievalPriors,
): RetrievalGuess | null {
  const { layout, best, cells, sigma2, errorScale } = retrieval;
  const skewed = layoutOf(layout.subs, true);
  const bounds = boundsOf(skewed, table, priors, reachOf(cells));
  const smears = smearsOf(layout, best.parameters);
  // Each its own; and what stands out in one sub may be all of a smear that the fit shared out.
  const strongest = smears.reduce((a, b) => (length(b) > length(a) ? b : a));
  const tried = [smears, smears.map(() => strongest)].flatMap((some) =>
    endsOf(layout.subs).flatMap((ends) => {
      const skew = some.map((smear, f) => skewOf(smear, sigma2, ends[f]));
      const rows = priorsOf(skewed, { ...guess, skew, skewAcross: ACROSS }, priors, sigma2);
      const problem = retrievalProblem(skewed, table, cells, rows, bounds, errorScale);
      const fit = continueCurve(problem, within(withSkews(layout, skewed, best.parameters, skew), bounds));
      return fit === null ? [] : [fit];
    }),
  );
  if (tried.length === 0) return null;
  const first = tried.reduce((a, b) => (b.chi2 < a.chi2 ? b : a));
  // Coma beside strong astigmatism looks skewed as well.
  const loose = priorsOf(layout, guess, { ...priors, uniform: ASTIGMATISM.some }, sigma2);
  const astigmatic = continueCurve(
    retrievalProblem(layout, table, cells, loose, retrieval.bounds, errorScale),
    unshared(layout, best.parameters),
  );
  const without = Math.min(best.chi2, astigmatic?.chi2 ?? Number.POSITIVE_INFINITY);
  if (without - first.chi2 < TOLD_FALL * layout.subs) return null;
  return guessAt(skewed, first.parameters, guess);
}

/** Subs up to which every way of jumping this way and that is tried. */
const FEW_SUBS = 3;

/** Towards which end of its smear each sub jumped, 1 or -1: any way where there are few, else all alike but one at most. */
function endsOf(subs: number): readonly (readonly number[])[] {
  if (subs > FEW_SUBS)
    return [1, -1].flatMap((end) =>
      Array.from({ length: subs + 1 }, (_, odd) => Array.from({ length: subs }, (_sub, f) => (f === odd ? -end : end))),
    );
  return Array.from({ length: 2 ** subs }, (_, ways) =>
    Array.from({ length: subs }, (_sub, f) => ((ways >> f) & 1 ? -1 : 1)),
  );
}

/** The same guess with the skews along the smears that the fit found, as they stand that jumps make. */
export function alongSmears(
  { layout, best: { parameters }, sigma2 }: Retrieval,
  guess: RetrievalGuess,
): RetrievalGuess {
  const skew = smearsOf(layout, parameters).map((smear, f) => {
    const found = vectorAt(parameters, layout.skew(f));
    const own = skewOf(smear, sigma2, 1);
    return scale(own, (dot(own, found) < 0 ? -1 : 1) * Math.max(1, length(found) / length(own)));
  });
  return { ...guessAt(layout, parameters, guess), skew, skewAcross: ACROSS };
}

const vectorAt = (p: ArrayLike<number>, index: number): Complex => ({ x: p[index], y: p[index + 1] });

/** What a fit that holds skews found, as the guess of the next. */
function guessAt(layout: Layout, p: ArrayLike<number>, guess: RetrievalGuess): RetrievalGuess {
  const subs = guess.seeing.map((_, f) => f);
  return {
    ...guess,
    seeing: subs.map((f) => p[layout.seeing(f)]),
    focus: subs.map((f) => p[layout.focus(f)]),
    tilt: vectorAt(p, layout.tilt),
    curvature: p[layout.curvature],
    coma: vectorAt(p, layout.coma),
    trefoil: vectorAt(p, layout.trefoil),
    skew: subs.map((f) => vectorAt(p, layout.skew(f))),
  };
}

/** Traceless second moments of the smears, px^2. */
const smearsOf = (layout: Layout, p: ArrayLike<number>): Complex[] =>
  Array.from({ length: layout.subs }, (_, f) => vectorAt(p, layout.smear(f)));

/** coma3 that such a smear may have, towards one end of its long axis. */
const skewOf = (smear: Complex, sigma2: number, end: number): Complex =>
  polar(
    end * SKEW_OF_SMEAR * Math.max(LEAST_SMEAR, length(smear) / (2 * sigma2)) ** 1.5,
    0.5 * Math.atan2(smear.y, smear.x),
  );

/** The same numbers in a layout with room for skews, these in it. */
function withSkews(from: Layout, to: Layout, p: ArrayLike<number>, skews: readonly Complex[]): number[] {
  const out = new Array<number>(to.length).fill(0);
  for (const [f, skew] of skews.entries()) {
    for (let k = 0; k < from.seeing(1) - from.seeing(0); k++) out[to.seeing(f) + k] = p[from.seeing(f) + k];
    out[to.skew(f)] = skew.x;
    out[to.skew(f) + 1] = skew.y;
  }
  for (let k = 0; k < from.length - from.tilt; k++) out[to.tilt + k] = p[from.tilt + k];
  return out;
}
