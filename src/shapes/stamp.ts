import type { PixelArray } from '../frame/frame.ts';
import { kernelAddress, kernels } from '../kernels/kernels.ts';
import type { Slope } from './backgroundSlope.ts';

/** Where stars are cut from: one plane; of a colour mosaic only green pixels, at their true places. */
export interface Source {
  readonly data: PixelArray;
  readonly width: number;
  readonly height: number;
  readonly mask: Uint8Array | null;
  /** Green pixels have ((x + y) & 1) === greenParity; null for mono. */
  readonly greenParity: 0 | 1 | null;
}

/**
 * The usable pixels around one star as a list, so that masks and mosaics need no special case.
 * Arrays are re-used from star to star: only the first `count` entries hold.
 */
export interface Stamp {
  count: number;
  /** Pixel centres relative to (originX, originY). */
  readonly dx: Float64Array;
  readonly dy: Float64Array;
  /** ADU. */
  readonly value: Float64Array;
  /** 1 inside the window, falling to 0 over its last pixel: the window's edge does not jump over a pixel. */
  readonly weight: Float64Array;
  originX: number;
  originY: number;
  /** Share of the window's pixels that could be used. */
  coverage: number;
}

/** Widest window radius, pixels. */
export const MAX_RADIUS = 48;

const LONGEST = (2 * MAX_RADIUS + 3) ** 2;
const newList = (): Float64Array => new Float64Array(LONGEST + 1);

export function newStamp(
  lists: Pick<Stamp, 'dx' | 'dy' | 'value' | 'weight'> = {
    dx: newList(),
    dy: newList(),
    value: newList(),
    weight: newList(),
  },
): Stamp {
  return { ...lists, count: 0, originX: 0, originY: 0, coverage: 0 };
}

/** A stamp whose lists stand in the kernels' memory, where there are kernels; there is room for one. */
export const kernelStamp = (): Stamp => newStamp(kernels()?.stamp);

/** Puts the lists where the kernels read them, with one pixel more that weighs nothing: they take two at a time. */
export function inKernels(stamp: Stamp): void {
  const lists = kernels()?.stamp;
  if (lists === undefined) return;
  const { count } = stamp;
  for (const name of ['dx', 'dy', 'value', 'weight'] as const) {
    if (stamp[name] !== lists[name]) lists[name].set(stamp[name].subarray(0, count));
    lists[name][count] = 0;
  }
}

/**
 * Fills `stamp` with the pixels within `radius` of (x, y). Left out: masked pixels, other colours of a mosaic, and single
 * pixels outside the core that stand above all their neighbours by `spike` ADU (hot pixels, cosmic rays, faint neighbours).
 * A slope of the sky (ADU a pixel) is taken off.
 */
export function cutStamp(
  source: Source,
  x: number,
  y: number,
  radius: number,
  spike: number,
  stamp: Stamp,
  slope: Slope = { x: 0, y: 0 },
): void {
  const { data, width, height, mask, greenParity } = source;
  const r = Math.min(radius, MAX_RADIUS);
  const address = kernelAddress(source);
  const compiled = kernels();
  if (address !== null && compiled?.stamp.dx === stamp.dx) {
    const { run, out } = compiled;
    run.setFloats(false);
    stamp.count = run.cut(address, width, height, greenParity ?? -1, x, y, r, spike, slope.x, slope.y);
    [stamp.originX, stamp.originY, stamp.coverage] = out;
    return;
  }
  const outer = r + 0.5;
  const originX = Math.round(x);
  const originY = Math.round(y);
  const fx = x - originX;
  const fy = y - originY;
  const reach = Math.ceil(outer);
  let n = 0;
  let wanted = 0;
  for (let j = -reach; j <= reach; j++) {
    const py = originY + j;
    const ey = j - fy;
    for (let i = -reach; i <= reach; i++) {
      const ex = i - fx;
      const distance = Math.sqrt(ex * ex + ey * ey);
      if (distance >= outer) continue;
      const px = originX + i;
      if (greenParity !== null && ((px + py) & 1) !== greenParity) continue;
      wanted++;
      if (px < 0 || py < 0 || px >= width || py >= height) continue;
      const k = py * width + px;
      const v = data[k];
      if (v !== v || (mask !== null && mask[k] === 1)) continue;
      if (distance > 2 && spike < Infinity && isSpike(source, px, py, k, v, spike)) continue;
      stamp.dx[n] = i;
      stamp.dy[n] = j;
      stamp.value[n] = v - slope.x * i - slope.y * j;
      stamp.weight[n] = Math.min(1, outer - distance);
      n++;
    }
  }
  stamp.count = n;
  stamp.originX = originX;
  stamp.originY = originY;
  stamp.coverage = wanted === 0 ? 0 : n / wanted;
}

function isSpike(source: Source, x: number, y: number, k: number, v: number, spike: number): boolean {
  const { data, width, height, greenParity } = source;
  if (x < 2 || y < 2 || x >= width - 2 || y >= height - 2) return false;
  const limit = v - spike;
  if (greenParity === null) {
    return (
      data[k - 1] < limit &&
      data[k + 1] < limit &&
      data[k - width] < limit &&
      data[k + width] < limit &&
      data[k - width - 1] < limit &&
      data[k - width + 1] < limit &&
      data[k + width - 1] < limit &&
      data[k + width + 1] < limit
    );
  }
  return (
    data[k - width - 1] < limit &&
    data[k - width + 1] < limit &&
    data[k + width - 1] < limit &&
    data[k + width + 1] < limit &&
    data[k - 2] < limit &&
    data[k + 2] < limit &&
    data[k - 2 * width] < limit &&
    data[k + 2 * width] < limit
  );
}
