import { FIT, FIT_DATA } from './layout';
import { get, invertSymmetric, multiply, set } from './linear';

/**
 * `descend` of src/numeric/curveFit.ts on the surface of src/field/sizeField.ts, the same steps in the same order:
 * p[frame] + (p[subs + frame] + p[2 subs] u + p[2 subs + 1] v + p[2 subs + 2] r2)^2, and p[frame] itself for what is known of it
 * beforehand.
 */

const SLOT: usize = 0x4000;
const P: usize = FIT;
const LOWER: usize = FIT + SLOT;
const UPPER: usize = FIT + 2 * SLOT;
const NEXT: usize = FIT + 3 * SLOT;
const NORMAL: usize = FIT + 4 * SLOT;
const DAMPED: usize = FIT + 5 * SLOT;
const GRADIENT: usize = FIT + 6 * SLOT;
const STRAIGHT: usize = FIT + 6 * SLOT + 0x400;
const BENDING: usize = FIT + 6 * SLOT + 0x800;
const RIGHT: usize = FIT + 6 * SLOT + 0xc00;
const STILL: usize = FIT + 6 * SLOT + 0x1000;
const PLACE: usize = FIT + 6 * SLOT + 0x1400;
const SCRATCH: usize = FIT + 7 * SLOT;

const TOLERANCE: f64 = 1e-7;
const MOST_BENDING: f64 = 0.75;
const FEELER: f64 = 0.1;

let n: i32 = 0;
let subs: i32 = 0;
let points: i32 = 0;
let all: i32 = 0;
let frames: usize = 0;
let us: usize = 0;
let vs: usize = 0;
let r2s: usize = 0;
let values: usize = 0;
let errors: usize = 0;
let here: usize = 0;
let pulls: usize = 0;
let second: usize = 0;
let rows: usize = 0;

// @ts-ignore: decorators stand on functions here
@inline
function bracket(p: usize, frame: i32, i: i32): f64 {
  const slopes = p + ((<usize>(2 * subs)) << 3);
  return get(p, subs + frame) + get(slopes, 0) * get(us, i) + get(slopes, 1) * get(vs, i) + get(slopes, 2) * get(r2s, i);
}

// @ts-ignore: decorators stand on functions here
@inline
function model(p: usize, i: i32): f64 {
  const frame = <i32>get(frames, i);
  if (i >= points) return get(p, frame);
  const b = bracket(p, frame, i);
  return get(p, frame) + b * b;
}

function chiSquare(p: usize): f64 {
  let chi2: f64 = 0;
  for (let i = 0; i < all; i++) {
    const r = (get(values, i) - model(p, i)) / get(errors, i);
    chi2 += r * r;
  }
  return chi2;
}

/** out += rows' list. */
function addProducts(list: usize, out: usize): void {
  for (let i = 0; i < all; i++) {
    const row = rows + ((<usize>(i * n)) << 3);
    const value = get(list, i);
    for (let j = 0; j < n; j++) set(out, j, get(out, j) + get(row, j) * value);
  }
}

function normalEquations(): void {
  memory.fill(NORMAL, 0, (<usize>(n * n)) << 3);
  memory.fill(GRADIENT, 0, (<usize>n) << 3);
  for (let i = 0; i < all; i++) {
    const row = rows + ((<usize>(i * n)) << 3);
    for (let j = 0; j < n; j++) {
      const d = get(row, j);
      if (d == 0) continue;
      for (let k = 0; k <= j; k++) set(NORMAL, j * n + k, get(NORMAL, j * n + k) + d * get(row, k));
    }
  }
  addProducts(pulls, GRADIENT);
}

function take(): void {
  memory.fill(rows, 0, (<usize>(all * n)) << 3);
  for (let i = 0; i < all; i++) {
    const error = get(errors, i);
    const frame = <i32>get(frames, i);
    const row = rows + ((<usize>(i * n)) << 3);
    set(here, i, model(P, i));
    set(pulls, i, (get(values, i) - get(here, i)) / error);
    set(row, frame, 1 / error);
    if (i >= points) continue;
    const d = 2 * bracket(P, frame, i);
    set(row, subs + frame, d / error);
    set(row, 2 * subs, (d * get(us, i)) / error);
    set(row, 2 * subs + 1, (d * get(vs, i)) / error);
    set(row, 2 * subs + 2, (d * get(r2s, i)) / error);
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
  for (let i = 0; i < all; i++) set(second, i, get(second, i) + (model(PLACE, i) - get(here, i)));
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
 * From FIT_DATA, `count` numbers each: frames (a parameter's place from `measured` on), u, v, r2, values, errors; scratch after
 * them. The start stands at P, the bounds at LOWER and UPPER; the end stays at P. Chi-square, NaN or infinite where there is none.
 */
export function descendSurface(measured: i32, count: i32, frameCount: i32, iterations: i32): f64 {
  const length = (<usize>count) << 3;
  points = measured;
  all = count;
  subs = frameCount;
  n = 2 * subs + 3;
  frames = FIT_DATA;
  us = frames + length;
  vs = us + length;
  r2s = vs + length;
  values = r2s + length;
  errors = values + length;
  here = errors + length;
  pulls = here + length;
  second = pulls + length;
  rows = second + length;
  for (let j = 0; j < n; j++) set(P, j, Math.min(get(UPPER, j), Math.max(get(LOWER, j), get(P, j))));
  let chi2 = chiSquare(P);
  let lambda: f64 = 1e-2;
  for (let iteration = 0; iteration < iterations && isFinite(chi2); iteration++) {
    take();
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
