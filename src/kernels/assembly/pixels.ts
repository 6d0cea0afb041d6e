import { COLUMN_SUMS, COUNTED, COUNTS, LEVEL, NOISE, OUT, PLACES, PREVIEW, SAMPLES, SAMPLES_TURNED } from './layout';

/** Turns big-endian 16-bit values `from` to `to` to the machine's order, in place, and their top bit where `flip` is 0x8000. */
export function swap16(data: usize, flip: i32, from: i32, to: i32): void {
  const turned = i16x8.splat(<i16>flip);
  let k = from;
  for (; k + 8 <= to; k += 8) {
    const at = data + ((<usize>k) << 1);
    const v = v128.load(at);
    v128.store(at, v128.xor(i8x16.shuffle(v, v, 1, 0, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 15, 14), turned));
  }
  for (; k < to; k++) {
    const at = data + ((<usize>k) << 1);
    store<u16>(at, bswap<u16>(load<u16>(at)) ^ <u16>flip);
  }
}

/** Means of block x block pixels into PREVIEW, float32, rows `from` to `to`; what is left over at the right is dropped. */
export function binBlocks(
  data: usize,
  frameWidth: i32,
  frameHeight: i32,
  block: i32,
  width: i32,
  from: i32,
  to: i32,
): void {
  for (let row = from; row < to; row++) {
    const rows = min(block, frameHeight - row * block);
    const full = <f64>(rows * block);
    const first = data + ((<usize>(row * block) * <usize>frameWidth) << 1);
    const used = width * block;
    // Sums of columns, eight at a time, then of blocks.
    let x = 0;
    for (; x + 8 <= used; x += 8) {
      let left = i32x4.splat(0);
      let right = i32x4.splat(0);
      let at = first + ((<usize>x) << 1);
      for (let line = 0; line < rows; line++) {
        const pixels = v128.load(at);
        left = i32x4.add(left, i32x4.extend_low_i16x8_u(pixels));
        right = i32x4.add(right, i32x4.extend_high_i16x8_u(pixels));
        at += (<usize>frameWidth) << 1;
      }
      const to = COLUMN_SUMS + ((<usize>x) << 2);
      v128.store(to, left);
      v128.store(to, right, 16);
    }
    for (; x < used; x++) {
      let sum: u32 = 0;
      for (let line = 0; line < rows; line++) sum += load<u16>(first + ((<usize>(line * frameWidth + x)) << 1));
      store<u32>(COLUMN_SUMS + ((<usize>x) << 2), sum);
    }
    let at = COLUMN_SUMS;
    for (let column = 0; column < width; column++) {
      let sum: u32 = 0;
      for (let i = 0; i < block; i++) {
        sum += load<u32>(at);
        at += 4;
      }
      store<f32>(PREVIEW + ((<usize>(row * width + column)) << 2), <f32>(<f64>sum / full));
    }
  }
}

/**
 * Means `from` to `to` of PREVIEW as greys 0..255, into their own place: nothing up to `black`, `top` from `black` + `range` on,
 * between them the midtone curve (src/report/preview.ts). Called in ascending pieces that begin at even numbers.
 */
export function stretch(from: i32, to: i32, black: f64, range: f64, midtone: f64, top: f64): void {
  const zero = f64x2.splat(0);
  const one = f64x2.splat(1);
  const low = f64x2.splat(black);
  const width = f64x2.splat(range);
  const rise = f64x2.splat(top * (midtone - 1));
  const bend = f64x2.splat(2 * midtone - 1);
  const middle = f64x2.splat(midtone);
  for (let i = from; i < to; i += 2) {
    const means = f64x2.promote_low_f32x4(v128.load64_zero(PREVIEW + ((<usize>i) << 2)));
    // The order makes NaN zero.
    const x = f64x2.pmin(one, f64x2.pmax(zero, f64x2.div(f64x2.sub(means, low), width)));
    const grey = f64x2.div(f64x2.mul(rise, x), f64x2.sub(f64x2.mul(bend, x), middle));
    const whole = i32x4.trunc_sat_f64x2_s_zero(grey);
    store<u16>(PREVIEW + <usize>i, <u16>(i32x4.extract_lane(whole, 0) | (i32x4.extract_lane(whole, 1) << 8)));
  }
}

