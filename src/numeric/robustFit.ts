import { type Kernels, kernels } from '../kernels/kernels.ts';
import { FIT_HEAD, FIT_LENGTH, FIT_SLOT, MAX_FIT_PARAMETERS } from '../kernels/layout.ts';
import { invertSymmetric, multiply } from './linear.ts';
import { MAD_TO_SIGMA, median } from './statistics.ts';

/** A linear least-squares problem: rows of the design matrix (each of length n), values, 1-sigma errors. */
export interface LinearProblem {
  readonly rows: readonly ArrayLike<number>[];
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

/** A round that moves no parameter by more than this share of the largest. */
const SETTLED = 1e-7;

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
  const compiled = kernels();
  if (compiled !== null && n <= MAX_FIT_PARAMETERS && FIT_HEAD + m * (LISTS + n) <= FIT_LENGTH)
    return compiledFit(compiled, problem, m, n, rounds);
  const weights = new Float64Array(m).fill(1);
  let intrinsic = 0;
  let parameters: Float64Array | null = null;
  const residuals = new Float64Array(m);
  const pulls = new Float64Array(m);
  for (let round = 0; round < rounds; round++) {
    const solved = solve(problem, weights, intrinsic, n);
    if (!solved) return null;
    const converged = parameters !== null && isSettled(solved, parameters);
    parameters = solved;
    residualsOf(rows, values, parameters, residuals);
    intrinsic = scatterBeyond(residuals, errors, n);
    pullsOf(residuals, errors, intrinsic, pulls);
    biweights(pulls, TUKEY * scaleOf(pulls), weights);
    if (converged) break;
  }
  if (!parameters) return null;
  const covariance = sandwich(problem, weights, intrinsic, residuals, n);
  return covariance && { parameters, covariance, weights, intrinsic };
}

/** Numbers a row that the kernel keeps beside the row: values, errors, residuals, pulls, weights and two of scratch. */
const LISTS = 7;

function compiledFit(
  { run, fit }: Kernels,
  { rows, values, errors }: LinearProblem,
  m: number,
  n: number,
  rounds: number,
): LinearFit | null {
  fit.set(values, FIT_HEAD);
  fit.set(errors, FIT_HEAD + m);
  for (let i = 0, at = FIT_HEAD + LISTS * m; i < m; i++) {
    const row = rows[i];
    for (let j = 0; j < n; j++) fit[at++] = row[j];
  }
  const intrinsic = run.robustFit(m, n, rounds);
  if (!(intrinsic >= 0)) return null;
  const weights = FIT_HEAD + 4 * m;
  return {
    parameters: fit.slice(0, n),
    covariance: fit.slice(FIT_SLOT, FIT_SLOT + n * n),
    weights: fit.slice(weights, weights + m),
    intrinsic,
  };
}

function isSettled(parameters: Float64Array, before: Float64Array): boolean {
  let change = 0;
  let largest = 0;
  for (let j = 0; j < parameters.length; j++) {
    change = Math.max(change, Math.abs(parameters[j] - before[j]));
    largest = Math.max(largest, Math.abs(parameters[j]));
  }
  return change <= SETTLED * (1e-6 + largest);
}

function residualsOf(
  rows: LinearProblem['rows'],
  values: ArrayLike<number>,
  parameters: Float64Array,
  out: Float64Array,
): void {
  for (let i = 0; i < out.length; i++) out[i] = values[i] - dot(rows[i], parameters);
}

function biweights(pulls: Float64Array, unit: number, out: Float64Array): void {
  for (let i = 0; i < out.length; i++) {
    const t = pulls[i] / unit;
    out[i] = Math.abs(t) < 1 ? (1 - t * t) ** 2 : 0;
  }
}

function dot(row: ArrayLike<number>, parameters: Float64Array): number {
  let sum = 0;
  for (let j = 0; j < row.length; j++) sum += row[j] * parameters[j];
  return sum;
}

/** Residuals over their errors, the intrinsic scatter added in quadrature. */
function pullsOf(residuals: Float64Array, errors: ArrayLike<number>, intrinsic: number, out: Float64Array): void {
  const extra = intrinsic * intrinsic;
  for (let i = 0; i < out.length; i++) out[i] = residuals[i] / Math.sqrt(errors[i] * errors[i] + extra);
}

