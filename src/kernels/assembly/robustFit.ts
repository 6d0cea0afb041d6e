import { FIT, FIT_DATA } from './layout';
import { get, invertSymmetric, multiply, set } from './linear';
import { kthSmallest } from './kthSmallest';

/** robustLinearFit of src/numeric/robustFit.ts, the same steps in the same order. */

const SLOT: usize = 0x4000;
const PARAMETERS: usize = FIT;
const COVARIANCE: usize = FIT + SLOT;
const BEFORE: usize = FIT + 2 * SLOT;
const NORMAL: usize = FIT + 3 * SLOT;
const MEAT: usize = FIT + 4 * SLOT;
const RIGHT: usize = FIT + 5 * SLOT;
const SCRATCH: usize = FIT + 6 * SLOT;

const MAD_TO_SIGMA: f64 = 1.482602218505602;
const TUKEY: f64 = 4.685;
const SETTLED: f64 = 1e-7;

let values: usize = 0;
let errors: usize = 0;
let residuals: usize = 0;
let pulls: usize = 0;
let weights: usize = 0;
let work: usize = 0;
let list: usize = 0;
let rows: usize = 0;

function medianOfList(n: i32): f64 {
  const upper = kthSmallest(list, n >> 1, n);
  if (n % 2 == 1) return upper;
  let lower = -Infinity;
  for (let i = 0; i < n >> 1; i++) lower = Math.max(lower, get(list, i));
  return (lower + upper) / 2;
}

function residualsOf(m: i32, n: i32): void {
  for (let i = 0; i < m; i++) {
    const row = rows + ((<usize>(i * n)) << 3);
    let sum: f64 = 0;
    for (let j = 0; j < n; j++) sum += get(row, j) * get(PARAMETERS, j);
    set(residuals, i, get(values, i) - sum);
  }
}

function scatterBeyond(m: i32, n: i32): f64 {
  const freedom = Math.sqrt(<f64>m / Math.max(1, <f64>(m - n)));
  const t = 1 / (freedom * MAD_TO_SIGMA);
  for (let i = 0; i < m; i++) {
    const pull = get(residuals, i) / t;
    const error = get(errors, i);
    set(list, i, pull * pull - error * error);
  }
  return Math.sqrt(Math.max(0, medianOfList(m)));
}

function pullsOf(m: i32, intrinsic: f64): void {
  const extra = intrinsic * intrinsic;
  for (let i = 0; i < m; i++) {
    const error = get(errors, i);
    set(pulls, i, get(residuals, i) / Math.sqrt(error * error + extra));
  }
}

function scaleOf(m: i32): f64 {
  for (let i = 0; i < m; i++) set(list, i, Math.abs(get(pulls, i)));
  return Math.max(MAD_TO_SIGMA * medianOfList(m), 1e-12);
}

function biweights(m: i32, unit: f64): void {
  for (let i = 0; i < m; i++) {
    const t = get(pulls, i) / unit;
    const inner = 1 - t * t;
    set(weights, i, Math.abs(t) < 1 ? inner * inner : 0);
  }
}

/** Sum of w x row x row, w in `work`. */
function normalMatrix(m: i32, n: i32, out: usize): void {
  memory.fill(out, 0, (<usize>(n * n)) << 3);
  for (let i = 0; i < m; i++) {
    const w = get(work, i);
    if (w == 0) continue;
    const row = rows + ((<usize>(i * n)) << 3);
    for (let j = 0; j < n; j++) {
      const wj = w * get(row, j);
      if (wj == 0) continue;
      for (let k = 0; k <= j; k++) set(out, j * n + k, get(out, j * n + k) + wj * get(row, k));
    }
  }
  for (let j = 0; j < n; j++) for (let k = 0; k < j; k++) set(out, k * n + j, get(out, j * n + k));
}

