import { median } from './statistics.ts';

export interface TheilSen {
  /** Median of the slopes between all pairs. */
  readonly slope: number;
  /** Interval of the slope that holds 68.27 %. */
  readonly low: number;
  readonly high: number;
  /** median(y) - slope median(x), as scipy.stats.theilslopes has it. */
  readonly intercept: number;
}

/** Quantile of the normal distribution that leaves 15.87 % above it. */
const ONE_SIGMA = 1;

/**
 * Slope of y over x by Theil (1950) and Sen (1968, JASA 63, 1379), its interval from the variance of Kendall's tau with
 * ties; up to 29 % of the points may stray. Null with fewer than three different x. O(n^2): thin out before.
 */
export function theilSen(x: ArrayLike<number>, y: ArrayLike<number>): TheilSen | null {
  const n = x.length;
  const slopes = new Float64Array((n * (n - 1)) / 2);
  let pairs = 0;
  for (let i = 0; i < n; i++)
    for (let j = 0; j < i; j++) if (x[i] !== x[j]) slopes[pairs++] = (y[i] - y[j]) / (x[i] - x[j]);
  if (pairs < 3) return null;
  const sorted = slopes.subarray(0, pairs).sort();
  const half = pairs >> 1;
  const slope = pairs % 2 === 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
  const spread = ONE_SIGMA * Math.sqrt(kendallVariance(x, y));
  const upper = Math.min(Math.round((pairs + spread) / 2), pairs - 1);
  const lower = Math.max(Math.round((pairs - spread) / 2) - 1, 0);
  return { slope, low: sorted[lower], high: sorted[upper], intercept: median(y) - slope * median(x) };
}

/** Variance of the number of concordant less discordant pairs (Sen 1968, eq. 2.6, ties of x and of y). */
function kendallVariance(x: ArrayLike<number>, y: ArrayLike<number>): number {
  const n = x.length;
  const term = (k: number): number => k * (k - 1) * (2 * k + 5);
  const ties = (values: ArrayLike<number>): number => {
    const counts = new Map<number, number>();
    for (let i = 0; i < n; i++) counts.set(values[i], (counts.get(values[i]) ?? 0) + 1);
    return [...counts.values()].reduce((sum, k) => sum + term(k), 0);
  };
  return Math.max(0, (term(n) - ties(x) - ties(y)) / 18);
}
