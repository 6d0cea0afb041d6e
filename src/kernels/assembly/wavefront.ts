import { CURVE_DATA, descend, P } from './curveFit';
import { add, get, set } from './linear';
import { SHAPE, SHAPE_LISTS_END, SLOPES, shapeAt, slopesAt, useTable } from './starShape';

/** The model of src/retrieval/model.ts at all cells, `predictValues` and `predict`, and the rows of what is known beforehand. */

/** Numbers of a cell: sub, u, v. */
const CELL: i32 = 3;
const SKEW_TREFOIL: f64 = 0.94;
const NO_SKEW: f64 = 1e-16;
const SHADOW_OUTLINE_UM: f64 = 0.24;
const LEAST_UNSTRETCHED: f64 = 0.05;
/** Of src/retrieval/smearedStar.ts: K, T and S in focus, how they rise, and where that ends. */
const K0: f64 = 0.9;
const K1: f64 = 0.7;
const T0: f64 = 1.4;
const T1: f64 = 1.1;
const S0: f64 = 0.42;
const S1: f64 = 0.35;
const LONGEST: f64 = 0.45;

/** Where the numbers of all subs stand behind those of each, as src/retrieval/layout.ts has them. */
const CURVATURE: i32 = 2;
const ASTIGMATISM: i32 = 3;
const LINEAR_ASTIGMATISM: i32 = 5;
const RADIAL_ASTIGMATISM: i32 = 7;
const COMA: i32 = 8;
const LINEAR_COMA: i32 = 10;
const TREFOIL: i32 = 11;
const SHADOW: i32 = 13;
const SHARED: i32 = 15;
const PLAIN: i32 = 4;

const wave: usize = SHAPE_LISTS_END;
const shape: usize = SHAPE_LISTS_END + 0x40;
/** coma3 and trefoil3 of the star without a smear. */
const star: usize = SHAPE_LISTS_END + 0x80;
const mixed: usize = SHAPE_LISTS_END + 0xc0;
const swung: usize = SHAPE_LISTS_END + 0x100;
const grown: usize = SHAPE_LISTS_END + 0x140;
const lessRound: usize = SHAPE_LISTS_END + 0x180;
const change: usize = SHAPE_LISTS_END + 0x1c0;
const shapeSlopes: usize = SHAPE_LISTS_END + 0x200;

let n: i32 = 0;
let cells: i32 = 0;
let perSub: i32 = 0;
let shared: i32 = 0;
let known: i32 = 0;
let places: usize = 0;
let rowsKnown: usize = 0;

function setWave(p: usize, frame: i32, u: f64, v: f64): void {
  const own = p + ((<usize>(frame * perSub)) << 3);
  const all = p + ((<usize>shared) << 3);
  const a2 = get(all, RADIAL_ASTIGMATISM);
  const c1 = get(all, LINEAR_COMA);
  const bx = get(all, LINEAR_ASTIGMATISM);
  const by = get(all, LINEAR_ASTIGMATISM + 1);
  set(wave, 0, get(own, 1) + get(all, 0) * u + get(all, 1) * v + get(all, CURVATURE) * (u * u + v * v));
  set(wave, 1, get(all, ASTIGMATISM) + bx * u - by * v + a2 * (u * u - v * v));
  set(wave, 2, get(all, ASTIGMATISM + 1) + bx * v + by * u + a2 * 2 * u * v);
  set(wave, 3, get(all, COMA) + c1 * u);
  set(wave, 4, get(all, COMA + 1) + c1 * v);
  set(wave, 5, get(all, TREFOIL));
  set(wave, 6, get(all, TREFOIL + 1));
}

// @ts-ignore: decorators stand on functions here
@inline
function unstretched(x: f64, y: f64): f64 {
  return Math.max(LEAST_UNSTRETCHED, 1 - x * x - y * y);
}

/** -k e conj(c) - s conj(e) t, and -t e c, of four numbers. */
function mix(from: usize, ex: f64, ey: f64, k: f64, t: f64, s: f64, out: usize): void {
  const cx = get(from, 0);
  const cy = get(from, 1);
  const tx = get(from, 2);
  const ty = get(from, 3);
  set(out, 0, -k * (ex * cx + ey * cy) - s * (ex * tx + ey * ty));
  set(out, 1, -k * (ey * cx - ex * cy) - s * (ex * ty - ey * tx));
  set(out, 2, -t * (ex * cx - ey * cy));
  set(out, 3, -t * (ex * cy + ey * cx));
}

