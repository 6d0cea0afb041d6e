import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { MAD_TO_SIGMA, median } from '../numeric/statistics.ts';

/**
 * Linear least squares in which the rows of a group (a frame) share an unknown of their own, normally distributed about zero
 * with an unknown spread: the seeing of each frame beside what the telescope does in all of them.
 */
export interface MixedProblem {
  /** Design of the common parameters, each row of length n. */
  readonly rows: readonly Float64Array[];
  readonly values: ArrayLike<number>;
  readonly errors: ArrayLike<number>;
  readonly group: ArrayLike<number>;
  readonly groups: number;
  /** Factor of the group's unknown in this row. */
  readonly lever: ArrayLike<number>;
  /** 1 sigma of a normal prior about `centre` on each common parameter; Infinity: none. */
  readonly priors: readonly { readonly centre: number; readonly sigma: number }[];
  /** What the groups' spread is before anything is seen, counted as so many groups. */
  readonly spread: { readonly sigma: number; readonly counts: number };
}

export interface MixedFit {
  /** Common parameters, then the groups' own unknowns. */
  readonly parameters: Float64Array;
  /** Square of the length of `parameters`, row-major. */
  readonly covariance: Float64Array;
  /** 0..1 for each row: 0 = outlier. */
  readonly weights: Float64Array;
  /** Scatter beyond the rows' errors, as a factor on them, by group. */
  readonly stretch: Float64Array;
  /** Spread of the groups' unknowns. */
  readonly spread: number;
}

/** Tukey's constant for 95 % efficiency at the Gaussian (Huber & Ronchetti, Robust Statistics). */
const TUKEY = 4.685;
const ROUNDS = 12;
/** Rows of a group with enough of them are believed to be better than they claim, but no more than this. */
const LEAST_STRETCH = 0.3;

/**
 * Tukey's biweight by iterated weights; the groups' spread by expectation and maximisation, the common parameters integrated
 * out (Laird & Ware 1982, Biometrics 38, 963). Errors of rows are stretched to the scatter each group shows. Null when the
 * design is degenerate.
 */
export function mixedFit(problem: MixedProblem): MixedFit | null {
  const { rows, values, errors, group, groups, lever, priors } = problem;
  const m = rows.length;
  const n = priors.length;
  const size = n + groups;
  const weights = new Float64Array(m).fill(1);
  const stretch = new Float64Array(groups).fill(1);
  let spread = problem.spread.sigma;
  let parameters: Float64Array | null = null;
  let covariance: Float64Array | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = new Float64Array(size * size);
    const right = new Float64Array(size);
    for (let i = 0; i < m; i++) {
      const g = group[i];
      const w = weights[i] / (errors[i] * stretch[g]) ** 2;
      if (w === 0) continue;
      const row = rows[i];
      const l = lever[i];
      const own = n + g;
      for (let j = 0; j < n; j++) {
        const wj = w * row[j];
        for (let k = 0; k <= j; k++) normal[j * size + k] += wj * row[k];
        normal[own * size + j] += wj * l;
        right[j] += wj * values[i];
      }
      normal[own * size + own] += w * l * l;
      right[own] += w * l * values[i];
    }
    priors.forEach(({ centre, sigma }, j) => {
      if (sigma === Infinity) return;
      normal[j * size + j] += 1 / sigma ** 2;
      right[j] += centre / sigma ** 2;
    });
    for (let g = 0; g < groups; g++) normal[(n + g) * size + n + g] += 1 / spread ** 2;
    for (let j = 0; j < size; j++) for (let k = 0; k < j; k++) normal[k * size + j] = normal[j * size + k];
    covariance = invertSymmetric(normal, size);
    if (covariance === null) return null;
    parameters = multiply(covariance, right, size);
    reweigh(problem, parameters, weights, stretch);
    let sum = problem.spread.counts * problem.spread.sigma ** 2;
    for (let g = 0; g < groups; g++) sum += parameters[n + g] ** 2 + covariance[(n + g) * size + n + g];
    spread = Math.sqrt(sum / (problem.spread.counts + groups));
  }
  return parameters && covariance && { parameters, covariance, weights, stretch, spread };
}

/** Weights and each group's stretch from the residuals. */
function reweigh(problem: MixedProblem, parameters: Float64Array, weights: Float64Array, stretch: Float64Array): void {
  const { rows, values, errors, group, groups, lever, priors } = problem;
  const n = priors.length;
  const pulls = new Float64Array(rows.length);
  const inGroup: number[][] = Array.from({ length: groups }, () => []);
  for (let i = 0; i < rows.length; i++) {
    const g = group[i];
    let model = lever[i] * parameters[n + g];
    for (let j = 0; j < n; j++) model += rows[i][j] * parameters[j];
    pulls[i] = (values[i] - model) / errors[i];
    inGroup[g].push(Math.abs(pulls[i]));
  }
  for (let g = 0; g < groups; g++) {
    const count = inGroup[g].length;
    if (count === 0) continue;
    // A few rows cannot show their own scatter.
    const freedom = count > 4 ? count / (count - 2) : 1;
    stretch[g] = Math.max(count > 12 ? LEAST_STRETCH : 1, freedom * MAD_TO_SIGMA * median(inGroup[g]));
  }
  for (let i = 0; i < rows.length; i++) {
    const t = pulls[i] / (TUKEY * stretch[group[i]]);
    weights[i] = Math.abs(t) < 1 ? (1 - t * t) ** 2 : 0;
  }
}
