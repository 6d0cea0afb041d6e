import { both, exp2 } from './exponential';
import { C, DX, DY, OUT, Q, S, SMALL, VALUE, WEIGHT, X, Y } from './layout';
import { add, decompose, get, set, substitute } from './linear';

/** As in src/shapes/thirdOrder.ts. */
const LEAST_NEWTON: f64 = 0.04;

/** thirdOrderBySums of src/shapes/thirdOrder.ts. OUT = x, y, coma x, y, error, trefoil x, y, error. */
export function bySums(
  count: i32,
  x0: f64,
  y0: f64,
  sigma: f64,
  background: f64,
  noise: f64,
  gain: f64,
  maxRounds: i32,
  settled: f64,
): bool {
  const zero = f64x2.splat(0);
  const inverse = f64x2.splat(1 / sigma);
  const sky = f64x2.splat(background);
  const end = (<usize>count) << 3;
  let x = x0;
  let y = y0;
  let flux: f64 = 0;
  for (let o: usize = 0; o < end; o += 16)
    v128.store(S + o, f64x2.mul(v128.load(WEIGHT + o), f64x2.sub(v128.load(VALUE + o), sky)));
  for (let round = 0; round < maxRounds; round++) {
    const cx = f64x2.splat(x);
    const cy = f64x2.splat(y);
    let sum = zero;
    let mx = zero;
    let my = zero;
    let mxx = zero;
    let mxy = zero;
    let myy = zero;
    for (let o: usize = 0; o < end; o += 16) {
      const u = f64x2.mul(f64x2.sub(v128.load(DX + o), cx), inverse);
      const v = f64x2.mul(f64x2.sub(v128.load(DY + o), cy), inverse);
      const r2 = f64x2.add(f64x2.mul(u, u), f64x2.mul(v, v));
      const wi = f64x2.mul(exp2(f64x2.mul(r2, f64x2.splat(-0.5))), v128.load(S + o));
      const wiu = f64x2.mul(wi, u);
      const wiv = f64x2.mul(wi, v);
      sum = f64x2.add(sum, wi);
      mx = f64x2.add(mx, wiu);
      my = f64x2.add(my, wiv);
      mxx = f64x2.add(mxx, f64x2.mul(wiu, u));
      mxy = f64x2.add(mxy, f64x2.mul(wiu, v));
      myy = f64x2.add(myy, f64x2.mul(wiv, v));
    }
    flux = both(sum);
    if (!(flux > 0)) return false;
    const firstX = both(mx);
    const firstY = both(my);
    const a = flux - both(mxx);
    const b = -both(mxy);
    const c = flux - both(myy);
    const det = a * c - b * b;
    const newton = a > 0 && det > LEAST_NEWTON * flux * flux;
    const sx = newton ? (c * firstX - b * firstY) / det : (2 * firstX) / flux;
    const sy = newton ? (a * firstY - b * firstX) / det : (2 * firstY) / flux;
    x += sx * sigma;
    y += sy * sigma;
    const ox = x - x0;
    const oy = y - y0;
    if (Math.sqrt(ox * ox + oy * oy) > 1.5 * sigma) return false;
    if (Math.sqrt(sx * sx + sy * sy) < settled) break;
  }
  const cx = f64x2.splat(x);
  const cy = f64x2.splat(y);
  const three = f64x2.splat(3);
  const noise2 = f64x2.splat(noise * noise);
  const perElectron = f64x2.splat(1 / gain);
  let comaX = zero;
  let comaY = zero;
  let trefoilX = zero;
  let trefoilY = zero;
  let varianceC = zero;
  let varianceT = zero;
  for (let o: usize = 0; o < end; o += 16) {
    const u = f64x2.mul(f64x2.sub(v128.load(DX + o), cx), inverse);
    const v = f64x2.mul(f64x2.sub(v128.load(DY + o), cy), inverse);
    const uu = f64x2.mul(u, u);
    const vv = f64x2.mul(v, v);
    const r2 = f64x2.add(uu, vv);
    const g = exp2(f64x2.mul(r2, f64x2.splat(-0.5)));
    const w = f64x2.mul(g, v128.load(WEIGHT + o));
    const light = f64x2.sub(v128.load(VALUE + o), sky);
    const wi = f64x2.mul(w, light);
    const radial = f64x2.sub(r2, f64x2.splat(2));
    comaX = f64x2.add(comaX, f64x2.mul(f64x2.mul(wi, u), radial));
    comaY = f64x2.add(comaY, f64x2.mul(f64x2.mul(wi, v), radial));
    trefoilX = f64x2.add(trefoilX, f64x2.mul(f64x2.mul(wi, u), f64x2.sub(uu, f64x2.mul(three, vv))));
    trefoilY = f64x2.add(trefoilY, f64x2.mul(f64x2.mul(wi, v), f64x2.sub(f64x2.mul(three, uu), vv)));
    const variance = f64x2.add(noise2, f64x2.mul(f64x2.max(zero, light), perElectron));
    const wv = f64x2.mul(f64x2.mul(f64x2.mul(w, w), variance), r2);
    varianceC = f64x2.add(varianceC, f64x2.mul(f64x2.mul(wv, radial), radial));
    varianceT = f64x2.add(varianceT, f64x2.mul(f64x2.mul(wv, r2), r2));
  }
  set(OUT, 0, x);
  set(OUT, 1, y);
  set(OUT, 2, both(comaX) / flux);
  set(OUT, 3, both(comaY) / flux);
  set(OUT, 4, Math.sqrt(0.5 * both(varianceC)) / flux);
  set(OUT, 5, both(trefoilX) / flux);
  set(OUT, 6, both(trefoilY) / flux);
  set(OUT, 7, Math.sqrt(0.5 * both(varianceT)) / flux);
  return true;
}