/** SAMPLES ascending: two passes of counting, low byte then high byte. */
function sortSamples(n: i32): void {
  memory.fill(COUNTS, 0, 2048);
  for (let k = 0; k < n; k++) {
    const v = load<u16>(SAMPLES + ((<usize>k) << 1));
    const low = COUNTS + ((<usize>(v & 255)) << 2);
    const high = COUNTS + 1024 + ((<usize>(v >> 8)) << 2);
    store<u32>(low, load<u32>(low) + 1);
    store<u32>(high, load<u32>(high) + 1);
  }
  let a: u32 = 0;
  let b: u32 = 0;
  for (let i = 0; i < 256; i++) {
    const low = COUNTS + ((<usize>i) << 2);
    const high = low + 1024;
    const inLow = load<u32>(low);
    const inHigh = load<u32>(high);
    store<u32>(low, a);
    store<u32>(high, b);
    a += inLow;
    b += inHigh;
  }
  for (let k = 0; k < n; k++) {
    const v = load<u16>(SAMPLES + ((<usize>k) << 1));
    const slot = COUNTS + ((<usize>(v & 255)) << 2);
    const to = load<u32>(slot);
    store<u32>(slot, to + 1);
    store<u16>(SAMPLES_TURNED + ((<usize>to) << 1), v);
  }
  for (let k = 0; k < n; k++) {
    const v = load<u16>(SAMPLES_TURNED + ((<usize>k) << 1));
    const slot = COUNTS + 1024 + ((<usize>(v >> 8)) << 2);
    const to = load<u32>(slot);
    store<u32>(slot, to + 1);
    store<u16>(SAMPLES + ((<usize>to) << 1), v);
  }
}

function sample(k: i32): f64 {
  return <f64>load<u16>(SAMPLES + ((<usize>k) << 1));
}

function lowerBound(value: f64, length: i32): i32 {
  let low = 0;
  let high = length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sample(middle) < value) low = middle + 1;
    else high = middle;
  }
  return low;
}

function quantile(from: i32, n: i32, q: f64): f64 {
  const position = q * <f64>(n - 1);
  const i = <i32>Math.floor(position);
  const fraction = position - <f64>i;
  const a = sample(from + i);
  return fraction == 0 ? a : a + fraction * (sample(from + i + 1) - a);
}

/** Values that are counted one by one: the sky's of any usual frame. */
const SPAN: i32 = 4096;
/** COUNTED holds how many samples lie at `lowest` + k or below, for k below `span`. */
let lowest: i32 = 0;
let span: i32 = 0;

function counted(k: i32): i32 {
  return load<u32>(COUNTED + ((<usize>k) << 2));
}

/** Counts SAMPLES, `least` to `most`; false where too many lie beyond SPAN. */
function countSamples(n: i32, least: i32, most: i32): bool {
  lowest = least;
  span = min(SPAN, most - least + 1);
  memory.fill(COUNTED, 0, (<usize>span) << 2);
  for (let k = 0; k < n; k++) {
    const at = <i32>load<u16>(SAMPLES + ((<usize>k) << 1)) - least;
    if (at >= span) continue;
    const slot = COUNTED + ((<usize>at) << 2);
    store<u32>(slot, load<u32>(slot) + 1);
  }
  let sum: u32 = 0;
  for (let k = 0; k < span; k++) {
    const slot = COUNTED + ((<usize>k) << 2);
    sum += load<u32>(slot);
    store<u32>(slot, sum);
  }
  return 4 * <i32>sum > 3 * n;
}

/** As `quantile`, of counted samples. */
function countedQuantile(from: i32, n: i32, q: f64): f64 {
  const position = q * <f64>(n - 1);
  const i = <i32>Math.floor(position);
  const fraction = position - <f64>i;
  let low = 0;
  let high = span - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (counted(middle) > from + i) high = middle;
    else low = middle + 1;
  }
  const a = <f64>(lowest + low);
  if (fraction == 0) return a;
  while (low < span - 1 && counted(low) <= from + i + 1) low++;
  return a + fraction * (<f64>(lowest + low) - a);
}