let ex: f64 = 0;
let ey: f64 = 0;
let elongation: f64 = 0;
let k: f64 = 0;
let t: f64 = 0;
let s: f64 = 0;
let kRise: f64 = 0;
let tRise: f64 = 0;
let sRise: f64 = 0;

/** `smearedStar` of src/retrieval/smearedStar.ts. */
function smear(x: f64, y: f64): void {
  ex = x;
  ey = y;
  elongation = Math.sqrt(x * x + y * y);
  const far = elongation > LONGEST;
  const share = far ? LONGEST / elongation : 1;
  const reached = Math.min(elongation, LONGEST);
  k = share * (K0 + K1 * reached);
  t = share * (T0 + T1 * reached);
  s = share * (S0 + S1 * reached);
  kRise = far ? -k / elongation : K1;
  tRise = far ? -t / elongation : T1;
  sRise = far ? -s / elongation : S1;
}

/** Slope of what the smear adds to `star`, along (x, y) in e. */
function smearSlope(x: f64, y: f64, out: usize): void {
  const along = elongation > 0 ? (ex * x + ey * y) / elongation : 0;
  mix(star, x, y, k, t, s, swung);
  mix(star, ex, ey, kRise, tRise, sRise, grown);
  for (let i = 0; i < 4; i++) set(out, i, get(swung, i) + along * get(grown, i));
}

// @ts-ignore: decorators stand on functions here
@inline
function shadowRise(d: f64): f64 {
  const x = d / SHADOW_OUTLINE_UM;
  return d * Math.sqrt(1 + x * x);
}

/** Seven numbers of a cell into `out`, from `shape`; `smear` is set and `star` as well. */
function setValues(p: usize, frame: i32, out: usize): void {
  const own = p + ((<usize>(frame * perSub)) << 3);
  const seeing = get(own, 0);
  const gx = get(shape, 1);
  const gy = get(shape, 2);
  const a = get(shape, 0) / Math.sqrt(unstretched(gx, gy));
  smear(get(own, 2) / (2 * a), get(own, 3) / (2 * a));
  const x = gx + ex;
  const y = gy + ey;
  set(out, 0, a * Math.sqrt(unstretched(x, y)));
  set(out, 1, x);
  set(out, 2, y);
  const shadow = p + ((<usize>(shared + SHADOW)) << 3);
  const rise = shadowRise(get(wave, 0)) / (seeing * seeing);
  set(star, 0, get(shape, 3) + get(shadow, 0) * rise);
  set(star, 1, get(shape, 4) + get(shadow, 1) * rise);
  set(star, 2, get(shape, 5));
  set(star, 3, get(shape, 6));
  mix(star, ex, ey, k, t, s, mixed);
  for (let i = 0; i < 4; i++) set(out, 3 + i, get(star, i) + get(mixed, i));
  if (perSub == PLAIN) return;
  const kx = get(own, PLAIN);
  const ky = get(own, PLAIN + 1);
  const k2 = kx * kx + ky * ky;
  add(out, 3, kx);
  add(out, 4, ky);
  if (k2 < NO_SKEW) return;
  add(out, 5, (SKEW_TREFOIL * kx * (kx * kx - 3 * ky * ky)) / k2);
  add(out, 6, (SKEW_TREFOIL * ky * (3 * kx * kx - ky * ky)) / k2);
}

function priorsAt(p: usize, out: usize): void {
  for (let i = 0; i < known; i++) {
    const row = rowsKnown + ((<usize>(i * n)) << 3);
    let sum: f64 = 0;
    for (let j = 0; j < n; j++) sum += get(row, j) * get(p, j);
    set(out, cells * SHAPE + i, sum);
  }
}

function values(p: usize, out: usize): void {
  for (let i = 0; i < cells; i++) {
    const frame = <i32>get(places, CELL * i);
    setWave(p, frame, get(places, CELL * i + 1), get(places, CELL * i + 2));
    shapeAt(get(p, frame * perSub), wave, shape);
    setValues(p, frame, out + ((<usize>(i * SHAPE)) << 3));
  }
  priorsAt(p, out);
}

/** rows[q, index] += factor x change[q]. */
function addColumn(rows: usize, index: i32, factor: f64): void {
  for (let q = 0; q < SHAPE; q++) add(rows, q * n + index, factor * get(change, q));
}

function addThird(from: usize, factor: f64): void {
  for (let i = 0; i < 4; i++) add(change, 3 + i, factor * get(from, i));
}

