import { FIT } from './layout';
import { add, get, invertSymmetric, multiply, set } from './linear';

/** `descend` of src/numeric/curveFit.ts, the same steps in the same order, for whatever model a kernel brings. */

const SLOT: usize = 0x10000;
/** The start, and the end; then the bounds. */
export const P: usize = FIT;
const LOWER: usize = FIT + SLOT;
const UPPER: usize = FIT + 2 * SLOT;
const NORMAL: usize = FIT + 3 * SLOT;
const DAMPED: usize = FIT + 4 * SLOT;
const VECTORS: usize = FIT + 5 * SLOT;
const GRADIENT: usize = VECTORS;
const STRAIGHT: usize = VECTORS + 0x400;
const BENDING: usize = VECTORS + 0x800;
const RIGHT: usize = VECTORS + 0xc00;
const STILL: usize = VECTORS + 0x1000;
const PLACE: usize = VECTORS + 0x1400;
const NEXT: usize = VECTORS + 0x1800;
/** For the inverse, two matrices and a vector. */
const SCRATCH: usize = FIT + 6 * SLOT;
/** Small lists of whose model it is. */
export const MODEL_LISTS: usize = FIT + 8 * SLOT;
/** The numbers of the model and of its points. */
export const CURVE_DATA: usize = FIT + 9 * SLOT;

const TOLERANCE: f64 = 1e-7;
const MOST_BENDING: f64 = 0.75;
const FEELER: f64 = 0.1;

/** Writes the model at all points. */
type Values = (p: usize, out: usize) => void;
/** The same with its derivatives, a row of n numbers a point; what it does not write is 0. */
type Slopes = (p: usize, out: usize, rows: usize) => void;

let n: i32 = 0;
let all: i32 = 0;
let values: usize = 0;
let errors: usize = 0;
let here: usize = 0;
let pulls: usize = 0;
let second: usize = 0;
let there: usize = 0;
let rows: usize = 0;
let valuesAt: Values = nothing;

function nothing(p: usize, out: usize): void {}

function chiSquare(p: usize): f64 {
  valuesAt(p, there);
  let chi2: f64 = 0;
  for (let i = 0; i < all; i++) {
    const r = (get(values, i) - get(there, i)) / get(errors, i);
    chi2 += r * r;
  }
  return chi2;
}

/** to += factor x from, `count` numbers. */
function addScaled(from: usize, factor: f64, count: i32, to: usize): void {
  const by = f64x2.splat(factor);
  const pairs = (<usize>(count & ~1)) << 3;
  for (let o: usize = 0; o < pairs; o += 16)
    v128.store(to + o, f64x2.add(v128.load(to + o), f64x2.mul(by, v128.load(from + o))));
  if ((count & 1) != 0) add(to, count - 1, factor * get(from, count - 1));
}

/** out += rows' list. */
function addProducts(list: usize, out: usize): void {
  for (let i = 0; i < all; i++) addScaled(rows + ((<usize>(i * n)) << 3), get(list, i), n, out);
}

function normalEquations(): void {
  memory.fill(NORMAL, 0, (<usize>(n * n)) << 3);
  memory.fill(GRADIENT, 0, (<usize>n) << 3);
  for (let i = 0; i < all; i++) {
    const row = rows + ((<usize>(i * n)) << 3);
    for (let j = 0; j < n; j++) {
      const d = get(row, j);
      if (d != 0) addScaled(row, d, j + 1, NORMAL + ((<usize>(j * n)) << 3));
    }
  }
  addProducts(pulls, GRADIENT);
}

function take(slopesAt: Slopes): void {
  memory.fill(rows, 0, (<usize>(all * n)) << 3);
  slopesAt(P, here, rows);
  for (let i = 0; i < all; i++) {
    const error = get(errors, i);
    set(pulls, i, (get(values, i) - get(here, i)) / error);
    const row = rows + ((<usize>(i * n)) << 3);
    for (let j = 0; j < n; j++) set(row, j, get(row, j) / error);
  }
  normalEquations();
  for (let j = 0; j < n; j++) {
    const gradient = get(GRADIENT, j);
    const held =
      (get(P, j) <= get(LOWER, j) && gradient <= 0) || (get(P, j) >= get(UPPER, j) && gradient >= 0);
    const still = held || !(get(NORMAL, j * n + j) > 0);
    set(STILL, j, still ? 1 : 0);
    if (!still) continue;
    for (let k = 0; k < n; k++) set(NORMAL, max(j, k) * n + min(j, k), 0);
    set(NORMAL, j * n + j, 1);
    set(GRADIENT, j, 0);
  }
}

