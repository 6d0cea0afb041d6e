import { LINES, LINES_TURNED, TWIDDLES, WOVEN } from './layout';
import { cosines, setSineCosine, sines } from './sineCosine';

/** The inner loops of src/optics/psf.ts and pixelStars.ts. Complex numbers: real and imaginary part in turn, one vector each. */

/** Longest transform; a table of its roots serves the shorter ones. */
const LONGEST: i32 = 512;
let prepared: bool = false;

/** exp(-2 pi i k / LONGEST) as (re, re), (-im, im): what the product with another number needs. */
function prepare(): void {
  for (let k = 0; k < LONGEST; k++) {
    Math.sincos((-2 * Math.PI * k) / LONGEST);
    const at = TWIDDLES + ((<usize>k) << 5);
    v128.store(at, f64x2.splat(Math.sincos_cos));
    v128.store(at + 16, f64x2.replace_lane(f64x2.splat(Math.sincos_sin), 0, -Math.sincos_sin));
  }
  prepared = true;
}

/** Lines transformed side by side: a root is loaded once for all of them. */
const SIDE: i32 = 4;
const SIDE_BYTES: usize = 64;

// @ts-ignore: decorators stand on functions here
@inline
function turned(v: v128, re: v128, im: v128): v128 {
  return f64x2.add(f64x2.mul(v, re), f64x2.mul(v128.shuffle<f64>(v, v, 1, 0), im));
}

// @ts-ignore: decorators stand on functions here
@inline
function timesI(v: v128): v128 {
  return f64x2.mul(v128.shuffle<f64>(v, v, 1, 0), f64x2.replace_lane(f64x2.splat(1), 0, -1));
}

/** Four values `away` bytes apart to four `next` bytes apart, three of them turned by their roots. */
// @ts-ignore: decorators stand on functions here
@inline
function butterfly(
  from: usize,
  away: usize,
  to: usize,
  next: usize,
  re1: v128,
  im1: v128,
  re2: v128,
  im2: v128,
  re3: v128,
  im3: v128,
): void {
  const a = v128.load(from);
  const b = v128.load(from + away);
  const c = v128.load(from + 2 * away);
  const d = v128.load(from + 3 * away);
  const ac = f64x2.add(a, c);
  const bd = f64x2.add(b, d);
  const minus = f64x2.sub(a, c);
  const ie = timesI(f64x2.sub(b, d));
  v128.store(to, f64x2.add(ac, bd));
  v128.store(to + next, turned(f64x2.sub(minus, ie), re1, im1));
  v128.store(to + 2 * next, turned(f64x2.sub(ac, bd), re2, im2));
  v128.store(to + 3 * next, turned(f64x2.add(minus, ie), re3, im3));
}

/** The first pass of radix 4, from lines `lane` bytes apart whose values stand `next` bytes apart, to LINES. */
function firstPass(input: usize, next: usize, lane: usize, to: usize, n: i32): void {
  const quarter = n >> 2;
  const away = <usize>quarter * next;
  const step = (<usize>(LONGEST / n)) << 5;
  for (let p: usize = 0; p < <usize>quarter; p++) {
    const w1 = TWIDDLES + p * step;
    const w2 = w1 + p * step;
    const w3 = w2 + p * step;
    const re1 = v128.load(w1);
    const im1 = v128.load(w1, 16);
    const re2 = v128.load(w2);
    const im2 = v128.load(w2, 16);
    const re3 = v128.load(w3);
    const im3 = v128.load(w3, 16);
    for (let q: i32 = 0; q < SIDE; q++) {
      const from = input + p * next + <usize>q * lane;
      butterfly(from, away, to, SIDE_BYTES, re1, im1, re2, im2, re3, im3);
      to += 16;
    }
    to += 3 * SIDE_BYTES;
  }
}

/** A pass of radix 4 in the middle, `s` transforms of length n side by side: Stockham's self-sorting form (Cochran et al. 1967). */
function pass4(x: usize, y: usize, n: i32, s: i32): void {
  const quarter = n >> 2;
  const away = (<usize>(s * quarter)) << 4;
  const next = (<usize>s) << 4;
  const step = (<usize>(LONGEST / n)) << 5;
  for (let p: usize = 0; p < <usize>quarter; p++) {
    const w1 = TWIDDLES + p * step;
    const w2 = w1 + p * step;
    const w3 = w2 + p * step;
    const re1 = v128.load(w1);
    const im1 = v128.load(w1, 16);
    const re2 = v128.load(w2);
    const im2 = v128.load(w2, 16);
    const re3 = v128.load(w3);
    const im3 = v128.load(w3, 16);
    const from = x + next * p;
    const to = y + 4 * next * p;
    for (let q: usize = 0; q < next; q += 16) {
      butterfly(from + q, away, to + q, next, re1, im1, re2, im2, re3, im3);
    }
  }
}

