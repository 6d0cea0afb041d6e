import { LEVEL, NOISE, PLACES, PREVIEW, SAMPLES, TOLD_DX, TOLD_DY } from './layout';
import { get, set } from './linear';

/** Points of a ring, and rings that it may grow through. */
const POINTS: i32 = 16;

function pixel(data: usize, k: i32): f64 {
  return <f64>load<u16>(data + ((<usize>k) << 1));
}

function node(mesh: usize, k: i32): f64 {
  return <f64>load<f32>(mesh + ((<usize>k) << 2));
}

/** meshAt of src/stars/background.ts. */
function meshAt(mesh: usize, cell: f64, columns: i32, rows: i32, x: f64, y: f64): f64 {
  const u = min<f64>(<f64>(columns - 1), max<f64>(0, (x + 0.5) / cell - 0.5));
  const v = min<f64>(<f64>(rows - 1), max<f64>(0, (y + 0.5) / cell - 0.5));
  const i0 = max(0, min(columns - 2, <i32>Math.floor(u)));
  const j0 = max(0, min(rows - 2, <i32>Math.floor(v)));
  const i1 = min(columns - 1, i0 + 1);
  const j1 = min(rows - 1, j0 + 1);
  const fu = u - <f64>i0;
  const fv = v - <f64>j0;
  const top = node(mesh, j0 * columns + i0) * (1 - fu) + node(mesh, j0 * columns + i1) * fu;
  const bottom = node(mesh, j1 * columns + i0) * (1 - fu) + node(mesh, j1 * columns + i1) * fu;
  return top * (1 - fv) + bottom * fv;
}

/** Median of the n values in SAMPLES, float64, n <= 16: sorted by insertion. */
function medianOf(n: i32): f64 {
  for (let i = 1; i < n; i++) {
    const v = get(SAMPLES, i);
    let j = i - 1;
    while (j >= 0 && get(SAMPLES, j) > v) {
      set(SAMPLES, j + 1, get(SAMPLES, j));
      j--;
    }
    set(SAMPLES, j + 1, v);
  }
  const middle = n >> 1;
  return (n & 1) == 1 ? get(SAMPLES, middle) : (get(SAMPLES, middle - 1) + get(SAMPLES, middle)) / 2;
}

/**
 * The expensive tests of src/stars/detect.ts (inspect) on the PLACES from .. to. TOLD_DX and TOLD_DY hold the whole-numbered
 * offsets of `rings` rings of 16 points, float64. Writes x, y, highest, peak, smoothed, contrast, noise, spread of each candidate
 * into PREVIEW, float64, from the place of the first on; returns how many there are.
 */
export function inspect(
  data: usize,
  width: i32,
  height: i32,
  columns: i32,
  rows: i32,
  cell: f64,
  rings: i32,
  needed: f64,
  from: i32,
  to: i32,
): i32 {
  let found = 0;
  for (let p = from; p < to; p++) {
    const k = <i32>load<u32>(PLACES + ((<usize>p) << 2));
    const x = k % width;
    const y = k / width;
    const sky = meshAt(LEVEL, cell, columns, rows, <f64>x, <f64>y);
    const noise = meshAt(NOISE, cell, columns, rows, <f64>x, <f64>y);
    const here = pixel(data, k);
    const west = pixel(data, k - 1);
    const east = pixel(data, k + 1);
    const north = pixel(data, k - width);
    const south = pixel(data, k + width);
    const corners =
      pixel(data, k - width - 1) + pixel(data, k - width + 1) + pixel(data, k + width - 1) + pixel(data, k + width + 1);
    const sides = west + east + north + south;
    const smoothed = (here * 4 + 2 * sides + corners) / 16 - sky;
    const peak = here - sky;
    if (!(smoothed > needed * noise)) continue;
    let contrast = -Infinity;
    for (let ring = 0; ring < rings; ring++) {
      let n = 0;
      for (let i = 0; i < POINTS; i++) {
        const u = x + <i32>get(TOLD_DX, ring * POINTS + i);
        const v = y + <i32>get(TOLD_DY, ring * POINTS + i);
        if (u < 0 || v < 0 || u >= width || v >= height) continue;
        set(SAMPLES, n, pixel(data, v * width + u));
        n++;
      }
      contrast = max<f64>(contrast, smoothed + sky - medianOf(n));
      if (contrast > 0.5 * smoothed) break;
    }
    if (contrast < needed * noise || contrast < 0.25 * smoothed) continue;
    const at = PREVIEW + ((<usize>(from + found)) << 6);
    set(at, 0, <f64>x);
    set(at, 1, <f64>y);
    set(at, 2, max<f64>(here, max<f64>(max<f64>(east, west), max<f64>(south, north))));
    set(at, 3, peak);
    set(at, 4, smoothed);
    set(at, 5, contrast);
    set(at, 6, noise);
    set(at, 7, ((sides + corners) / 8 - sky) / peak);
    found++;
  }
  return found;
}

/**
 * Connected pixels above `limit` from (x, y) on, at most `half` pixels away; 0 where fewer than `least` reach that far
 * (src/stars/detect.ts, areaAboveHalf).
 */
export function area(
  data: usize,
  width: i32,
  height: i32,
  x: i32,
  y: i32,
  limit: f64,
  half: i32,
  least: f64,
): i32 {
  const side = 2 * half + 1;
  const seen = PREVIEW;
  const stack = PLACES;
  memory.fill(seen, 0, <usize>(side * side));
  let depth = 1;
  store<u32>(stack, <u32>(half * side + half));
  store<u8>(seen + <usize>(half * side + half), 1);
  let found = 0;
  let leaves = false;
  while (depth > 0) {
    depth--;
    const place = <i32>load<u32>(stack + ((<usize>depth) << 2));
    found++;
    const u = place % side;
    const v = place / side;
    if (u == 0 || v == 0 || u == side - 1 || v == side - 1) leaves = true;
    for (let way = 0; way < 4; way++) {
      const a = u + (way == 0 ? 1 : way == 1 ? -1 : 0);
      const b = v + (way == 2 ? 1 : way == 3 ? -1 : 0);
      const px = x + a - half;
      const py = y + b - half;
      if (a < 0 || b < 0 || a >= side || b >= side || px < 0 || py < 0 || px >= width || py >= height) continue;
      const next = b * side + a;
      if (load<u8>(seen + <usize>next) == 1 || !(pixel(data, py * width + px) > limit)) continue;
      store<u8>(seen + <usize>next, 1);
      store<u32>(stack + ((<usize>depth) << 2), <u32>next);
      depth++;
    }
  }
  return leaves && <f64>found < least ? 0 : found;
}
