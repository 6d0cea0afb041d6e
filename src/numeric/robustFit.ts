import { invertSymmetric, multiply } from './linear.ts';
import { MAD_TO_SIGMA, median } from './statistics.ts';

/** A linear least-squares problem: rows of the design matrix (each of length n), values, 1-sigma errors. */
export interface LinearProblem {
  readonly rows: readonly Float64Array[];
  readonly values: ArrayLike<number>;
  readonly errors: ArrayLike<number>;
}

export interface LinearFit {
  readonly parameters: Float64Array;
  /** n x n, row-major; scaled by the observed scatter, so that it holds without trusting the given errors. */
  readonly covariance: Float64Array;
  /** Weight 0..1 that each row ended with: 0 = outlier. */
  readonly weights: Float64Array;
  /** Scatter beyond the given errors, same unit as the values (0 when the errors explain everything). */
  readonly intrinsic: number;
}

/** Tukey's constant for 95 % efficiency at the Gaussian (Huber & Ronchetti, Robust Statistics). */
const TUKEY = 4.685;

/**
 * Iteratively re-weighted linear least squares with Tukey's biweight. The scale of the residuals is their MAD, and the
 * scatter that the given errors leave unexplained is added to each error in quadrature, so bright stars do not
 * outvote the rest by their formal errors alone. Null when the design is degenerate or rows are too few.
 */
export function robustLinearFit(problem: LinearProblem, rounds = 20): LinearFit | null {
  const { rows, values, errors } = problem;
  const m = rows.length;
  const n = rows[0]?.length ?? 0;
  if (n === 0 || m < n + 1) return null;
  const weights = new Float64Array(m).fill(1);
  let intrinsic = 0;
  let parameters: Float64Array | null = null;
  const residuals = new Float64Array(m);
  for (let round = 0; round < rounds; round++) {
    const solved = solve(problem, weights, intrinsic, n);
    if (!solved) return null;
    let change = 0;
    if (parameters) for (let j = 0; j < n; j++) change = Math.max(change, Math.abs(solved[j] - parameters[j]));
    const converged = parameters !== null && change <= 1e-10 * (1e-6 + Math.max(...solved.map(Math.abs)));
    parameters = solved;
    for (let i = 0; i < m; i++) residuals[i] = values[i] - dot(rows[i], parameters);
    intrinsic = scatterBeyond(residuals, errors, n);
    const pulls = residuals.map((r, i) => r / Math.hypot(errors[i], intrinsic));
    const scale = Math.max(MAD_TO_SIGMA * median(pulls.map(Math.abs)), 1e-12);
    for (let i = 0; i < m; i++) {
      const t = pulls[i] / (TUKEY * scale);
      weights[i] = Math.abs(t) < 1 ? (1 - t * t) ** 2 : 0;
    }
    if (converged) break;
  }
  if (!parameters) return null;
  const covariance = sandwich(problem, weights, intrinsic, residuals, n);
  return covariance && { parameters, covariance, weights, intrinsic };
}

function dot(row: Float64Array, parameters: Float64Array): number {
  let sum = 0;
  for (let j = 0; j < row.length; j++) sum += row[j] * parameters[j];
  return sum;
}

function normalMatrix(problem: LinearProblem, weight: (i: number) => number, n: number): Float64Array {
  const matrix = new Float64Array(n * n);
  problem.rows.forEach((row, i) => {
    const w = weight(i);
    if (w === 0) return;
    for (let j = 0; j < n; j++) for (let k = 0; k <= j; k++) matrix[j * n + k] += w * row[j] * row[k];
  });
  for (let j = 0; j < n; j++) for (let k = 0; k < j; k++) matrix[k * n + j] = matrix[j * n + k];
  return matrix;
}

function solve(problem: LinearProblem, weights: Float64Array, intrinsic: number, n: number): Float64Array | null {
  const { rows, values, errors } = problem;
  const inverse = normalMatrix(problem, (i) => weights[i] / (errors[i] ** 2 + intrinsic ** 2), n);
  const inverted = invertSymmetric(inverse, n);
  if (!inverted) return null;
  const right = new Float64Array(n);
  rows.forEach((row, i) => {
    const w = weights[i] / (errors[i] ** 2 + intrinsic ** 2);
    for (let j = 0; j < n; j++) right[j] += w * row[j] * values[i];
  });
  return multiply(inverted, right, n);
}

/** Extra sigma that brings the median squared pull down to that of a unit Gaussian. */
function scatterBeyond(residuals: Float64Array, errors: ArrayLike<number>, n: number): number {
  const freedom = Math.sqrt(residuals.length / Math.max(1, residuals.length - n));
  const spread = (extra: number): number =>
    freedom * MAD_TO_SIGMA * median(residuals.map((r, i) => Math.abs(r) / Math.hypot(errors[i], extra)));
  if (spread(0) <= 1) return 0;
  let low = 0;
  let high = freedom * MAD_TO_SIGMA * median(residuals.map(Math.abs));
  for (let round = 0; round < 30; round++) {
    const middle = (low + high) / 2;
    if (spread(middle) > 1) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** Covariance of an M-estimate from its own residuals (Huber & Ronchetti, Robust Statistics, sec. 7.6). */
function sandwich(
  problem: LinearProblem,
  weights: Float64Array,
  intrinsic: number,
  residuals: Float64Array,
  n: number,
): Float64Array | null {
  const variance = (i: number): number => problem.errors[i] ** 2 + intrinsic ** 2;
  // Derivative of Tukey's psi, for the bread: outlier weights change with the residual as well.
  const pulls = residuals.map((r, i) => r / Math.sqrt(variance(i)));
  const scale = Math.max(MAD_TO_SIGMA * median(pulls.map(Math.abs)), 1e-12);
  const slope = (i: number): number => {
    const t2 = (pulls[i] / (TUKEY * scale)) ** 2;
    return t2 < 1 ? (1 - t2) * (1 - 5 * t2) : 0;
  };
  let sumSlope = 0;
  let sumWeight = 0;
  for (let i = 0; i < residuals.length; i++) {
    sumSlope += slope(i);
    sumWeight += weights[i];
  }
  const ratio = Math.max(0.2, sumSlope / Math.max(sumWeight, 1e-12));
  const bread = invertSymmetric(
    normalMatrix(problem, (i) => (weights[i] * ratio) / variance(i), n),
    n,
  );
  if (!bread) return null;
  const meat = normalMatrix(problem, (i) => (weights[i] * residuals[i]) ** 2 / variance(i) ** 2, n);
  const freedom = residuals.length / Math.max(1, residuals.length - n);
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      let sum = 0;
      for (let k = 0; k < n; k++)
        for (let l = 0; l < n; l++) sum += bread[i * n + k] * meat[k * n + l] * bread[l * n + j];
      out[i * n + j] = sum * freedom;
    }
  return out;
}