/** The last pass where the length is a power of four: all roots are 1. */
function lastPass4(x: usize, to: usize, next: usize, lane: usize, quarter: i32): void {
  const away = <usize>quarter * SIDE_BYTES;
  const far = <usize>quarter * next;
  for (let p = 0; p < quarter; p++, to += next)
    for (let q: usize = 0, at = to; q < <usize>SIDE; q++, at += lane, x += 16) {
      const a = v128.load(x);
      const b = v128.load(x + away);
      const c = v128.load(x + 2 * away);
      const d = v128.load(x + 3 * away);
      const ac = f64x2.add(a, c);
      const bd = f64x2.add(b, d);
      const minus = f64x2.sub(a, c);
      const ie = timesI(f64x2.sub(b, d));
      v128.store(at, f64x2.add(ac, bd));
      v128.store(at + far, f64x2.sub(minus, ie));
      v128.store(at + 2 * far, f64x2.sub(ac, bd));
      v128.store(at + 3 * far, f64x2.add(minus, ie));
    }
}

/** And where it is twice that. */
function lastPass2(x: usize, to: usize, next: usize, lane: usize, half: i32): void {
  const away = <usize>half * SIDE_BYTES;
  const far = <usize>half * next;
  for (let p = 0; p < half; p++, to += next)
    for (let q: usize = 0, at = to; q < <usize>SIDE; q++, at += lane, x += 16) {
      const a = v128.load(x);
      const b = v128.load(x + away);
      v128.store(at, f64x2.add(a, b));
      v128.store(at + far, f64x2.sub(a, b));
    }
}

/** What is left of SIDE transforms of n values after the first pass, which stand in LINES: to `to`, as firstPass reads them. */
function passes(to: usize, next: usize, lane: usize, n: i32): void {
  let from = LINES;
  let other = LINES_TURNED;
  let s = 4;
  let length = n >> 2;
  for (; length > 4; length >>= 2) {
    pass4(from, other, length, s * SIDE);
    const done = other;
    other = from;
    from = done;
    s <<= 2;
  }
  if (length == 4) lastPass4(from, to, next, lane, s);
  else lastPass2(from, to, next, lane, s);
}

/** Columns of a transposed transform, `count` of them, a multiple of SIDE, each where it stands. */
function transformColumns(output: usize, n: i32, count: i32): void {
  const line = (<usize>n) << 4;
  for (let x = 0; x < count; x += SIDE) {
    const at = output + <usize>x * line;
    firstPass(at, 16, line, LINES, n);
    passes(at, 16, line, n);
  }
}

/** Fft2d of src/numeric/fft2d.ts for n a power of two from 16 to LONGEST: the result comes transposed. */
export function transform(input: usize, output: usize, n: i32, usedRows: i32): void {
  if (!prepared) prepare();
  const line = (<usize>n) << 4;
  if (usedRows < SIDE) memory.fill(input + <usize>usedRows * line, 0, <usize>(SIDE - usedRows) * line);
  if (usedRows < n) memory.fill(output, 0, <usize>n * line);
  for (let y = 0; y < usedRows; y += SIDE) {
    // The last rows again, rather than fewer.
    const row = max(0, min(y, usedRows - SIDE));
    firstPass(input + <usize>row * line, 16, line, LINES, n);
    passes(output + ((<usize>row) << 4), line, 16, n);
  }
  transformColumns(output, n, n);
}