/** What a change of the star without its smear makes of the cell's numbers, into `change`. */
function setChange(slope: usize, mx: f64, my: f64, a: f64, q: f64, x: f64, y: f64, r: f64): void {
  const gx = get(shape, 1);
  const gy = get(shape, 2);
  const sx = get(slope, 1);
  const sy = get(slope, 2);
  const da = get(slope, 0) / q + (get(shape, 0) * (gx * sx + gy * sy)) / (q * q * q);
  const dx = sx - (mx * da) / (2 * a * a);
  const dy = sy - (my * da) / (2 * a * a);
  set(change, 0, da * r - (a * (x * dx + y * dy)) / r);
  set(change, 1, dx);
  set(change, 2, dy);
  const third = slope + 3 * 8;
  for (let i = 0; i < 4; i++) set(change, 3 + i, get(third, i));
  mix(third, ex, ey, k, t, s, mixed);
  addThird(mixed, 1);
  // A wider star is drawn out less by the same smear.
  addThird(lessRound, -da / (2 * a * a));
}

function addShadow(p: usize, frame: i32, u: f64, v: f64, rows: usize): void {
  const seeing = get(p, frame * perSub);
  const d = get(wave, 0);
  const square = seeing * seeing;
  const shadow = p + ((<usize>(shared + SHADOW)) << 3);
  const sx = get(shadow, 0) / square;
  const sy = get(shadow, 1) / square;
  const ratio = d / SHADOW_OUTLINE_UM;
  const x2 = ratio * ratio;
  const rise = shadowRise(d);
  const slope = (1 + 2 * x2) / Math.sqrt(1 + x2);
  putShadow(rows, shared + SHADOW, rise / square, 0);
  putShadow(rows, shared + SHADOW + 1, 0, rise / square);
  putShadow(rows, frame * perSub, (sx * -2 * rise) / seeing, (sy * -2 * rise) / seeing);
  putShadow(rows, frame * perSub + 1, sx * slope, sy * slope);
  putShadow(rows, shared, sx * slope * u, sy * slope * u);
  putShadow(rows, shared + 1, sx * slope * v, sy * slope * v);
  const r2 = u * u + v * v;
  putShadow(rows, shared + CURVATURE, sx * slope * r2, sy * slope * r2);
}

/** coma3's slope by one number, with what the smear makes of it. */
function putShadow(rows: usize, index: i32, x: f64, y: f64): void {
  set(swung, 0, x);
  set(swung, 1, y);
  set(swung, 2, 0);
  set(swung, 3, 0);
  mix(swung, ex, ey, k, t, s, mixed);
  for (let i = 0; i < 4; i++) add(rows, (3 + i) * n + index, get(swung, i) + get(mixed, i));
}

function addSkew(p: usize, frame: i32, rows: usize): void {
  const at = frame * perSub + PLAIN;
  const kx = get(p, at);
  const ky = get(p, at + 1);
  const k2 = kx * kx + ky * ky;
  set(rows, 3 * n + at, 1);
  set(rows, 4 * n + at + 1, 1);
  if (k2 < NO_SKEW) return;
  const cubeX = kx * (kx * kx - 3 * ky * ky);
  const cubeY = ky * (3 * kx * kx - ky * ky);
  const squareX = kx * kx - ky * ky;
  const squareY = 2 * kx * ky;
  set(rows, 5 * n + at, SKEW_TREFOIL * ((3 * squareX) / k2 - (2 * kx * cubeX) / (k2 * k2)));
  set(rows, 5 * n + at + 1, SKEW_TREFOIL * ((-3 * squareY) / k2 - (2 * ky * cubeX) / (k2 * k2)));
  set(rows, 6 * n + at, SKEW_TREFOIL * ((3 * squareY) / k2 - (2 * kx * cubeY) / (k2 * k2)));
  set(rows, 6 * n + at + 1, SKEW_TREFOIL * ((3 * squareX) / k2 - (2 * ky * cubeY) / (k2 * k2)));
}