/** Monomials u^i v^j, i + j <= 4, by degree and then by j; the constant comes last. */
const TERMS: i32 = 15;
const COUNT: i32 = 16;
const EXPONENT_U: usize = memory.data<u8>([0, 1, 0, 2, 1, 0, 3, 2, 1, 0, 4, 3, 2, 1, 0]);
const EXPONENT_V: usize = memory.data<u8>([0, 0, 1, 0, 1, 2, 0, 1, 2, 3, 0, 1, 2, 3, 4]);
/** Of one row of pixels: sums of q u^i (i to 9), then of pairs c u^i, s u^i (i to 4). */
const ROW: usize = SMALL;
const POWERS: usize = SMALL + 160;
/** Sums of list u^i v^j at 10 i + j. */
const EIGHTH: usize = SMALL + 256;
const FOURTH: usize = EIGHTH + 720;
const RIGHT: usize = FOURTH + 120;
const MATRIX: usize = RIGHT + 128;
const LOWER: usize = MATRIX + 2048;
const SCALE: usize = LOWER + 2048;
const MEAT: usize = SCALE + 128;
const COMBO: usize = MEAT + 2048;

/** Normal matrix of the monomials times g, from per-row sums: Q = w g^2 to degree 8, C = w g to degree 4, S = w g value. */
function sums(count: i32, matrix: usize, own: f64): void {
  memory.fill(EIGHTH, 0, 720 + 120 + 128);
  const zero = f64x2.splat(0);
  let k = 0;
  while (k < count) {
    const v = get(Y, k);
    let q0 = zero;
    let q2 = zero;
    let q4 = zero;
    let q6 = zero;
    let q8 = zero;
    let c0 = zero;
    let c1 = zero;
    let c2 = zero;
    let c3 = zero;
    let c4 = zero;
    while (k < count && get(Y, k) == v) {
      const u = get(X, k);
      const q = get(Q, k);
      const uu = f64x2.splat(u);
      const square = f64x2.splat(u * u);
      let pair = f64x2.replace_lane(f64x2.splat(q), 1, q * u);
      q0 = f64x2.add(q0, pair);
      pair = f64x2.mul(pair, square);
      q2 = f64x2.add(q2, pair);
      pair = f64x2.mul(pair, square);
      q4 = f64x2.add(q4, pair);
      pair = f64x2.mul(pair, square);
      q6 = f64x2.add(q6, pair);
      q8 = f64x2.add(q8, f64x2.mul(pair, square));
      pair = f64x2.replace_lane(f64x2.splat(get(C, k)), 1, get(S, k));
      c0 = f64x2.add(c0, pair);
      pair = f64x2.mul(pair, uu);
      c1 = f64x2.add(c1, pair);
      pair = f64x2.mul(pair, uu);
      c2 = f64x2.add(c2, pair);
      pair = f64x2.mul(pair, uu);
      c3 = f64x2.add(c3, pair);
      c4 = f64x2.add(c4, f64x2.mul(pair, uu));
      k++;
    }
    v128.store(ROW, q0);
    v128.store(ROW + 16, q2);
    v128.store(ROW + 32, q4);
    v128.store(ROW + 48, q6);
    v128.store(ROW + 64, q8);
    v128.store(ROW + 80, c0);
    v128.store(ROW + 96, c1);
    v128.store(ROW + 112, c2);
    v128.store(ROW + 128, c3);
    v128.store(ROW + 144, c4);
    let power: f64 = 1;
    for (let j = 0; j < 9; j++) {
      set(POWERS, j, power);
      power *= v;
    }
    for (let i = 0; i < 9; i++) {
      const sum = f64x2.splat(get(ROW, i));
      // Pairs of powers; the one too many of an odd row is never read.
      for (let j = 0; i + j < 9; j += 2) {
        const at = EIGHTH + ((<usize>(10 * i + j)) << 3);
        v128.store(at, f64x2.add(v128.load(at), f64x2.mul(sum, v128.load(POWERS + ((<usize>j) << 3)))));
      }
    }
    for (let t = 0; t < TERMS; t++) {
      const i = <i32>load<u8>(EXPONENT_U + t);
      const vj = get(POWERS, <i32>load<u8>(EXPONENT_V + t));
      add(FOURTH, t, vj * get(ROW, 10 + 2 * i));
      add(RIGHT, t, vj * get(ROW, 11 + 2 * i));
    }
  }
  for (let i = 0; i < TERMS; i++) {
    const place = 10 * <i32>load<u8>(EXPONENT_U + i) + <i32>load<u8>(EXPONENT_V + i);
    for (let j = 0; j <= i; j++) {
      const value = get(EIGHTH, place + 10 * <i32>load<u8>(EXPONENT_U + j) + <i32>load<u8>(EXPONENT_V + j));
      set(matrix, i * COUNT + j, value);
      set(matrix, j * COUNT + i, value);
    }
    set(matrix, i * COUNT + TERMS, get(FOURTH, i));
    set(matrix, TERMS * COUNT + i, get(FOURTH, i));
  }
  set(matrix, TERMS * COUNT + TERMS, own);
}

