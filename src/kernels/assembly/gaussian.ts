import { both, exp2 } from './exponential';
import { C, DX, DY, M, N, OUT, Q, S, SMALL, VALUE, WEIGHT, X, Y } from './layout';
import { add, decompose, get, inverseOf, set, substitute } from './linear';

/** fitParameters and withErrors of src/shapes/gaussianFit.ts, the same steps in the same order. */

const PARAMETERS: i32 = 7;
const P: usize = SMALL;
const NEXT: usize = SMALL + 64;
const NORMAL: usize = SMALL + 128;
const GRADIENT: usize = NORMAL + 392;
const DAMPED: usize = GRADIENT + 56;
const LOWER: usize = DAMPED + 392;
const SCALE: usize = LOWER + 392;
const MOMENTS: usize = SCALE + 56;
const FIRST: usize = MOMENTS + 120;
const RESIDUAL: usize = FIRST + 48;
const TURNED: usize = RESIDUAL + 48;
const HALF: usize = TURNED + 288;
const CURVED: usize = HALF + 288;
const MEAT: usize = CURVED + 392;
const PRODUCT: usize = MEAT + 392;
const INVERSE: usize = PRODUCT + 392;

const FORM_MIN: f64 = 1.4e-4;
const FORM_MAX: f64 = 7;

/** Place of the product of two of the monomials 1, x, y, xx, xy, yy among the fifteen of degree four. */
const PLACE: usize = memory.data<u8>([
  0, 1, 2, 3, 4, 5, 1, 3, 4, 6, 7, 8, 2, 4, 5, 7, 8, 9, 3, 6, 7, 10, 11, 12, 4, 7, 8, 11, 12, 13, 5, 8, 9, 12, 13, 14,
]);

let sumWeight: f64 = 0;
let sumResidual: f64 = 0;

/** Sums of list x^i y^j, i + j <= 4, in the order of PLACE. */
function fifteen(list: usize, count: i32, out: usize): void {
  const zero = f64x2.splat(0);
  let m0 = zero;
  let m1 = zero;
  let m2 = zero;
  let m3 = zero;
  let m4 = zero;
  let m5 = zero;
  let m6 = zero;
  let m7 = zero;
  let m8 = zero;
  let m9 = zero;
  let m10 = zero;
  let m11 = zero;
  let m12 = zero;
  let m13 = zero;
  let m14 = zero;
  const end = (<usize>count) << 3;
  for (let o: usize = 0; o < end; o += 16) {
    const x = v128.load(X + o);
    const y = v128.load(Y + o);
    const q = v128.load(list + o);
    const qx = f64x2.mul(q, x);
    const qy = f64x2.mul(q, y);
    const qxx = f64x2.mul(qx, x);
    const qxy = f64x2.mul(qx, y);
    const qyy = f64x2.mul(qy, y);
    const xx = f64x2.mul(x, x);
    const xy = f64x2.mul(x, y);
    const yy = f64x2.mul(y, y);
    m0 = f64x2.add(m0, q);
    m1 = f64x2.add(m1, qx);
    m2 = f64x2.add(m2, qy);
    m3 = f64x2.add(m3, qxx);
    m4 = f64x2.add(m4, qxy);
    m5 = f64x2.add(m5, qyy);
    m6 = f64x2.add(m6, f64x2.mul(qxx, x));
    m7 = f64x2.add(m7, f64x2.mul(qxx, y));
    m8 = f64x2.add(m8, f64x2.mul(qyy, x));
    m9 = f64x2.add(m9, f64x2.mul(qyy, y));
    m10 = f64x2.add(m10, f64x2.mul(qxx, xx));
    m11 = f64x2.add(m11, f64x2.mul(qxx, xy));
    m12 = f64x2.add(m12, f64x2.mul(qxx, yy));
    m13 = f64x2.add(m13, f64x2.mul(qyy, xy));
    m14 = f64x2.add(m14, f64x2.mul(qyy, yy));
  }
  set(out, 0, both(m0));
  set(out, 1, both(m1));
  set(out, 2, both(m2));
  set(out, 3, both(m3));
  set(out, 4, both(m4));
  set(out, 5, both(m5));
  set(out, 6, both(m6));
  set(out, 7, both(m7));
  set(out, 8, both(m8));
  set(out, 9, both(m9));
  set(out, 10, both(m10));
  set(out, 11, both(m11));
  set(out, 12, both(m12));
  set(out, 13, both(m13));
  set(out, 14, both(m14));
}

