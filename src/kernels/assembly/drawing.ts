import { LINE, TWIDDLES } from './layout';

/** The inner loops of src/optics/psf.ts and pixelStars.ts. Complex numbers: real and imaginary part in turn, one vector each. */

/** Longest transform; a table of its roots serves the shorter ones. */
const LONGEST: i32 = 512;
/** Rows and columns copied together when transposing, so that both sides stay in the cache. */
const BLOCK: i32 = 16;

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

// @ts-ignore: decorators stand on functions here
@inline
function turned(v: v128, root: usize): v128 {
  return f64x2.add(
    f64x2.mul(v, v128.load(root)),
    f64x2.mul(v128.shuffle<f64>(v, v, 1, 0), v128.load(root + 16)),
  );
}

/** One pass of radix 4, `s` transforms of length n side by side: Stockham's self-sorting form (Cochran et al. 1967). */
function pass4(x: usize, y: usize, n: i32, s: i32): void {
  const quarter = n >> 2;
  const plusI = f64x2.replace_lane(f64x2.splat(1), 0, -1);
  const away = (<usize>(s * quarter)) << 4;
  const next = (<usize>s) << 4;
  const end = next;
  const step = LONGEST / n;
  for (let p = 0; p < quarter; p++) {
    const w1 = TWIDDLES + ((<usize>(p * step)) << 5);
    const w2 = TWIDDLES + ((<usize>(2 * p * step)) << 5);
    const w3 = TWIDDLES + ((<usize>(3 * p * step)) << 5);
    const from = x + ((<usize>(s * p)) << 4);
    const to = y + ((<usize>(4 * s * p)) << 4);
    for (let q: usize = 0; q < end; q += 16) {
      const a = v128.load(from + q);
      const b = v128.load(from + q + away);
      const c = v128.load(from + q + 2 * away);
      const d = v128.load(from + q + 3 * away);
      const ac = f64x2.add(a, c);
      const bd = f64x2.add(b, d);
      const minus = f64x2.sub(a, c);
      const e = f64x2.sub(b, d);
      const ie = f64x2.mul(v128.shuffle<f64>(e, e, 1, 0), plusI);
      v128.store(to + q, f64x2.add(ac, bd));
      v128.store(to + q + next, turned(f64x2.sub(minus, ie), w1));
      v128.store(to + q + 2 * next, turned(f64x2.sub(ac, bd), w2));
      v128.store(to + q + 3 * next, turned(f64x2.add(minus, ie), w3));
    }
  }
}

/** The last pass where the length is twice a power of four. */
function pass2(x: usize, y: usize, s: i32): void {
  const away = (<usize>s) << 4;
  for (let q: usize = 0; q < away; q += 16) {
    const a = v128.load(x + q);
    const b = v128.load(x + q + away);
    v128.store(y + q, f64x2.add(a, b));
    v128.store(y + q + away, f64x2.sub(a, b));
  }
}

/** Transform in place of one line of n values. */
function transformLine(line: usize, n: i32): void {
  let from = line;
  let to = LINE;
  let s = 1;
  let length = n;
  for (; length >= 4; length >>= 2) {
    pass4(from, to, length, s);
    const done = to;
    to = from;
    from = done;
    s <<= 2;
  }
  if (length == 2) {
    pass2(from, to, s);
    from = to;
  }
  if (from != line) memory.copy(line, from, (<usize>n) << 4);
}

function transposeRows(from: usize, to: usize, n: i32, y0: i32, y1: i32): void {
  for (let x0 = 0; x0 < n; x0 += BLOCK)
    for (let y = y0; y < y1; y++) {
      const row = from + ((<usize>(y * n)) << 4);
      for (let x = x0; x < x0 + BLOCK; x++)
        v128.store(to + ((<usize>(x * n + y)) << 4), v128.load(row + ((<usize>x) << 4)));
    }
}

/** Fft2d of src/numeric/fft2d.ts for n a power of two from 16 to LONGEST: the result comes transposed. */
export function transform(input: usize, output: usize, n: i32, usedRows: i32): void {
  if (!prepared) prepare();
  for (let y = 0; y < usedRows; y++) transformLine(input + ((<usize>(y * n)) << 4), n);
  if (usedRows < n) memory.fill(output, 0, (<usize>(n * n)) << 4);
  for (let y = 0; y < usedRows; y += BLOCK) transposeRows(input, output, n, y, min(usedRows, y + BLOCK));
  for (let x = 0; x < n; x++) transformLine(output + ((<usize>(x * n)) << 4), n);
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
  for (let i = -reach; i <= reach; i++) {
    const at = <usize>(i + reach);
    const open = load<f64>(cells + (at << 3));
    if (open == 0) continue;
    const x = <f64>i * step;
    const r2 = x * x + y * y;
    const w =
      r2 * (d + s * r2 + cx * x + cy * y) +
      ax * (x * x - y * y) +
      2 * ay * x * y +
      tx * x * (x * x - 3 * y * y) +
      ty * y * (3 * x * x - y * y);
    Math.sincos(wave * (w + tiltX * x + tiltY * y));
    store<f64>(row + (at << 4), open * Math.sincos_cos);
    store<f64>(row + (at << 4) + 8, open * Math.sincos_sin);
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

/** Real numbers as complex ones. */
export function asComplex(real: usize, count: i32, out: usize): void {
  for (let i: usize = 0; i < <usize>count; i++) {
    store<f64>(out + (i << 4), load<f64>(real + (i << 3)));
    store<f64>(out + (i << 4) + 8, 0);
  }
}

function foldRow(spectrum: usize, transfer: usize, size: i32, mask: i32, out: usize, negligible: f64): void {
  for (let j = 0; j < size; j++) {
    const factor = load<f64>(transfer + ((<usize>j) << 3));
    if (factor < negligible) continue;
    const to = out + ((<usize>(j & mask)) << 4);
    const light = f64x2.mul(v128.load(spectrum + ((<usize>j) << 4)), f64x2.splat(factor));
    v128.store(to, f64x2.add(v128.load(to), light));
  }
}

/** fold of src/optics/pixelStars.ts. */
export function fold(spectrum: usize, transfer: usize, size: i32, across: i32, out: usize, negligible: f64): void {
  const mask = across - 1;
  memory.fill(out, 0, (<usize>(across * across)) << 4);
  for (let i = 0; i < size; i++)
    foldRow(
      spectrum + ((<usize>(i * size)) << 4),
      transfer + ((<usize>(i * size)) << 3),
      size,
      mask,
      out + ((<usize>((i & mask) * across)) << 4),
      negligible,
    );
}
