import { median } from '../numeric/statistics.ts';
import type { DiscFrame } from './findDiscs.ts';

/** Stars of each frame that are compared, the brightest. */
const STARS = 90;
/** Displacements are counted in boxes of this many pixels, at least, or this share of the disc. */
const BOX_PX = 6;
const BOX_HFD = 0.4;
const MIN_MATCHED = 6;

/**
 * Light of the same stars against the clearest frames of the series, 1 = as clear; null where a frame's stars cannot be
 * recognised. Frames may be shifted against each other, not turned.
 */
export function transparencies(frames: readonly DiscFrame[]): (number | null)[] {
  const reference = [...frames].sort((a, b) => b.discs.length - a.discs.length)[0];
  if (reference === undefined) return [];
  const ratios = frames.map((frame) => (frame === reference ? 1 : lightRatio(frame, reference)));
  const known = ratios.flatMap((r) => r ?? []).sort((a, b) => a - b);
  // The upper quartile: most frames are clear, and one that is brighter by chance must not dim them.
  const clear = known[Math.floor(0.75 * (known.length - 1))] ?? 1;
  return ratios.map((r) => (r === null ? null : r / clear));
}

function lightRatio(frame: DiscFrame, reference: DiscFrame): number | null {
  const box = Math.max(BOX_PX, BOX_HFD * Math.max(frame.hfd ?? 0, reference.hfd ?? 0));
  const brightest = (f: DiscFrame): DiscFrame['discs'] => [...f.discs].sort((a, b) => b.flux - a.flux).slice(0, STARS);
  const [own, other] = [brightest(frame), brightest(reference)];
  const votes = new Map<string, [number, number][]>();
  for (const [i, a] of own.entries())
    for (const [j, b] of other.entries()) {
      const key = `${Math.round((a.x - b.x) / box)},${Math.round((a.y - b.y) / box)}`;
      const list = votes.get(key);
      if (list) list.push([i, j]);
      else votes.set(key, [[i, j]]);
    }
  const matched = [...votes.values()].reduce<[number, number][]>(
    (best, list) => (list.length > best.length ? list : best),
    [],
  );
  if (matched.length < Math.max(MIN_MATCHED, 0.15 * Math.min(own.length, other.length))) return null;
  return median(matched.map(([i, j]) => own[i].flux / other[j].flux));
}
