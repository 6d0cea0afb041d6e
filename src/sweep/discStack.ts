import type { Plane } from '../stars/background.ts';
import type { Disc } from './disc.ts';

/** Mean image of the discs of one ninth of the frame, each of unit light, centred on their centres of light. */
export interface DiscStack {
  /** Ninth of the frame in stored order. */
  readonly row: number;
  readonly column: number;
  readonly stars: number;
  /** Mean place of the stars, stored pixels. */
  readonly x: number;
  readonly y: number;
  /** Half-flux diameter of its stars, px. */
  readonly hfd: number;
  /** Share of the light a pixel, (2 half + 1)^2 values. */
  readonly half: number;
  readonly image: Float32Array;
}

/** Stars smaller than this show no hole. */
const SMALLEST_HFD = 8;
const STARS = 30;
const MIN_STARS = 4;
const LARGEST_HALF = 120;

/** Mean discs; faint and odd ones are outvoted by weight. */
export function stackDiscs(plane: Plane, discs: readonly Disc[], typicalHfd: number): DiscStack[] {
  if (typicalHfd < SMALLEST_HFD) return [];
  return Array.from({ length: 9 }, (_, i) => i).flatMap((i) => {
    const row = Math.floor(i / 3);
    const column = i % 3;
    const own = discs
      .filter(
        (d) =>
          Math.min(2, Math.floor((3 * d.x) / plane.width)) === column &&
          Math.min(2, Math.floor((3 * d.y) / plane.height)) === row,
      )
      .sort((a, b) => b.snr - a.snr)
      .slice(0, STARS);
    return own.length < MIN_STARS ? [] : (stackOf(plane, own, row, column) ?? []);
  });
}

/** Null with fewer than `least` like discs inside the plane. */
export function stackOf(
  plane: Plane,
  discs: readonly Disc[],
  row: number,
  column: number,
  least = MIN_STARS,
): DiscStack | null {
  const hfd = [...discs].sort((a, b) => a.hfd - b.hfd)[discs.length >> 1].hfd;
  const half = Math.ceil(1.1 * hfd);
  if (half > LARGEST_HALF) return null;
  const { data, width, height } = plane;
  const size = 2 * half + 1;
  const image = new Float32Array(size * size);
  let stars = 0;
  let weights = 0;
  let sx = 0;
  let sy = 0;
  for (const d of discs) {
    if (Math.abs(d.hfd - hfd) > 0.15 * hfd) continue;
    const left = Math.floor(d.x) - half;
    const top = Math.floor(d.y) - half;
    if (left < 0 || top < 0 || left + size >= width || top + size >= height) continue;
    const fx = d.x - Math.floor(d.x);
    const fy = d.y - Math.floor(d.y);
    const weight = Math.min(d.snr, 200) ** 2;
    const scale = weight / d.flux;
    for (let j = 0; j < size; j++) {
      const k = (top + j) * width + left;
      for (let i = 0; i < size; i++) {
        const a = data[k + i] * (1 - fx) + data[k + i + 1] * fx;
        const b = data[k + width + i] * (1 - fx) + data[k + width + i + 1] * fx;
        image[j * size + i] += scale * (a * (1 - fy) + b * fy - d.sky);
      }
    }
    stars++;
    weights += weight;
    sx += d.x;
    sy += d.y;
  }
  if (stars < least) return null;
  for (let k = 0; k < image.length; k++) image[k] /= weights;
  return { row, column, stars, x: sx / stars, y: sy / stars, hfd, half, image };
}
