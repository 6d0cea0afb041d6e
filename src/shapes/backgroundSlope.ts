import { kernelAddress, kernels } from '../kernels/kernels.ts';
import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { selectInPlace } from '../numeric/statistics.ts';
import type { Source } from './stamp.ts';

/** Gradient of the sky under a star, ADU a pixel along x and y. */
export interface Slope {
  readonly x: number;
  readonly y: number;
}

const LEVEL: Slope = { x: 0, y: 0 };
export const RING = {
  /** Radii in units of the window's: outside the star, inside what a plane can follow. */
  inner: 1,
  outer: 1.75,
  /** Pixels further than this from the plane are neighbours or hot. */
  clipSigma: 3,
  rounds: 4,
  /** Less of the ring than this on good pixels, and the sky is taken as level. */
  minShare: 0.6,
} as const;
const MAX_RING = 4096;

const dx = new Float64Array(MAX_RING);
const dy = new Float64Array(MAX_RING);
const value = new Float64Array(MAX_RING);
/** Values of some pixels, which tell where the plane is looked for first. */
const ordered = new Float64Array(MAX_RING);
let looked = 0;

/**
 * Plane through the ring around a star's window, neighbours clipped away: nebulosity, haloes and gradients slope under a
 * star, and a slope g moves coma3 by 4 g sigma/amplitude. Level where the ring cannot tell.
 */
export function backgroundSlope(source: Source, x: number, y: number, radius: number, noise: number): Slope {
  const address = kernelAddress(source);
  const compiled = kernels();
  if (address !== null && compiled !== null) {
    const { run, out } = compiled;
    run.setFloats(false);
    const { width, height, greenParity } = source;
    const [inner, outer] = [RING.inner * radius, RING.outer * radius];
    const clip = RING.clipSigma * noise;
    run.slope(address, width, height, greenParity ?? -1, x, y, inner, outer, RING.minShare, clip, RING.rounds);
    return { x: out[0], y: out[1] };
  }
  const count = gatherRing(source, x, y, RING.inner * radius, RING.outer * radius);
  if (count === 0 || looked === 0) return LEVEL;
  let level = selectInPlace(ordered, looked >> 1, looked);
  let slope = LEVEL;
  for (let round = 0; round < RING.rounds; round++) {
    const normal = new Float64Array(9);
    const right = new Float64Array(3);
    let used = 0;
    for (let k = 0; k < count; k++) {
      const r = value[k] - level - slope.x * dx[k] - slope.y * dy[k];
      if (Math.abs(r) > RING.clipSigma * noise) continue;
      used++;
      normal[0]++;
      normal[3] += dx[k];
      normal[6] += dy[k];
      normal[4] += dx[k] * dx[k];
      normal[7] += dx[k] * dy[k];
      normal[8] += dy[k] * dy[k];
      right[0] += value[k];
      right[1] += value[k] * dx[k];
      right[2] += value[k] * dy[k];
    }
    if (used < 0.5 * count) return LEVEL;
    normal[1] = normal[3];
    normal[2] = normal[6];
    normal[5] = normal[7];
    const inverse = invertSymmetric(normal, 3);
    if (inverse === null) return LEVEL;
    const solved = multiply(inverse, right, 3);
    level = solved[0];
    slope = { x: solved[1], y: solved[2] };
  }
  return slope;
}

/** Good pixels of the ring into the module's arrays; 0 when there are too few. */
function gatherRing(source: Source, x: number, y: number, inner: number, outer: number): number {
  const { data, width, height, mask, greenParity } = source;
  const reach = Math.ceil(outer);
  const cx = Math.round(x);
  const cy = Math.round(y);
  let n = 0;
  let wanted = 0;
  looked = 0;
  for (let j = -reach; j <= reach; j++)
    for (let i = -reach; i <= reach; i++) {
      const r2 = i * i + j * j;
      if (r2 < inner * inner || r2 > outer * outer) continue;
      const px = cx + i;
      const py = cy + j;
      if (greenParity !== null && ((px + py) & 1) !== greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height || n === MAX_RING) continue;
      const k = py * width + px;
      const v = data[k];
      if (v !== v || (mask !== null && mask[k] === 1)) continue;
      dx[n] = i;
      dy[n] = j;
      value[n] = v;
      n++;
      // Four in nine, the same ones however the picture is turned or mirrored, of both colours of a checkerboard.
      if (r2 % 3 === 1) ordered[looked++] = v;
    }
  return n >= RING.minShare * Math.min(wanted, MAX_RING) && n >= 12 ? n : 0;
}