/** Of 2 SIDE rows of real numbers, two by two in one complex row, the first `columns` values of each transform, transposed. */
function transformRealRows(real: usize, output: usize, n: i32, columns: i32): void {
  const line = (<usize>n) << 3;
  // Two rows woven into one of complex numbers, SIDE times, then transformed side by side.
  for (let q = 0; q < SIDE; q++) {
    const even = real + <usize>(2 * q) * line;
    const to = WOVEN + <usize>q * 2 * line;
    for (let o: usize = 0; o < line; o += 16) {
      const a = v128.load(even + o);
      const b = v128.load(even + line + o);
      v128.store(to + 2 * o, v128.shuffle<f64>(a, b, 0, 2));
      v128.store(to + 2 * o + 16, v128.shuffle<f64>(a, b, 1, 3));
    }
  }
  firstPass(WOVEN, 16, 2 * line, LINES, n);
  passes(WOVEN, SIDE_BYTES, 16, n);
  const half = f64x2.splat(0.5);
  const conjugate = f64x2.replace_lane(f64x2.splat(1), 1, -1);
  for (let k = 0; k < columns; k++) {
    const here = WOVEN + <usize>k * SIDE_BYTES;
    const there = WOVEN + <usize>((n - k) & (n - 1)) * SIDE_BYTES;
    const to = output + <usize>k * 2 * line;
    for (let q: usize = 0; q < SIDE_BYTES; q += 16) {
      const z = f64x2.mul(half, v128.load(here + q));
      const w = f64x2.mul(half, f64x2.mul(conjugate, v128.load(there + q)));
      // (z + w) and (z - w) / i.
      v128.store(to + 2 * q, f64x2.add(z, w));
      const apart = f64x2.sub(z, w);
      v128.store(to + 2 * q + 16, f64x2.mul(conjugate, v128.shuffle<f64>(apart, apart, 1, 0)));
    }
  }
}

/** The same of n x n real numbers: the first n/2 + 1 lines, which the others mirror. */
export function transformReal(real: usize, output: usize, n: i32): void {
  if (!prepared) prepare();
  const columns = (n >> 1) + SIDE;
  for (let y = 0; y < n; y += 2 * SIDE)
    transformRealRows(real + ((<usize>(y * n)) << 3), output + ((<usize>y) << 4), n, columns);
  transformColumns(output, n, columns);
}

function pupilRow(
  row: usize,
  cells: usize,
  reach: i32,
  step: f64,
  y: f64,
  wave: f64,
  d: f64,
  ax: f64,
  ay: f64,
  cx: f64,
  cy: f64,
  tx: f64,
  ty: f64,
  s: f64,
  tiltX: f64,
  tiltY: f64,
): void {
  const ys = f64x2.splat(y);
  const yy = f64x2.splat(y * y);
  const end = 2 * reach + 1;
  for (let i = 0; i < end; i += 2) {
    const cell = cells + ((<usize>i) << 3);
    const pair = i + 1 < end;
    const open = pair ? v128.load(cell) : v128.load64_zero(cell);
    if (!v128.any_true(open)) continue;
    const index = <f64>(i - reach);
    const x = f64x2.mul(f64x2.replace_lane(f64x2.splat(index), 1, index + 1), f64x2.splat(step));
    const xx = f64x2.mul(x, x);
    const xy = f64x2.mul(x, ys);
    const r2 = f64x2.add(xx, yy);
    // r2 (d + s r2 + c r) + a (r r) + t (r r r) and the shift's slope.
    let w = f64x2.add(f64x2.splat(d + cy * y), f64x2.mul(f64x2.splat(s), r2));
    w = f64x2.mul(f64x2.add(w, f64x2.mul(f64x2.splat(cx), x)), r2);
    w = f64x2.add(w, f64x2.mul(f64x2.splat(ax), f64x2.sub(xx, yy)));
    w = f64x2.add(w, f64x2.mul(f64x2.splat(2 * ay), xy));
    const three = f64x2.splat(3);
    const cubeX = f64x2.mul(x, f64x2.sub(xx, f64x2.mul(three, yy)));
    const cubeY = f64x2.mul(ys, f64x2.sub(f64x2.mul(three, xx), yy));
    w = f64x2.add(w, f64x2.add(f64x2.mul(f64x2.splat(tx), cubeX), f64x2.mul(f64x2.splat(ty), cubeY)));
    w = f64x2.add(w, f64x2.add(f64x2.mul(f64x2.splat(tiltX), x), f64x2.splat(tiltY * y)));
    setSineCosine(f64x2.mul(f64x2.splat(wave), w));
    const re = f64x2.mul(open, cosines);
    const im = f64x2.mul(open, sines);
    const to = row + ((<usize>i) << 4);
    v128.store(to, v128.shuffle<f64>(re, im, 0, 2));
    if (pair) v128.store(to + 16, v128.shuffle<f64>(re, im, 1, 3));
  }
}