function slopesOfCell(p: usize, i: i32, out: usize, rows: usize): void {
  const frame = <i32>get(places, CELL * i);
  const u = get(places, CELL * i + 1);
  const v = get(places, CELL * i + 2);
  const own = frame * perSub;
  setWave(p, frame, u, v);
  slopesAt(get(p, own), wave, shape, shapeSlopes);
  setValues(p, frame, out);
  const mx = get(p, own + 2);
  const my = get(p, own + 3);
  const q = Math.sqrt(unstretched(get(shape, 1), get(shape, 2)));
  const a = get(shape, 0) / q;
  const x = get(out, 1);
  const y = get(out, 2);
  const r = Math.sqrt(unstretched(x, y));
  smearSlope(mx, my, lessRound);
  const r2 = u * u + v * v;
  const saddle = u * u - v * v;
  for (let slope = 0; slope < SLOPES; slope++) {
    setChange(shapeSlopes + ((<usize>(slope * SHAPE)) << 3), mx, my, a, q, x, y, r);
    if (slope == 0) {
      addColumn(rows, own + 1, 1);
      addColumn(rows, shared, u);
      addColumn(rows, shared + 1, v);
      addColumn(rows, shared + CURVATURE, r2);
    } else if (slope == 1) {
      addColumn(rows, shared + ASTIGMATISM, 1);
      addColumn(rows, shared + LINEAR_ASTIGMATISM, u);
      addColumn(rows, shared + LINEAR_ASTIGMATISM + 1, -v);
      addColumn(rows, shared + RADIAL_ASTIGMATISM, saddle);
    } else if (slope == 2) {
      addColumn(rows, shared + ASTIGMATISM + 1, 1);
      addColumn(rows, shared + LINEAR_ASTIGMATISM, v);
      addColumn(rows, shared + LINEAR_ASTIGMATISM + 1, u);
      addColumn(rows, shared + RADIAL_ASTIGMATISM, 2 * u * v);
    } else if (slope == 3) {
      addColumn(rows, shared + COMA, 1);
      addColumn(rows, shared + LINEAR_COMA, u);
    } else if (slope == 4) {
      addColumn(rows, shared + COMA + 1, 1);
      addColumn(rows, shared + LINEAR_COMA, v);
    } else if (slope < 7) addColumn(rows, shared + TREFOIL + slope - 5, 1);
    else addColumn(rows, own, 1);
  }
  for (let j = 0; j < 2; j++) {
    const dx: f64 = j == 0 ? 1 / (2 * a) : 0;
    const dy: f64 = j == 0 ? 0 : 1 / (2 * a);
    smearSlope(dx, dy, mixed);
    set(change, 0, (-a * (x * dx + y * dy)) / r);
    set(change, 1, dx);
    set(change, 2, dy);
    for (let m = 0; m < 4; m++) set(change, 3 + m, get(mixed, m));
    addColumn(rows, own + 2 + j, 1);
  }
  addShadow(p, frame, u, v, rows);
  if (perSub > PLAIN) addSkew(p, frame, rows);
}

function slopes(p: usize, out: usize, rows: usize): void {
  const cellRows = (<usize>(SHAPE * n)) << 3;
  for (let i = 0; i < cells; i++) slopesOfCell(p, i, out + ((<usize>(i * SHAPE)) << 3), rows + (<usize>i) * cellRows);
  priorsAt(p, out);
  memory.copy(rows + (<usize>cells) * cellRows, rowsKnown, (<usize>(known * n)) << 3);
}

/**
 * From CURVE_DATA: `count` cells (sub, u, v), `priors` rows of what is known beforehand, then the table. Returns where that ends.
 */
function begin(count: i32, subs: i32, numbersPerSub: i32, priors: i32): usize {
  cells = count;
  perSub = numbersPerSub;
  shared = subs * perSub;
  n = shared + SHARED;
  known = priors;
  places = CURVE_DATA;
  rowsKnown = places + ((<usize>(CELL * cells)) << 3);
  return useTable(rowsKnown + ((<usize>(known * n)) << 3));
}

/** The model at P, all cells and then the priors, written behind the table. */
export function wavefrontValues(count: i32, subs: i32, numbersPerSub: i32, priors: i32): void {
  values(P, begin(count, subs, numbersPerSub, priors));
}

/** The same, and behind it the derivatives, a row of all parameters a point. */
export function wavefrontSlopes(count: i32, subs: i32, numbersPerSub: i32, priors: i32): void {
  const out = begin(count, subs, numbersPerSub, priors);
  const points = cells * SHAPE + known;
  const rows = out + ((<usize>points) << 3);
  memory.fill(rows, 0, (<usize>(points * n)) << 3);
  slopes(P, out, rows);
}

/** What `descend` answers; behind the table stand the measured values and their errors. */
export function descendWavefront(count: i32, subs: i32, numbersPerSub: i32, priors: i32, iterations: i32): f64 {
  const measured = begin(count, subs, numbersPerSub, priors);
  const points = cells * SHAPE + known;
  const length = (<usize>points) << 3;
  return descend(n, points, measured, measured + length, measured + 2 * length, iterations, values, slopes);
}
