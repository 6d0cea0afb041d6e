import { seededRandom } from '../numeric/random.ts';
import type { EraFit } from './eraTrend.ts';

const WEEK = 7 * 86_400_000;

/** When coma leaves tolerance if it goes on as it did, 68 % of what the fit allows; or why that cannot be said. */
export type Outlook =
  | { readonly kind: 'leaves'; readonly from: number; readonly to: number }
  | { readonly kind: 'outside' }
  | { readonly kind: 'open'; readonly why: 'no drift' | 'too far ahead' | 'at the limit' | 'few nights' };

/** Chance below which a drift is there. */
const DRIFT_CHANCE = 0.0027;
const DRAWS = 2000;
/** The drift is carried on for no longer than it was watched. */
const AHEAD = 1;
const SURE = 0.84;
const HALF = 0.16;

/**
 * Times at which draws from the fit (normal, scaled by Student's factor) cross the tolerance, at usual temperature and
 * altitude. An interval or nothing: a drift that is not sure, or that would have to go on for longer than it was seen,
 * gives no date.
 */
export function outlookOf(fit: EraFit, first: number, last: number, tolerance: number): Outlook {
  const length = Math.hypot(fit.now.x, fit.now.y);
  if (length - fit.now.error > tolerance) return { kind: 'outside' };
  if (fit.outlook === null || fit.drift === null) return { kind: 'open', why: 'few nights' };
  if (length + fit.now.error > tolerance) return { kind: 'open', why: 'at the limit' };
  if (fit.drift.chance > DRIFT_CHANCE) return { kind: 'open', why: 'no drift' };
  const crossings = draw(fit, tolerance).sort((a, b) => a - b);
  const early = crossings[Math.floor(HALF * DRAWS)];
  const late = crossings[Math.floor(SURE * DRAWS)];
  const furthest = (AHEAD * (last - first)) / WEEK;
  if (!(late <= furthest)) return { kind: 'open', why: 'too far ahead' };
  return { kind: 'leaves', from: last + early * WEEK, to: last + late * WEEK };
}

/** Weeks from the last check to the crossing, one for each draw; infinite where it never comes. */
function draw(fit: EraFit, tolerance: number): number[] {
  const { values = [], covariance = [] } = fit.outlook ?? {};
  const lower = cholesky(covariance, 4);
  const random = seededRandom(1, 'outlook');
  return Array.from({ length: DRAWS }, () => {
    const normal = [0, 1, 2, 3].map(() => random.normal());
    // Chi-square over its freedom, Wilson & Hilferty (1931).
    const chi = (1 - 2 / (9 * fit.freedom) + Math.sqrt(2 / (9 * fit.freedom)) * random.normal()) ** 3;
    const wide = 1 / Math.sqrt(Math.max(0.05, chi));
    const [x = 0, y = 0, bx = 0, by = 0] = values.map(
      (value, j) => value + wide * normal.reduce((sum, n, k) => sum + (k <= j ? lower[4 * j + k] * n : 0), 0),
    );
    return crossing(x, y, bx, by, tolerance);
  });
}

/** First t >= 0 with |v + b t| = r. */
function crossing(x: number, y: number, bx: number, by: number, r: number): number {
  const a = bx * bx + by * by;
  const b = x * bx + y * by;
  const c = x * x + y * y - r * r;
  if (c >= 0) return 0;
  return a > 0 ? (-b + Math.sqrt(b * b - a * c)) / a : Infinity;
}

function cholesky(matrix: readonly number[], n: number): Float64Array {
  const lower = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      let sum = matrix[n * i + j];
      for (let k = 0; k < j; k++) sum -= lower[n * i + k] * lower[n * j + k];
      if (i === j) lower[n * i + i] = Math.sqrt(Math.max(0, sum));
      else lower[n * i + j] = lower[n * j + j] > 0 ? sum / lower[n * j + j] : 0;
    }
  return lower;
}