/** How many of the n samples lie below `value`; -1 where that was not counted. */
function countedBelow(value: f64, n: i32): i32 {
  const k = <i32>Math.ceil(value) - 1 - lowest;
  if (k < 0) return 0;
  if (k < span) return counted(k);
  return counted(span - 1) == n ? n : -1;
}

/**
 * Median and sigma of the samples, sorted or counted, clipped as src/numeric/statistics.ts (clipSorted) does, into OUT; false where
 * counted ones would have to be sorted.
 */
function clipSamples(length: i32, sorted: bool): bool {
  let from = 0;
  let to = length;
  let centre: f64 = 0;
  let sigma: f64 = 0;
  for (let round = 0; round < 10; round++) {
    const n = to - from;
    centre = sorted ? quantile(from, n, 0.5) : countedQuantile(from, n, 0.5);
    sigma = centre - (sorted ? quantile(from, n, 0.1587) : countedQuantile(from, n, 0.1587));
    const least = centre - 3 * sigma;
    const most = centre + 3 * sigma;
    const newFrom = sorted ? lowerBound(least, length) : countedBelow(least, length);
    const newTo = sorted ? lowerBound(most, length) : countedBelow(most, length);
    if (newTo < 0) return false;
    if (sigma == 0 || newTo - newFrom < 8 || (newFrom == from && newTo == to)) break;
    from = newFrom;
    to = newTo;
  }
  store<f64>(OUT, centre);
  store<f64>(OUT + 8, sigma);
  return true;
}

/**
 * Clipped median and noise of the cells of mesh rows `from` to `to` into LEVEL and NOISE, float32; cells with fewer than `least` samples are left alone.
 * `samples` is how many are wanted of a cell; `greenParity` -1 for mono.
 */
export function mesh(
  data: usize,
  width: i32,
  height: i32,
  columns: i32,
  rows: i32,
  greenParity: i32,
  samples: i32,
  least: i32,
  from: i32,
  to: i32,
): void {
  for (let j = from; j < to; j++) {
    const y0 = <i32>((<i64>j * height) / rows);
    const y1 = <i32>((<i64>(j + 1) * height) / rows);
    for (let i = 0; i < columns; i++) {
      const x0 = <i32>((<i64>i * width) / columns);
      const x1 = <i32>((<i64>(i + 1) * width) / columns);
      const area = (x1 - x0) * (y1 - y0);
      const step = max(1, area / (greenParity < 0 ? samples : 2 * samples));
      const stride = max(1, <i32>Math.round(Math.sqrt(<f64>step))) | 1;
      const rowStride = max(1, <i32>Math.round(<f64>step / <f64>stride));
      let n = 0;
      let darkest: i32 = 65535;
      let brightest: i32 = 0;
      for (let y = y0; y < y1; y += rowStride) {
        const row = data + ((<usize>y * <usize>width) << 1);
        for (let x = x0 + (y % stride); x < x1 && n < 2 * samples; x += stride) {
          if (greenParity >= 0 && ((x + y) & 1) != greenParity) continue;
          const v = <i32>load<u16>(row + ((<usize>x) << 1));
          store<u16>(SAMPLES + ((<usize>n) << 1), <u16>v);
          darkest = min(darkest, v);
          brightest = max(brightest, v);
          n++;
        }
      }
      if (n < least) continue;
      if (!(countSamples(n, darkest, brightest) && clipSamples(n, false))) {
        sortSamples(n);
        clipSamples(n, true);
      }
      const at = (<usize>(j * columns + i)) << 2;
      store<f32>(LEVEL + at, <f32>load<f64>(OUT));
      store<f32>(NOISE + at, <f32>load<f64>(OUT + 8));
    }
  }
}