/** writePupil of src/optics/psf.ts. */
export function pupil(
  field: usize,
  size: i32,
  cells: usize,
  reach: i32,
  step: f64,
  wave: f64,
  d: f64,
  ax: f64,
  ay: f64,
  cx: f64,
  cy: f64,
  tx: f64,
  ty: f64,
  s: f64,
  tiltX: f64,
  tiltY: f64,
): void {
  const rows = 2 * reach + 1;
  memory.fill(field, 0, (<usize>(rows * size)) << 4);
  for (let j = 0; j < rows; j++)
    pupilRow(
      field + ((<usize>(j * size)) << 4),
      cells + ((<usize>(j * rows)) << 3),
      reach,
      step,
      <f64>(j - reach) * step,
      wave,
      d,
      ax,
      ay,
      cx,
      cy,
      tx,
      ty,
      s,
      tiltX,
      tiltY,
    );
}

/** sum += weight |field|^2, `count` values. */
export function addIntensity(field: usize, count: i32, weight: f64, sum: usize): void {
  const w = f64x2.splat(weight);
  const end = (<usize>count) << 3;
  for (let o: usize = 0; o < end; o += 16) {
    const p = v128.load(field + 2 * o);
    const q = v128.load(field + 2 * o + 16);
    const pp = f64x2.mul(p, p);
    const qq = f64x2.mul(q, q);
    const squares = f64x2.add(v128.shuffle<f64>(pp, qq, 0, 2), v128.shuffle<f64>(pp, qq, 1, 3));
    v128.store(sum + o, f64x2.add(v128.load(sum + o), f64x2.mul(w, squares)));
  }
}

// @ts-ignore: decorators stand on functions here
@inline
function conjugated(v: v128): v128 {
  return f64x2.mul(v, f64x2.replace_lane(f64x2.splat(1), 1, -1));
}

/** passOn of src/optics/psf.ts where the transfer is real. */
export function passOn(spectrum: usize, transfer: usize, n: i32, out: usize): void {
  for (let i = 0; i <= n >> 1; i++) {
    const row = <usize>(i * n);
    const mirrored = out + ((<usize>(((n - i) & (n - 1)) * n)) << 4);
    for (let j = 0; j < n; j++) {
      const at = row + <usize>j;
      const passed = f64x2.mul(v128.load(spectrum + (at << 4)), v128.load64_splat(transfer + (at << 3)));
      v128.store(out + (at << 4), passed);
      if (i > 0 && 2 * i < n) v128.store(mirrored + ((<usize>((n - j) & (n - 1))) << 4), conjugated(passed));
    }
  }
}

function foldRow(spectrum: usize, transfer: usize, size: i32, mask: i32, out: usize, negligible: f64): void {
  for (let j = 0; j < size; j++) {
    const factor = load<f64>(transfer + ((<usize>j) << 3));
    if (Math.abs(factor) < negligible) continue;
    const to = out + ((<usize>(j & mask)) << 4);
    const light = f64x2.mul(v128.load(spectrum + ((<usize>j) << 4)), f64x2.splat(factor));
    v128.store(to, f64x2.add(v128.load(to), light));
  }
}

/** A row's mirror image, to the row that the other side of it is folded onto. */
function foldMirrored(spectrum: usize, transfer: usize, size: i32, mask: i32, out: usize, negligible: f64): void {
  for (let j = 0; j < size; j++) {
    const factor = load<f64>(transfer + ((<usize>j) << 3));
    if (Math.abs(factor) < negligible) continue;
    const to = out + ((<usize>(-j & mask)) << 4);
    const light = conjugated(f64x2.mul(v128.load(spectrum + ((<usize>j) << 4)), f64x2.splat(factor)));
    v128.store(to, f64x2.add(v128.load(to), light));
  }
}

/** fold of src/optics/pixelStars.ts. */
export function fold(spectrum: usize, transfer: usize, size: i32, across: i32, out: usize, negligible: f64): void {
  const mask = across - 1;
  const line = (<usize>across) << 4;
  memory.fill(out, 0, <usize>across * line);
  for (let i = 0; i <= size >> 1; i++) {
    const from = spectrum + ((<usize>(i * size)) << 4);
    const by = transfer + ((<usize>(i * size)) << 3);
    // In a round transfer's row its middle lets the most through.
    if (Math.abs(load<f64>(by)) < negligible) continue;
    foldRow(from, by, size, mask, out + <usize>(i & mask) * line, negligible);
    if (i > 0 && 2 * i < size) foldMirrored(from, by, size, mask, out + <usize>(-i & mask) * line, negligible);
  }
}