/** Sums of list x^i y^j, i + j <= 2. */
function six(list: usize, count: i32, out: usize): void {
  const zero = f64x2.splat(0);
  let m0 = zero;
  let m1 = zero;
  let m2 = zero;
  let m3 = zero;
  let m4 = zero;
  let m5 = zero;
  const end = (<usize>count) << 3;
  for (let o: usize = 0; o < end; o += 16) {
    const x = v128.load(X + o);
    const y = v128.load(Y + o);
    const q = v128.load(list + o);
    const qx = f64x2.mul(q, x);
    const qy = f64x2.mul(q, y);
    m0 = f64x2.add(m0, q);
    m1 = f64x2.add(m1, qx);
    m2 = f64x2.add(m2, qy);
    m3 = f64x2.add(m3, f64x2.mul(qx, x));
    m4 = f64x2.add(m4, f64x2.mul(qx, y));
    m5 = f64x2.add(m5, f64x2.mul(qy, y));
  }
  set(out, 0, both(m0));
  set(out, 1, both(m1));
  set(out, 2, both(m2));
  set(out, 3, both(m3));
  set(out, 4, both(m4));
  set(out, 5, both(m5));
}

/** Six sums over the monomials to sums over the first six columns of the Jacobian, both over g; may be in place. */
function turnSix(list: usize, stride: i32, out: usize): void {
  const a = get(P, 0);
  const f0 = get(list, 0);
  const f1 = get(list, stride);
  const f2 = get(list, 2 * stride);
  const f3 = get(list, 3 * stride);
  const f4 = get(list, 4 * stride);
  const f5 = get(list, 5 * stride);
  set(out, 0, f0);
  set(out, stride, a * (2 * get(P, 3) * f1 + get(P, 4) * f2));
  set(out, 2 * stride, a * (get(P, 4) * f1 + 2 * get(P, 5) * f2));
  set(out, 3 * stride, -a * f3);
  set(out, 4 * stride, -a * f4);
  set(out, 5 * stride, -a * f5);
}

/** Fifteen moments to the 6 x 6 sums over products of the Jacobian's columns, into TURNED. */
function turnFifteen(moments: usize): void {
  for (let i = 0; i < 36; i++) set(TURNED, i, get(moments, <i32>load<u8>(PLACE + i)));
  for (let i = 0; i < 6; i++) turnSix(TURNED + ((<usize>i) << 3), 6, TURNED + ((<usize>i) << 3));
  for (let i = 0; i < 6; i++) turnSix(TURNED + ((<usize>(6 * i)) << 3), 1, TURNED + ((<usize>(6 * i)) << 3));
}

/** 7 x 7 from TURNED, the column that belongs to the constant, and the constant's own sum. */
function assemble(constant: usize, own: f64, out: usize): void {
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) set(out, i * PARAMETERS + j, get(TURNED, i * 6 + j));
    set(out, i * PARAMETERS + 6, get(constant, i));
    set(out, 6 * PARAMETERS + i, get(constant, i));
  }
  set(out, 48, own);
}

/**
 * The pixels seen with the parameters at `p`: X, Y, g in M, w g in C, w g g in Q, w r g in S; returns the weighted sum of squared
 * residuals.
 */
function weigh(p: usize, count: i32): f64 {
  const amplitude = f64x2.splat(get(p, 0));
  const x0 = f64x2.splat(get(p, 1));
  const y0 = f64x2.splat(get(p, 2));
  const a = f64x2.splat(get(p, 3));
  const b = f64x2.splat(get(p, 4));
  const c = f64x2.splat(get(p, 5));
  const background = f64x2.splat(get(p, 6));
  const zero = f64x2.splat(0);
  let chi2 = zero;
  let sw = zero;
  let sr = zero;
  const end = (<usize>count) << 3;
  for (let o: usize = 0; o < end; o += 16) {
    const x = f64x2.sub(v128.load(DX + o), x0);
    const y = f64x2.sub(v128.load(DY + o), y0);
    const form = f64x2.add(f64x2.mul(f64x2.add(f64x2.mul(a, x), f64x2.mul(b, y)), x), f64x2.mul(f64x2.mul(c, y), y));
    const g = exp2(f64x2.neg(form));
    const w = v128.load(WEIGHT + o);
    const r = f64x2.sub(f64x2.sub(v128.load(VALUE + o), f64x2.mul(amplitude, g)), background);
    const wg = f64x2.mul(w, g);
    const wr = f64x2.mul(w, r);
    v128.store(X + o, x);
    v128.store(Y + o, y);
    v128.store(M + o, g);
    v128.store(Q + o, f64x2.mul(wg, g));
    v128.store(C + o, wg);
    v128.store(S + o, f64x2.mul(wg, r));
    sw = f64x2.add(sw, w);
    sr = f64x2.add(sr, wr);
    chi2 = f64x2.add(chi2, f64x2.mul(wr, r));
  }
  sumWeight = both(sw);
  sumResidual = both(sr);
  return both(chi2);
}