/** Variance, through MEAT, of a x factor i + b x factor j of the solution. */
function spread(i: i32, a: f64, j: i32, b: f64): f64 {
  memory.fill(COMBO, 0, 128);
  set(COMBO, i, a);
  set(COMBO, j, b);
  substitute(LOWER, SCALE, COMBO, COUNT, COMBO);
  let variance: f64 = 0;
  for (let k = 0; k < COUNT; k++) {
    let sum: f64 = 0;
    for (let l = 0; l < COUNT; l++) sum += get(MEAT, k * COUNT + l) * get(COMBO, l);
    variance += get(COMBO, k) * sum;
  }
  return variance;
}

/** thirdOrderByLeastSquares of src/shapes/thirdOrder.ts. OUT as bySums. */
export function byLeastSquares(
  count: i32,
  x0: f64,
  y0: f64,
  sigma: f64,
  background: f64,
  noise: f64,
  gain: f64,
  maxRounds: i32,
  settled: f64,
): bool {
  const inverse = f64x2.splat(1 / sigma);
  const padded = (<usize>count) << 3;
  let x = x0;
  let y = y0;
  for (let round = 0; round < maxRounds; round++) {
    const cx = f64x2.splat(x);
    const cy = f64x2.splat(y);
    let own = f64x2.splat(0);
    let right = f64x2.splat(0);
    for (let o: usize = 0; o < padded; o += 16) {
      const u = f64x2.mul(f64x2.sub(v128.load(DX + o), cx), inverse);
      const v = f64x2.mul(f64x2.sub(v128.load(DY + o), cy), inverse);
      const g = exp2(f64x2.mul(f64x2.add(f64x2.mul(u, u), f64x2.mul(v, v)), f64x2.splat(-0.5)));
      const w = v128.load(WEIGHT + o);
      const value = v128.load(VALUE + o);
      const wg = f64x2.mul(w, g);
      own = f64x2.add(own, w);
      right = f64x2.add(right, f64x2.mul(w, value));
      v128.store(X + o, u);
      v128.store(Y + o, v);
      v128.store(Q + o, f64x2.mul(wg, g));
      v128.store(C + o, wg);
      v128.store(S + o, f64x2.mul(wg, value));
    }
    sums(count, MATRIX, both(own));
    set(RIGHT, TERMS, both(right));
    if (!decompose(MATRIX, COUNT, LOWER, SCALE)) return false;
    substitute(LOWER, SCALE, RIGHT, COUNT, RIGHT);
    // Coefficients of the Hermite terms from those of the monomials.
    const c30 = get(RIGHT, 6) / 8;
    const c21 = get(RIGHT, 7) / 8;
    const c12 = get(RIGHT, 8) / 8;
    const c03 = get(RIGHT, 9) / 8;
    const c10 = get(RIGHT, 1) / 2 + 6 * c30 + 2 * c12;
    const c01 = get(RIGHT, 2) / 2 + 6 * c03 + 2 * c21;
    const c00 =
      get(RIGHT, 0) +
      (get(RIGHT, 3) + get(RIGHT, 5)) / 2 +
      0.75 * (get(RIGHT, 10) + get(RIGHT, 14)) +
      get(RIGHT, 12) / 4;
    if (!(c00 > 0)) return false;
    const sx = (2 * c10) / c00;
    const sy = (2 * c01) / c00;
    if (Math.sqrt(sx * sx + sy * sy) < settled || round == maxRounds - 1) {
      set(OUT, 0, x);
      set(OUT, 1, y);
      set(OUT, 2, (6 * c30 + 2 * c12) / c00);
      set(OUT, 3, (6 * c03 + 2 * c21) / c00);
      set(OUT, 5, (6 * c30 - 6 * c12) / c00);
      set(OUT, 6, (6 * c21 - 6 * c03) / c00);
      let ownMeat: f64 = 0;
      for (let k = 0; k < count; k++) {
        const w = get(WEIGHT, k);
        const variance = noise * noise + max<f64>(0, get(VALUE, k) - background) / gain;
        set(Q, k, get(Q, k) * w * variance);
        set(C, k, get(C, k) * w * variance);
        ownMeat += w * w * variance;
      }
      sums(count, MEAT, ownMeat);
      const scale = 1 / (8 * c00);
      set(OUT, 4, scale * Math.sqrt((spread(6, 6, 8, 2) + spread(9, 6, 7, 2)) / 2));
      set(OUT, 7, scale * Math.sqrt((spread(6, 6, 8, -6) + spread(7, 6, 9, -6)) / 2));
      return true;
    }
    x += sx * sigma;
    y += sy * sigma;
    const ox = x - x0;
    const oy = y - y0;
    if (Math.sqrt(ox * ox + oy * oy) > 1.5 * sigma) return false;
  }
  return false;
}