/** Robust width of the pulls: their MAD about zero as a sigma. */
function scaleOf(pulls: Float64Array): number {
  return Math.max(MAD_TO_SIGMA * medianOfSizes(pulls), 1e-12);
}

function medianOfSizes(values: Float64Array): number {
  const sizes = new Float64Array(values.length);
  for (let i = 0; i < sizes.length; i++) sizes[i] = Math.abs(values[i]);
  return median(sizes);
}

/** Sum of w x row x row. */
function normalMatrix(rows: LinearProblem['rows'], w: Float64Array, n: number): Float64Array {
  const matrix = new Float64Array(n * n);
  for (let i = 0; i < rows.length; i++) {
    const row = rows[i];
    if (w[i] === 0) continue;
    for (let j = 0; j < n; j++) {
      const wj = w[i] * row[j];
      if (wj === 0) continue;
      for (let k = 0; k <= j; k++) matrix[j * n + k] += wj * row[k];
    }
  }
  for (let j = 0; j < n; j++) for (let k = 0; k < j; k++) matrix[k * n + j] = matrix[j * n + k];
  return matrix;
}

function solve(problem: LinearProblem, weights: Float64Array, intrinsic: number, n: number): Float64Array | null {
  const { rows, values, errors } = problem;
  const w = new Float64Array(rows.length);
  for (let i = 0; i < w.length; i++) w[i] = weights[i] / (errors[i] * errors[i] + intrinsic * intrinsic);
  const inverted = invertSymmetric(normalMatrix(rows, w, n), n);
  if (!inverted) return null;
  const right = new Float64Array(n);
  for (let i = 0; i < w.length; i++) for (let j = 0; j < n; j++) right[j] += w[i] * rows[i][j] * values[i];
  return multiply(inverted, right, n);
}

/**
 * Extra sigma x that brings the median pull |r|/sqrt(e^2 + x^2) down to that of a unit Gaussian, t. A pull exceeds t where
 * (r/t)^2 - e^2 exceeds x^2, and half of them shall: x^2 is the median of these.
 */
function scatterBeyond(residuals: Float64Array, errors: ArrayLike<number>, n: number): number {
  const freedom = Math.sqrt(residuals.length / Math.max(1, residuals.length - n));
  const t = 1 / (freedom * MAD_TO_SIGMA);
  const excess = new Float64Array(residuals.length);
  for (let i = 0; i < excess.length; i++) excess[i] = (residuals[i] / t) ** 2 - errors[i] ** 2;
  return Math.sqrt(Math.max(0, median(excess)));
}

/** Covariance of an M-estimate from its own residuals (Huber & Ronchetti, Robust Statistics, sec. 7.6). */
function sandwich(
  problem: LinearProblem,
  weights: Float64Array,
  intrinsic: number,
  residuals: Float64Array,
  n: number,
): Float64Array | null {
  const { rows, errors } = problem;
  const m = residuals.length;
  // Derivative of Tukey's psi, for the bread: outlier weights change with the residual as well.
  const pulls = new Float64Array(m);
  pullsOf(residuals, errors, intrinsic, pulls);
  const unit = TUKEY * scaleOf(pulls);
  let sumSlope = 0;
  let sumWeight = 0;
  for (let i = 0; i < m; i++) {
    const t2 = (pulls[i] / unit) ** 2;
    sumSlope += t2 < 1 ? (1 - t2) * (1 - 5 * t2) : 0;
    sumWeight += weights[i];
  }
  const ratio = Math.max(0.2, sumSlope / Math.max(sumWeight, 1e-12));
  const inBread = new Float64Array(m);
  const inMeat = new Float64Array(m);
  for (let i = 0; i < m; i++) {
    const variance = errors[i] ** 2 + intrinsic ** 2;
    inBread[i] = (weights[i] * ratio) / variance;
    inMeat[i] = (weights[i] * residuals[i]) ** 2 / variance ** 2;
  }
  const bread = invertSymmetric(normalMatrix(rows, inBread, n), n);
  if (!bread) return null;
  const meat = normalMatrix(rows, inMeat, n);
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