/** NORMAL and GRADIENT at P, with which the pixels were weighed last. */
function gather(count: i32): void {
  fifteen(Q, count, MOMENTS);
  six(C, count, FIRST);
  six(S, count, RESIDUAL);
  turnFifteen(MOMENTS);
  turnSix(FIRST, 1, FIRST);
  turnSix(RESIDUAL, 1, GRADIENT);
  assemble(FIRST, sumWeight, NORMAL);
  set(GRADIENT, 6, sumResidual);
}

/** The damped step from P into NEXT; false where it leaves the region in which the profile is a sensible ellipse. */
function step(lambda: f64): bool {
  memory.copy(DAMPED, NORMAL, 392);
  for (let j = 0; j < PARAMETERS; j++) {
    const at = j * PARAMETERS + j;
    set(DAMPED, at, get(DAMPED, at) * (1 + lambda));
  }
  if (!decompose(DAMPED, PARAMETERS, LOWER, SCALE)) return false;
  substitute(LOWER, SCALE, GRADIENT, PARAMETERS, NEXT);
  for (let i = 0; i < PARAMETERS; i++) add(NEXT, i, get(P, i));
  const a = get(NEXT, 3);
  const b = get(NEXT, 4);
  const c = get(NEXT, 5);
  if (!(get(NEXT, 0) > 0 && a > FORM_MIN && c > FORM_MIN && a < FORM_MAX && c < FORM_MAX)) return false;
  return 4 * a * c - b * b > 4 * FORM_MIN * FORM_MIN;
}

/**
 * Covariance of least squares with a model that is not quite right into OUT + 9 values; false where there is none. The pixels were
 * weighed with P last.
 */
function sandwich(count: i32, noise: f64, gain: f64): bool {
  const amplitude = f64x2.splat(get(P, 0));
  const background = f64x2.splat(get(P, 6));
  const zero = f64x2.splat(0);
  const noise2 = f64x2.splat(noise * noise);
  const perElectron = f64x2.splat(1 / gain);
  let own = zero;
  gather(count);
  const end = (<usize>count) << 3;
  for (let o: usize = 0; o < end; o += 16) {
    const w = v128.load(WEIGHT + o);
    const g = v128.load(M + o);
    const value = v128.load(VALUE + o);
    const model = f64x2.add(f64x2.mul(amplitude, g), background);
    const light = f64x2.max(zero, f64x2.sub(f64x2.max(model, value), background));
    const variance = f64x2.add(noise2, f64x2.mul(light, perElectron));
    const wv = f64x2.mul(w, variance);
    const wwvg = f64x2.mul(v128.load(C + o), wv);
    own = f64x2.add(own, f64x2.mul(w, wv));
    v128.store(M + o, f64x2.mul(wwvg, g));
    v128.store(N + o, wwvg);
  }
  // Bread: the Gauss-Newton matrix (NORMAL) less the residuals' part, which S = w g r holds.
  fifteen(S, count, MOMENTS);
  turnFifteen(MOMENTS);
  memory.copy(RESIDUAL, MOMENTS, 48);
  memory.copy(CURVED, NORMAL, 392);
  const height = get(P, 0);
  for (let i = 1; i < 6; i++)
    for (let j = 1; j <= i; j++) add(CURVED, i * PARAMETERS + j, -get(TURNED, i * 6 + j) / height);
  // Second derivatives of the logarithm of the profile.
  const s0 = height * get(RESIDUAL, 0);
  const s1 = height * get(RESIDUAL, 1);
  const s2 = height * get(RESIDUAL, 2);
  turnSix(RESIDUAL, 1, RESIDUAL);
  for (let i = 1; i < 6; i++) add(CURVED, i * PARAMETERS, -get(RESIDUAL, i) / height);
  add(CURVED, PARAMETERS + 1, 2 * get(P, 3) * s0);
  add(CURVED, 2 * PARAMETERS + 1, get(P, 4) * s0);
  add(CURVED, 2 * PARAMETERS + 2, 2 * get(P, 5) * s0);
  add(CURVED, 3 * PARAMETERS + 1, -2 * s1);
  add(CURVED, 4 * PARAMETERS + 1, -s2);
  add(CURVED, 4 * PARAMETERS + 2, -s1);
  add(CURVED, 5 * PARAMETERS + 2, -2 * s2);
  fifteen(M, count, MOMENTS);
  turnFifteen(MOMENTS);
  six(N, count, FIRST);
  turnSix(FIRST, 1, FIRST);
  assemble(FIRST, both(own), MEAT);
  if (!decompose(CURVED, PARAMETERS, LOWER, SCALE) && !decompose(NORMAL, PARAMETERS, LOWER, SCALE)) return false;
  inverseOf(LOWER, SCALE, PARAMETERS, INVERSE);
  multiply(INVERSE, MEAT, PRODUCT);
  multiply(PRODUCT, INVERSE, OUT + 72);
  return true;
}