function solve(m: i32, n: i32, intrinsic: f64): bool {
  for (let i = 0; i < m; i++) {
    const error = get(errors, i);
    set(work, i, get(weights, i) / (error * error + intrinsic * intrinsic));
  }
  normalMatrix(m, n, NORMAL);
  if (!invertSymmetric(NORMAL, n, NORMAL, SCRATCH)) return false;
  for (let j = 0; j < n; j++) set(RIGHT, j, 0);
  for (let i = 0; i < m; i++) {
    const row = rows + ((<usize>(i * n)) << 3);
    const w = get(work, i);
    const value = get(values, i);
    for (let j = 0; j < n; j++) set(RIGHT, j, get(RIGHT, j) + w * get(row, j) * value);
  }
  multiply(NORMAL, RIGHT, n, PARAMETERS);
  return true;
}

function isSettled(n: i32): bool {
  let change: f64 = 0;
  let largest: f64 = 0;
  for (let j = 0; j < n; j++) {
    change = Math.max(change, Math.abs(get(PARAMETERS, j) - get(BEFORE, j)));
    largest = Math.max(largest, Math.abs(get(PARAMETERS, j)));
  }
  return change <= SETTLED * (1e-6 + largest);
}

function sandwich(m: i32, n: i32, intrinsic: f64): bool {
  pullsOf(m, intrinsic);
  const unit = TUKEY * scaleOf(m);
  let sumSlope: f64 = 0;
  let sumWeight: f64 = 0;
  for (let i = 0; i < m; i++) {
    const t = get(pulls, i) / unit;
    const t2 = t * t;
    sumSlope += t2 < 1 ? (1 - t2) * (1 - 5 * t2) : 0;
    sumWeight += get(weights, i);
  }
  const ratio = Math.max(0.2, sumSlope / Math.max(sumWeight, 1e-12));
  for (let i = 0; i < m; i++) {
    const error = get(errors, i);
    set(work, i, (get(weights, i) * ratio) / (error * error + intrinsic * intrinsic));
  }
  normalMatrix(m, n, NORMAL);
  if (!invertSymmetric(NORMAL, n, NORMAL, SCRATCH)) return false;
  for (let i = 0; i < m; i++) {
    const error = get(errors, i);
    const variance = error * error + intrinsic * intrinsic;
    const light = get(weights, i) * get(residuals, i);
    set(work, i, (light * light) / (variance * variance));
  }
  normalMatrix(m, n, MEAT);
  const freedom = <f64>m / Math.max(1, <f64>(m - n));
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      let sum: f64 = 0;
      for (let k = 0; k < n; k++)
        for (let l = 0; l < n; l++) sum += get(NORMAL, i * n + k) * get(MEAT, k * n + l) * get(NORMAL, l * n + j);
      set(COVARIANCE, i * n + j, sum * freedom);
    }
  return true;
}

/**
 * From FIT_DATA: values, errors, residuals, pulls, weights and two lists of scratch, m numbers each; then the m rows of n.
 * Parameters, covariance and weights stay where they are; the answer is the scatter beyond the errors, -1 where there is no fit.
 */
export function robustFit(m: i32, n: i32, rounds: i32): f64 {
  const length = (<usize>m) << 3;
  values = FIT_DATA;
  errors = values + length;
  residuals = errors + length;
  pulls = residuals + length;
  weights = pulls + length;
  work = weights + length;
  list = work + length;
  rows = list + length;
  for (let i = 0; i < m; i++) set(weights, i, 1);
  let intrinsic: f64 = 0;
  for (let round = 0; round < rounds; round++) {
    memory.copy(BEFORE, PARAMETERS, (<usize>n) << 3);
    if (!solve(m, n, intrinsic)) return -1;
    const converged = round > 0 && isSettled(n);
    residualsOf(m, n);
    intrinsic = scatterBeyond(m, n);
    pullsOf(m, intrinsic);
    biweights(m, TUKEY * scaleOf(m));
    if (converged) break;
  }
  return sandwich(m, n, intrinsic) ? intrinsic : -1;
}
