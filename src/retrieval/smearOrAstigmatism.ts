import { type CurveFit, continueCurve } from '../numeric/curveFit.ts';
import { logDeterminant } from '../numeric/linear.ts';
import type { ResponseTable } from '../optics/response.ts';
import type { Retrieval } from './fitWavefront.ts';
import { priorsOf, type RetrievalGuess, type RetrievalPriors } from './knowledge.ts';
import type { Layout } from './layout.ts';
import { type Prior, retrievalProblem } from './problem.ts';

/** What makes the stars of all subs long, weighed. */
export interface Elongation {
  /**
   * Natural logarithm of how much more probable the stars are with uniform astigmatism than with smears alone, each taken as readily
   * beforehand.
   */
  readonly logOdds: number;
  /** The more probable of what holds astigmatism: what is known beforehand, and where its fit ended. */
  readonly astigmatic: { readonly priors: RetrievalPriors; readonly parameters: Float64Array };
}

/** Shares of the second moment: a smear as one may have, how much tracking may change it between subs, and a steady one. */
const SMEAR = { any: 0.5, changing: 0.2, steady: 0.03, slight: 0.04 } as const;
/** A steady smear is steady to so much of itself: drawn drifts add to stars at any focus (second moments within a tenth). */
const STEADY_SHARE = 0.1;
/** Astigmatism that makes stars long, and next to none, um of each coefficient. */
export const ASTIGMATISM = { some: 0.4, none: 0.01 } as const;
/** Where the fit that allows everything shares the elongation out, it leaves a part of the astigmatism to the smears. */
const FROM_SHARED = 1.5;

/**
 * A smear adds the same second moment to the stars at any focus, unless it changes from sub to sub; what astigmatism adds goes with
 * the defocus and turns with its sign. Two subs have each an answer in both, but not one as simple: the hypotheses are weighed by
 * their evidence, Laplace's approximation (MacKay 1992, Neural Computation 4, 415) over smears and astigmatism alone, for what else
 * the fit holds is the same in all. `air`: the share of the second moment that the air may add alike in all subs.
 * Null where one does not end, or for a single sub.
 */
export function weighElongation(
  retrieval: Retrieval,
  table: ResponseTable,
  guess: RetrievalGuess,
  priors: RetrievalPriors,
  air: number,
): Elongation | null {
  const { layout, best, sigma2, cells, bounds, errorScale } = retrieval;
  if (layout.subs < 2) return null;
  const shared = Math.max(...[0, 1].map((k) => Math.abs(meanSmear(layout, best.parameters, k)))) / sigma2;
  const steady = Math.hypot(SMEAR.steady, STEADY_SHARE * shared);
  const weigh = (mean: number, scatter: number, uniform: number): Weighed | null => {
    const held = { ...priors, smear: { mean, scatter }, uniform };
    const rows = priorsOf(layout, guess, held, sigma2);
    const problem = retrievalProblem(layout, table, cells, rows, bounds, errorScale);
    const start = uniform > ASTIGMATISM.none ? unshared(layout, best.parameters) : best.parameters;
    const fit = continueCurve(problem, start);
    const evidence = fit === null ? null : evidenceOf(layout, fit, rows);
    return fit === null || evidence === null ? null : { priors: held, parameters: fit.parameters, evidence };
  };
  const slight = Math.max(SMEAR.slight, air);
  const astigmatic = better(weigh(slight, SMEAR.steady, ASTIGMATISM.some), weigh(SMEAR.any, steady, ASTIGMATISM.some));
  const smeared = better(
    better(weigh(slight, steady, ASTIGMATISM.none), weigh(SMEAR.any, steady, ASTIGMATISM.none)),
    weigh(SMEAR.any, SMEAR.changing, ASTIGMATISM.none),
  );
  if (astigmatic === null || smeared === null) return null;
  return { logOdds: astigmatic.evidence - smeared.evidence, astigmatic };
}

interface Weighed {
  readonly priors: RetrievalPriors;
  readonly parameters: Float64Array;
  readonly evidence: number;
}

const better = (a: Weighed | null, b: Weighed | null): Weighed | null =>
  a === null || b === null ? null : a.evidence > b.evidence ? a : b;

function meanSmear(layout: Layout, p: ArrayLike<number>, component: number): number {
  let sum = 0;
  for (let f = 0; f < layout.subs; f++) sum += p[layout.smear(f) + component];
  return sum / layout.subs;
}

/** The astigmatism of the fit, longer, and no smear. */
export function unshared(layout: Layout, p: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(p);
  for (const k of [0, 1]) {
    out[layout.astigmatism + k] *= FROM_SHARED;
    for (let f = 0; f < layout.subs; f++) out[layout.smear(f) + k] = 0;
  }
  return out;
}

/** Logarithm of the evidence but for what all hypotheses share; null where the fit holds some direction not at all. */
function evidenceOf(layout: Layout, { chi2, covariance }: CurveFit, rows: readonly Prior[]): number | null {
  if (covariance === null) return null;
  const weighed = [layout.astigmatism, ...Array.from({ length: layout.subs }, (_, f) => layout.smear(f))].flatMap(
    (index) => [index, index + 1],
  );
  const n = weighed.length;
  const posterior = Float64Array.from({ length: n * n }, (_, i) => {
    const [a, b] = [weighed[Math.floor(i / n)], weighed[i % n]];
    return covariance[a * layout.length + b];
  });
  const prior = new Float64Array(n * n);
  for (const { terms, sigma } of rows)
    for (const a of terms)
      for (const b of terms) {
        const [i, j] = [weighed.indexOf(a.index), weighed.indexOf(b.index)];
        if (i >= 0 && j >= 0) prior[i * n + j] += (a.factor * b.factor) / sigma ** 2;
      }
  const [after, before] = [logDeterminant(posterior, n), logDeterminant(prior, n)];
  return after === null || before === null ? null : 0.5 * (after + before - chi2);
}