function multiply(a: usize, b: usize, out: usize): void {
  for (let i = 0; i < PARAMETERS; i++)
    for (let j = 0; j < PARAMETERS; j++) {
      let sum: f64 = 0;
      for (let k = 0; k < PARAMETERS; k++) sum += get(a, i * PARAMETERS + k) * get(b, k * PARAMETERS + j);
      set(out, i * PARAMETERS + j, sum);
    }
}

function setParameters(
  amplitude: f64,
  x0: f64,
  y0: f64,
  a: f64,
  b: f64,
  c: f64,
  background: f64,
): void {
  set(P, 0, amplitude);
  set(P, 1, x0);
  set(P, 2, y0);
  set(P, 3, a);
  set(P, 4, b);
  set(P, 5, c);
  set(P, 6, background);
}

/**
 * The fit of the stamp; `count` + 1 pixels must be there, the odd one of weight 0. True where it converged: OUT = the seven
 * parameters, iterations, misfit.
 */
export function fitGaussian(
  count: i32,
  amplitude: f64,
  x0: f64,
  y0: f64,
  a: f64,
  b: f64,
  c: f64,
  background: f64,
  tolerance: f64,
  maxIterations: i32,
): bool {
  setParameters(amplitude, x0, y0, a, b, c, background);
  let lambda = 1e-2;
  let chi2 = weigh(P, count);
  if (!isFinite(chi2)) return false;
  let iterations = 0;
  let converged = false;
  while (iterations < maxIterations && !converged) {
    iterations++;
    gather(count);
    let accepted = false;
    for (let attempt = 0; attempt < 12 && !accepted; attempt++) {
      const nextChi2 = step(lambda) ? weigh(NEXT, count) : Infinity;
      if (nextChi2 <= chi2 && isFinite(nextChi2)) {
        converged = chi2 - nextChi2 <= tolerance * chi2;
        memory.copy(P, NEXT, 56);
        chi2 = nextChi2;
        lambda = max(1e-7, lambda * 0.2);
        accepted = true;
      } else lambda *= 6;
    }
    // No step gains anything any more: the minimum to working precision.
    if (!accepted) {
      converged = true;
      weigh(P, count);
    }
  }
  memory.copy(OUT, P, 56);
  set(OUT, 7, <f64>iterations);
  set(OUT, 8, Math.sqrt(chi2 / sumWeight) / get(P, 0));
  return converged;
}

/** The errors of the last fit, whose stamp still stands: OUT + 9 values; false where there are none, or where it is no star. */
export function errorsOfFit(count: i32, noise: f64, gain: f64): bool {
  // What does not stand above its own error is no star.
  return sandwich(count, noise, gain) && get(P, 0) > 3 * Math.sqrt(get(OUT, 9));
}

/** The same at given parameters. */
export function errorsAt(
  count: i32,
  amplitude: f64,
  x0: f64,
  y0: f64,
  a: f64,
  b: f64,
  c: f64,
  background: f64,
  noise: f64,
  gain: f64,
): bool {
  setParameters(amplitude, x0, y0, a, b, c, background);
  weigh(P, count);
  return errorsOfFit(count, noise, gain);
}
