import { median } from '../numeric/statistics.ts';
import type { Uncertain, UncertainVector } from './frameStars.ts';

/** What several subs agree on, and by how much they differ beyond their errors. */
export interface Persistent extends UncertainVector {
  /** Scatter from sub to sub beyond the subs' own errors, per component. */
  readonly changing: number;
  /** Subs left out because they differ from all the others: index into the given list. */
  readonly strays: readonly number[];
}

/** A sub this many sigma from the median of three or more is not averaged in: a jump in one sub is not the optics. */
const STRAY_SIGMA = 5;

/**
 * Splits a vector measured on each sub into what persists and what changes. Weighted mean; from three subs on, the error
 * comes from the scatter between the subs (never less than the formal one), and a sub that stands alone is left out.
 */
export function persistentVector(vectors: readonly UncertainVector[]): Persistent {
  if (vectors.length === 0) throw new RangeError('persistentVector of no vectors');
  const strays = strayIndices(vectors);
  const kept = vectors.filter((_, i) => !strays.includes(i));
  const x = meanWithScatter(kept.map((v) => ({ value: v.x, error: v.error })));
  const y = meanWithScatter(kept.map((v) => ({ value: v.y, error: v.error })));
  return {
    x: x.value,
    y: y.value,
    error: Math.sqrt((x.error ** 2 + y.error ** 2) / 2),
    changing: Math.hypot(x.scatter, y.scatter) / Math.SQRT2,
    strays,
  };
}

/** Vectors that scatter from sub to sub by less than this share of their mean are one. */
const SAME_SHARE = 0.3;

/** Whether all subs have the same vector. */
export const isSteady = ({ x, y, changing }: Persistent): boolean => changing < SAME_SHARE * Math.hypot(x, y);

/**
 * Seeing and focus change coma by a factor of three at most, trefoil by seven (drawn stars): a scatter a component beyond this share
 * of the length, (a - b)/(a + b) of two, is an error.
 */
const MOST_ANSWER = { coma: 0.5, trefoil: 0.75 } as const;

/**
 * The same for a vector whose length answers to seeing and focus, which differ from sub to sub, while its direction does not
 * (coma, trefoil): what is scattered along the common direction is that answer, and only what is scattered across it is an error.
 */
export function persistentDirection(vectors: readonly UncertainVector[], of: keyof typeof MOST_ANSWER): Persistent {
  const plain = persistentVector(vectors);
  const kept = vectors.filter((_, i) => !plain.strays.includes(i));
  const formal = Math.sqrt(1 / kept.reduce((sum, v) => sum + 1 / Math.max(v.error ** 2, 1e-30), 0));
  const length = Math.hypot(plain.x, plain.y);
  if (kept.length < 2 || length < 3 * formal || plain.changing > MOST_ANSWER[of] * length) return plain;
  const ux = plain.x / length;
  const uy = plain.y / length;
  const across = meanWithScatter(kept.map((v) => ({ value: uy * v.x - ux * v.y, error: v.error })));
  return { ...plain, error: across.error, changing: across.scatter };
}

export function persistentValue(values: readonly Uncertain[]): Uncertain {
  const { value, error } = meanWithScatter(values);
  return { value, error };
}

function strayIndices(vectors: readonly UncertainVector[]): number[] {
  if (vectors.length < 3) return [];
  const x = median(vectors.map((v) => v.x));
  const y = median(vectors.map((v) => v.y));
  const distance = vectors.map((v) => Math.hypot(v.x - x, v.y - y));
  const floor = 3 * median(distance);
  const out = vectors.flatMap((v, i) => (distance[i] > Math.max(STRAY_SIGMA * v.error, floor) ? [i] : []));
  // Strays are the exception; where half of the subs differ there is nothing to be left out of.
  return out.length <= (vectors.length - 1) / 2 ? out : [];
}

function meanWithScatter(values: readonly Uncertain[]): Uncertain & { readonly scatter: number } {
  const n = values.length;
  const variances = values.map((v) => Math.max(v.error ** 2, 1e-30));
  let extra = 0;
  let mean = 0;
  for (let round = 0; round < 20; round++) {
    const weights = variances.map((v) => 1 / (v + extra));
    const total = weights.reduce((a, b) => a + b, 0);
    mean = values.reduce((sum, v, i) => sum + weights[i] * v.value, 0) / total;
    if (n < 2) return { value: mean, error: Math.sqrt(1 / total), scatter: 0 };
    // DerSimonian & Laird (1986) estimate of the variance between subs.
    const fixed = variances.map((v) => 1 / v);
    const fixedTotal = fixed.reduce((a, b) => a + b, 0);
    const fixedMean = values.reduce((sum, v, i) => sum + fixed[i] * v.value, 0) / fixedTotal;
    const q = values.reduce((sum, v, i) => sum + fixed[i] * (v.value - fixedMean) ** 2, 0);
    const c = fixedTotal - fixed.reduce((a, b) => a + b * b, 0) / fixedTotal;
    const next = Math.max(0, (q - (n - 1)) / c);
    if (Math.abs(next - extra) <= 1e-12 * (1 + extra)) break;
    extra = next;
  }
  const weights = variances.map((v) => 1 / (v + extra));
  return { value: mean, error: Math.sqrt(1 / weights.reduce((a, b) => a + b, 0)), scatter: Math.sqrt(extra) };
}
