import { DX, DY, MAX_RING, OUT, RING_DX, RING_DY, RING_ORDERED, RING_VALUE, SMALL, VALUE, WEIGHT } from './layout';
import { kthSmallest } from './kthSmallest';
import { decompose, get, set, substitute } from './linear';

/** Whether pixels are float32 (NaN: no value), not 16-bit. */
let floats: bool = false;

export function setFloats(are: bool): void {
  floats = are;
}

function pixel(data: usize, k: i32): f64 {
  return floats ? <f64>load<f32>(data + ((<usize>k) << 2)) : <f64>load<u16>(data + ((<usize>k) << 1));
}

function isSpike(data: usize, width: i32, height: i32, greenParity: i32, x: i32, y: i32, limit: f64): bool {
  if (x < 2 || y < 2 || x >= width - 2 || y >= height - 2) return false;
  const k = y * width + x;
  if (
    !(
      pixel(data, k - width - 1) < limit &&
      pixel(data, k - width + 1) < limit &&
      pixel(data, k + width - 1) < limit &&
      pixel(data, k + width + 1) < limit
    )
  )
    return false;
  const step = greenParity < 0 ? 1 : 2;
  return (
    pixel(data, k - step) < limit &&
    pixel(data, k + step) < limit &&
    pixel(data, k - step * width) < limit &&
    pixel(data, k + step * width) < limit
  );
}

/** cutStamp of src/shapes/stamp.ts for pixels without a mask: the lists, and OUT = origin x, y, coverage. */
export function cut(
  data: usize,
  width: i32,
  height: i32,
  greenParity: i32,
  x: f64,
  y: f64,
  radius: f64,
  spike: f64,
  slopeX: f64,
  slopeY: f64,
): i32 {
  const outer = radius + 0.5;
  const originX = <i32>Math.floor(x + 0.5);
  const originY = <i32>Math.floor(y + 0.5);
  const fx = x - <f64>originX;
  const fy = y - <f64>originY;
  const reach = <i32>Math.ceil(outer);
  const spikes = isFinite(spike);
  let n = 0;
  let wanted = 0;
  for (let j = -reach; j <= reach; j++) {
    const py = originY + j;
    const ey = <f64>j - fy;
    for (let i = -reach; i <= reach; i++) {
      const ex = <f64>i - fx;
      const distance = Math.sqrt(ex * ex + ey * ey);
      if (distance >= outer) continue;
      const px = originX + i;
      if (greenParity >= 0 && ((px + py) & 1) != greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height) continue;
      const v = pixel(data, py * width + px);
      if (v != v) continue;
      if (distance > 2 && spikes && isSpike(data, width, height, greenParity, px, py, v - spike)) continue;
      set(DX, n, <f64>i);
      set(DY, n, <f64>j);
      set(VALUE, n, v - slopeX * <f64>i - slopeY * <f64>j);
      set(WEIGHT, n, min<f64>(1, outer - distance));
      n++;
    }
  }
  set(OUT, 0, <f64>originX);
  set(OUT, 1, <f64>originY);
  set(OUT, 2, wanted == 0 ? 0 : <f64>n / <f64>wanted);
  return n;
}

function gatherRing(
  data: usize,
  width: i32,
  height: i32,
  greenParity: i32,
  x: f64,
  y: f64,
  inner: f64,
  outer: f64,
  share: f64,
): i32 {
  const reach = <i32>Math.ceil(outer);
  const cx = <i32>Math.floor(x + 0.5);
  const cy = <i32>Math.floor(y + 0.5);
  let n = 0;
  let wanted = 0;
  for (let j = -reach; j <= reach; j++)
    for (let i = -reach; i <= reach; i++) {
      const r2 = <f64>(i * i + j * j);
      if (r2 < inner * inner || r2 > outer * outer) continue;
      const px = cx + i;
      const py = cy + j;
      if (greenParity >= 0 && ((px + py) & 1) != greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height || n == MAX_RING) continue;
      const v = pixel(data, py * width + px);
      if (v != v) continue;
      set(RING_DX, n, <f64>i);
      set(RING_DY, n, <f64>j);
      set(RING_VALUE, n, v);
      n++;
    }
  return <f64>n >= share * <f64>min(wanted, MAX_RING) && n >= 12 ? n : 0;
}

/** backgroundSlope of src/shapes/backgroundSlope.ts for pixels without a mask: OUT = slope x, y. */
export function slope(
  data: usize,
  width: i32,
  height: i32,
  greenParity: i32,
  x: f64,
  y: f64,
  inner: f64,
  outer: f64,
  share: f64,
  clip: f64,
  rounds: i32,
): void {
  set(OUT, 0, 0);
  set(OUT, 1, 0);
  const count = gatherRing(data, width, height, greenParity, x, y, inner, outer, share);
  if (count == 0) return;
  memory.copy(RING_ORDERED, RING_VALUE, (<usize>count) << 3);
  let level = kthSmallest(RING_ORDERED, count >> 1, count);
  let sx: f64 = 0;
  let sy: f64 = 0;
  const normal = SMALL;
  const right = SMALL + 72;
  const lower = SMALL + 96;
  const scale = SMALL + 168;
  const kept = SMALL + 192;
  for (let round = 0; round < rounds; round++) {
    let n: f64 = 0;
    let mx: f64 = 0;
    let my: f64 = 0;
    let mxx: f64 = 0;
    let mxy: f64 = 0;
    let myy: f64 = 0;
    let r0: f64 = 0;
    let rx: f64 = 0;
    let ry: f64 = 0;
    for (let k = 0; k < count; k++) {
      const dx = get(RING_DX, k);
      const dy = get(RING_DY, k);
      const value = get(RING_VALUE, k);
      if (Math.abs(value - level - sx * dx - sy * dy) > clip) continue;
      n++;
      mx += dx;
      my += dy;
      mxx += dx * dx;
      mxy += dx * dy;
      myy += dy * dy;
      r0 += value;
      rx += value * dx;
      ry += value * dy;
    }
    if (n < 0.5 * <f64>count) return;
    // The same pixels as before: so would every further round be.
    if (round > 0 && n == get(normal, 0) && mxx == get(normal, 4) && myy == get(normal, 8) && mx == get(normal, 3) && my == get(normal, 6) && r0 == get(kept, 0) && rx == get(kept, 1) && ry == get(kept, 2)) break;
    set(normal, 0, n);
    set(normal, 3, mx);
    set(normal, 4, mxx);
    set(normal, 6, my);
    set(normal, 7, mxy);
    set(normal, 8, myy);
    set(right, 0, r0);
    set(right, 1, rx);
    set(right, 2, ry);
    memory.copy(kept, right, 24);
    if (!decompose(normal, 3, lower, scale)) return;
    substitute(lower, scale, right, 3, right);
    level = get(right, 0);
    sx = get(right, 1);
    sy = get(right, 2);
  }
  set(OUT, 0, sx);
  set(OUT, 1, sy);
}
