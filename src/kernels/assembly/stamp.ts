import { DX, DY, MAX_RING, OUT, RING_DX, RING_DY, RING_ORDERED, RING_VALUE, SMALL, VALUE, WEIGHT } from './layout';
import { both } from './exponential';
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
  // Inside the soft edge, and beyond its outside, whatever the rounding of a root.
  const core = outer > 1 ? (outer - 1) * (outer - 1) * (1 - 1e-12) : 0;
  const beyond = outer * outer * (1 + 1e-12);
  let n = 0;
  let wanted = 0;
  for (let j = -reach; j <= reach; j++) {
    const py = originY + j;
    const ey = <f64>j - fy;
    for (let i = -reach; i <= reach; i++) {
      const ex = <f64>i - fx;
      const squared = ex * ex + ey * ey;
      if (squared > beyond) continue;
      const edge = squared > core ? outer - Math.sqrt(squared) : 1;
      if (edge <= 0) continue;
      const px = originX + i;
      if (greenParity >= 0 && ((px + py) & 1) != greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height) continue;
      const v = pixel(data, py * width + px);
      if (v != v) continue;
      if (squared > 4 && spikes && isSpike(data, width, height, greenParity, px, py, v - spike)) continue;
      set(DX, n, <f64>i);
      set(DY, n, <f64>j);
      set(VALUE, n, v - slopeX * <f64>i - slopeY * <f64>j);
      set(WEIGHT, n, min<f64>(1, edge));
      n++;
    }
  }
  set(OUT, 0, <f64>originX);
  set(OUT, 1, <f64>originY);
  set(OUT, 2, wanted == 0 ? 0 : <f64>n / <f64>wanted);
  return n;
}

/** The largest whole i >= -1 with i i + j j below `limit`, or equal to it where `also`. */
function halfWidth(j: i32, limit: f64, also: bool): i32 {
  const left = limit - <f64>(j * j);
  if (left < 0 || (left == 0 && !also)) return -1;
  let i = <i32>Math.sqrt(left);
  while (also ? <f64>((i + 1) * (i + 1)) <= left : <f64>((i + 1) * (i + 1)) < left) i++;
  while (also ? <f64>(i * i) > left : <f64>(i * i) >= left) i--;
  return i;
}

/** Pixels in RING_ORDERED, which tell where the plane is looked for first. */
let looked: i32 = 0;

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
  looked = 0;
  for (let j = -reach; j <= reach; j++) {
    const py = cy + j;
    const wide = halfWidth(j, outer * outer, true);
    const hole = halfWidth(j, inner * inner, false);
    // Whole rows of plain pixels, as most are.
    const plain = greenParity < 0 && !floats && py >= 0 && py < height && cx >= wide && cx + wide < width;
    if (plain && n + 2 * wide < MAX_RING) {
      const row = data + (((<usize>py) * (<usize>width) + <usize>cx) << 1);
      for (let i = -wide; i <= wide; i++) {
        if (hole >= 0 && i == -hole) {
          i = hole;
          continue;
        }
        const v = <f64>load<u16>(row + (<usize>(i << 1)));
        set(RING_DX, n, <f64>i);
        set(RING_DY, n, <f64>j);
        set(RING_VALUE, n, v);
        n++;
        wanted++;
        if ((i * i + j * j) % 3 == 1) set(RING_ORDERED, looked++, v);
      }
      continue;
    }
    for (let i = -wide; i <= wide; i++) {
      if (hole >= 0 && i == -hole) {
        i = hole;
        continue;
      }
      const px = cx + i;
      if (greenParity >= 0 && ((px + py) & 1) != greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height || n == MAX_RING) continue;
      const v = pixel(data, py * width + px);
      if (v != v) continue;
      set(RING_DX, n, <f64>i);
      set(RING_DY, n, <f64>j);
      set(RING_VALUE, n, v);
      n++;
      if ((i * i + j * j) % 3 == 1) set(RING_ORDERED, looked++, v);
    }
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
  if (count == 0 || looked == 0) return;
  let level = kthSmallest(RING_ORDERED, looked >> 1, looked);
  // What makes the number even is no value, and never near the plane.
  set(RING_DX, count, 0);
  set(RING_DY, count, 0);
  set(RING_VALUE, count, NaN);
  const end = (<usize>count) << 3;
  const one = f64x2.splat(1);
  const zero = f64x2.splat(0);
  const limit = f64x2.splat(clip);
  let sx: f64 = 0;
  let sy: f64 = 0;
  const normal = SMALL;
  const right = SMALL + 72;
  const lower = SMALL + 96;
  const scale = SMALL + 168;
  const kept = SMALL + 192;
  for (let round = 0; round < rounds; round++) {
    let used = zero;
    let sumX = zero;
    let sumY = zero;
    let sumXx = zero;
    let sumXy = zero;
    let sumYy = zero;
    let sum = zero;
    let valueX = zero;
    let valueY = zero;
    const plane = f64x2.splat(level);
    const slopeX = f64x2.splat(sx);
    const slopeY = f64x2.splat(sy);
    for (let o: usize = 0; o < end; o += 16) {
      const dx = v128.load(RING_DX + o);
      const dy = v128.load(RING_DY + o);
      const value = v128.load(RING_VALUE + o);
      const r = f64x2.sub(f64x2.sub(f64x2.sub(value, plane), f64x2.mul(slopeX, dx)), f64x2.mul(slopeY, dy));
      const near = f64x2.le(f64x2.abs(r), limit);
      const x1 = v128.and(near, dx);
      const y1 = v128.and(near, dy);
      const v1 = v128.and(near, value);
      used = f64x2.add(used, v128.and(near, one));
      sumX = f64x2.add(sumX, x1);
      sumY = f64x2.add(sumY, y1);
      sumXx = f64x2.add(sumXx, f64x2.mul(x1, dx));
      sumXy = f64x2.add(sumXy, f64x2.mul(x1, dy));
      sumYy = f64x2.add(sumYy, f64x2.mul(y1, dy));
      sum = f64x2.add(sum, v1);
      valueX = f64x2.add(valueX, f64x2.mul(v1, dx));
      valueY = f64x2.add(valueY, f64x2.mul(v1, dy));
    }
    const n = both(used);
    const mx = both(sumX);
    const my = both(sumY);
    const mxx = both(sumXx);
    const mxy = both(sumXy);
    const myy = both(sumYy);
    const r0 = both(sum);
    const rx = both(valueX);
    const ry = both(valueY);
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