/** Median of every cell of LEVEL and its up to eight neighbours into PLACES, float32. */
export function smoothMesh(columns: i32, rows: i32): void {
  for (let j = 0; j < rows; j++)
    for (let i = 0; i < columns; i++) {
      let n = 0;
      for (let v = max(0, j - 1); v <= min(rows - 1, j + 1); v++)
        for (let u = max(0, i - 1); u <= min(columns - 1, i + 1); u++) {
          const value = load<f32>(LEVEL + ((<usize>(v * columns + u)) << 2));
          let k = n++;
          for (; k > 0 && load<f32>(SAMPLES + ((<usize>(k - 1)) << 2)) > value; k--)
            store<f32>(SAMPLES + ((<usize>k) << 2), load<f32>(SAMPLES + ((<usize>(k - 1)) << 2)));
          store<f32>(SAMPLES + ((<usize>k) << 2), value);
        }
      const upper = load<f32>(SAMPLES + ((<usize>(n >> 1)) << 2));
      const lower = load<f32>(SAMPLES + ((<usize>((n - 1) >> 1)) << 2));
      store<f32>(PLACES + ((<usize>(j * columns + i)) << 2), <f32>((<f64>lower + <f64>upper) / 2));
    }
}

function isMaximum(at: usize, width: usize): bool {
  const v = load<u16>(at);
  const up = at - (width << 1);
  const down = at + (width << 1);
  return (
    v >= load<u16>(at + 2) &&
    v >= load<u16>(down - 2) &&
    v >= load<u16>(down) &&
    v >= load<u16>(down + 2) &&
    v > load<u16>(at - 2) &&
    v > load<u16>(up - 2) &&
    v > load<u16>(up) &&
    v > load<u16>(up + 2)
  );
}

/**
 * Pixels above LEVEL + threshold x NOISE of their cell and above their eight neighbours (of equal ones the first counts), in
 * stored order. Rows `from` to `to`, `step` of them at a time: each such piece has `room` places for their indices in PLACES.
 * Returns how many there are, which may be more than `room`.
 */
export function localMaxima(
  data: usize,
  width: i32,
  height: i32,
  columns: i32,
  rows: i32,
  threshold: f64,
  step: i32,
  room: i32,
  from: i32,
  to: i32,
): i32 {
  const places = PLACES + ((<usize>((from / step) * room)) << 2);
  let count = 0;
  for (let y = max(2, from); y < min(to, height - 2); y++) {
    const meshRow = min(rows - 1, <i32>((<i64>y * rows) / height)) * columns;
    const row = data + ((<usize>y * <usize>width) << 1);
    for (let i = 0; i < columns; i++) {
      const x1 = min(width - 2, <i32>((<i64>(i + 1) * width) / columns));
      const mesh = (<usize>(meshRow + i)) << 2;
      const limit = <f64>load<f32>(LEVEL + mesh) + threshold * <f64>load<f32>(NOISE + mesh);
      // A whole number stands above the limit where it stands above its floor.
      const whole = Math.floor(limit);
      if (whole >= 65535) continue;
      const all = whole < 0;
      const limits = i16x8.splat(<i16>(<i32>max(0.0, whole)));
      let x = max(2, <i32>((<i64>i * width) / columns));
      while (x < x1) {
        // Most of the sky: nothing in 32 pixels.
        while (!all && x + 32 <= x1) {
          const at = row + ((<usize>x) << 1);
          const any = v128.or(
            v128.or(i16x8.gt_u(v128.load(at), limits), i16x8.gt_u(v128.load(at, 16), limits)),
            v128.or(i16x8.gt_u(v128.load(at, 32), limits), i16x8.gt_u(v128.load(at, 48), limits)),
          );
          if (v128.any_true(any)) break;
          x += 32;
        }
        if (x >= x1) break;
        const wide = x1 - x >= 8;
        let hits = all ? 255 : wide ? i16x8.bitmask(i16x8.gt_u(v128.load(row + ((<usize>x) << 1)), limits)) : 255;
        if (!wide) hits &= (1 << (x1 - x)) - 1;
        while (hits != 0) {
          const lane = ctz(hits);
          hits &= hits - 1;
          const at = row + ((<usize>(x + lane)) << 1);
          if (!(<f64>load<u16>(at) > limit)) continue;
          if (!isMaximum(at, <usize>width)) continue;
          if (count < room) store<u32>(places + ((<usize>count) << 2), <u32>((at - data) >> 1));
          count++;
        }
        x += 8;
      }
    }
  }
  return count;
}