function addBending(feeler: f64): void {
  for (let j = 0; j < n; j++) set(PLACE, j, get(P, j) + feeler * get(STRAIGHT, j));
  valuesAt(PLACE, there);
  for (let i = 0; i < all; i++) add(second, i, get(there, i) - get(here, i));
}

/** The damped step with its bending into NEXT, within the bounds; false where it cannot be trusted. */
function step(): bool {
  multiply(DAMPED, GRADIENT, n, STRAIGHT);
  memory.fill(second, 0, (<usize>all) << 3);
  addBending(FEELER);
  addBending(-FEELER);
  for (let i = 0; i < all; i++) set(second, i, get(second, i) / (-(FEELER * FEELER) * get(errors, i)));
  memory.fill(RIGHT, 0, (<usize>n) << 3);
  addProducts(second, RIGHT);
  for (let j = 0; j < n; j++) if (get(STILL, j) == 1) set(RIGHT, j, 0);
  multiply(DAMPED, RIGHT, n, BENDING);
  let bent: f64 = 0;
  let length: f64 = 0;
  for (let j = 0; j < n; j++) {
    const own = get(NORMAL, j * n + j);
    bent += get(BENDING, j) * get(BENDING, j) * own;
    length += get(STRAIGHT, j) * get(STRAIGHT, j) * own;
  }
  if (!(2 * Math.sqrt(bent) <= MOST_BENDING * Math.sqrt(length))) return false;
  for (let j = 0; j < n; j++) {
    const change = get(STRAIGHT, j) + 0.5 * get(BENDING, j);
    set(NEXT, j, Math.min(get(UPPER, j), Math.max(get(LOWER, j), get(P, j) + change)));
  }
  return true;
}

/**
 * The start stands at P, the bounds at LOWER and UPPER; the end stays at P. `measured` and `sigmas`: `points` numbers each; from
 * `scratch` on the descent works. Chi-square, NaN or infinite where there is none.
 */
export function descend(
  parameters: i32,
  points: i32,
  measured: usize,
  sigmas: usize,
  scratch: usize,
  iterations: i32,
  valuesOf: Values,
  slopesOf: Slopes,
): f64 {
  const length = (<usize>points) << 3;
  n = parameters;
  all = points;
  values = measured;
  errors = sigmas;
  here = scratch;
  pulls = here + length;
  second = pulls + length;
  there = second + length;
  rows = there + length;
  valuesAt = valuesOf;
  for (let j = 0; j < n; j++) set(P, j, Math.min(get(UPPER, j), Math.max(get(LOWER, j), get(P, j))));
  let chi2 = chiSquare(P);
  let lambda: f64 = 1e-2;
  for (let iteration = 0; iteration < iterations && isFinite(chi2); iteration++) {
    take(slopesOf);
    const before = chi2;
    for (let attempt = 0; attempt < 8; attempt++) {
      memory.copy(DAMPED, NORMAL, (<usize>(n * n)) << 3);
      for (let j = 0; j < n; j++) set(DAMPED, j * n + j, get(DAMPED, j * n + j) * (1 + lambda));
      if (invertSymmetric(DAMPED, n, DAMPED, SCRATCH) && step()) {
        const next = chiSquare(NEXT);
        if (next <= chi2) {
          memory.copy(P, NEXT, (<usize>n) << 3);
          chi2 = next;
          lambda = Math.max(1e-9, lambda * 0.1);
          break;
        }
      }
      lambda *= 10;
    }
    if (before - chi2 <= TOLERANCE * before) break;
  }
  return chi2;
}
