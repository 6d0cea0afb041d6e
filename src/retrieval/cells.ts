import { type FrameStars, fieldPosition } from '../field/frameStars.ts';
import { fitAnswerSurface, fitWidthSurface, type Surface } from '../numeric/fieldSurface.ts';
import { median, robustSigma } from '../numeric/statistics.ts';
import type { Shape } from '../shapes/shape.ts';

/** What is fitted of each cell: sigma^2 (px^2), e1, e2, coma3 x, y, trefoil3 x, y. */
export const QUANTITIES = 7;

/** Mean shape of the stars in one cell of one sub. */
export interface Cell {
  /** Index of the sub. */
  readonly frame: number;
  /** Mean place of its stars, half-diagonals from the frame's centre, stored axes. */
  readonly u: number;
  readonly v: number;
  readonly stars: number;
  /** QUANTITIES long each; errors are 1 sigma of the mean. */
  readonly values: Float64Array;
  readonly errors: Float64Array;
}

/** Stars a cell should hold on average: enough for a mean and its outliers. */
const STARS_PER_CELL = 6;
/** Along the longer side: fewer cannot hold a curved field, more gain nothing over a smooth one. */
const FEWEST_CELLS = 3;
const MOST_CELLS = 9;
/** A star this many sigma from its cell's median is left out. */
const OUTLIER_SIGMAS = 4;

/** Stars fewer than this show no trend over the field. */
const TREND_STARS = 24;

/** A star with what is looked at of it, and what the trend over the whole sub says there. */
interface Placed {
  readonly shape: Shape;
  readonly u: number;
  readonly v: number;
  /** QUANTITIES long each: its own less the trend's. */
  readonly rest: readonly number[];
}

/**
 * Averages the stars of a sub in cells. What the field does within a cell is no noise, and its mean no bend: a trend over
 * the whole sub is taken off before and added where the cell's stars stand on average. The scatter about it, not the stars' own
 * claims, sets the errors.
 */
export function cellsOf(frame: FrameStars, index: number, among: (star: number) => boolean = () => true): Cell[] {
  const chosen = frame.shapes.filter((_, i) => among(i));
  const { left, top, width, height } = extentOf(chosen);
  const aspect = Math.max(width, height) / Math.min(width, height);
  const wanted = Math.round(Math.sqrt((chosen.length / STARS_PER_CELL) * aspect));
  const step = Math.max(width, height) / Math.min(MOST_CELLS, Math.max(FEWEST_CELLS, wanted));
  const places = chosen.map((shape) => fieldPosition(frame, shape.x, shape.y));
  const trends = Array.from({ length: QUANTITIES }, (_, k) => trendOf(chosen, places, k));
  const cells = new Map<number, Placed[]>();
  for (const [i, shape] of chosen.entries()) {
    const { u, v } = places[i];
    const placed = { shape, u, v, rest: trends.map((trend, k) => quantityOf(shape, k) - trend(u, v)) };
    const key = Math.floor((shape.x - left) / step) + 1000 * Math.floor((shape.y - top) / step);
    const cell = cells.get(key);
    if (cell) cell.push(placed);
    else cells.set(key, [placed]);
  }
  const lists = [...cells.values()];
  const scatter = Array.from({ length: QUANTITIES }, (_, k) => scatterOf(lists, k));
  return lists.map((list) => meanOf(index, list, trends, scatter));
}

function trendOf(shapes: readonly Shape[], places: readonly { u: number; v: number }[], k: number): Surface {
  if (shapes.length < TREND_STARS) return () => 0;
  const points = shapes.map((shape, i) => ({ ...places[i], value: quantityOf(shape, k), error: errorOf(shape, k) }));
  return (k === 0 ? fitWidthSurface(points) : fitAnswerSurface(points)) ?? (() => 0);
}

/** The stars' part of the frame, pixels: those of a bare mirror may fill a corner of it only. */
function extentOf(shapes: readonly Shape[]): { left: number; top: number; width: number; height: number } {
  let [left, right, top, bottom] = [Infinity, -Infinity, Infinity, -Infinity];
  for (const { x, y } of shapes) {
    left = Math.min(left, x - 0.5);
    right = Math.max(right, x + 0.5);
    top = Math.min(top, y - 0.5);
    bottom = Math.max(bottom, y + 0.5);
  }
  return { left, top, width: right - left, height: bottom - top };
}

export function quantityOf(shape: Shape, k: number): number {
  switch (k) {
    case 0:
      return shape.sigmaMajor * shape.sigmaMinor;
    case 1:
      return shape.e1;
    case 2:
      return shape.e2;
    case 3:
      return shape.coma3.x;
    case 4:
      return shape.coma3.y;
    case 5:
      return shape.trefoil3.x;
    default:
      return shape.trefoil3.y;
  }
}

export function errorOf(shape: Shape, k: number): number {
  if (k === 0) return (2 * shape.sigmaMajor * shape.sigmaMinor * shape.fwhmError) / shape.fwhm;
  if (k < 3) return shape.eError;
  return k < 5 ? shape.coma3.error : shape.trefoil3.error;
}

interface Scatter {
  /** Scatter beyond the stars' own errors. */
  readonly extra: number;
  /** Factor on the combined error that makes the pulls within the cells those of a unit Gaussian. */
  readonly factor: number;
}

/** Pooled over all cells of the sub, from the deviations from each cell's median. */
function scatterOf(lists: readonly (readonly Placed[])[], k: number): Scatter {
  const deviations: number[] = [];
  const errors: number[] = [];
  for (const list of lists) {
    if (list.length < 3) continue;
    const middle = median(list.map((s) => s.rest[k]));
    // The median follows its own few stars: n/(n - 1) gives the freedom back.
    const freedom = Math.sqrt(list.length / (list.length - 1));
    for (const { shape, rest } of list) {
      deviations.push(freedom * (rest[k] - middle));
      errors.push(errorOf(shape, k));
    }
  }
  if (deviations.length < 12) {
    const all = lists.flat();
    return { extra: robustSigma(all.map((s) => s.rest[k])), factor: 1 };
  }
  const spread = (extra: number): number =>
    robustSigma(
      deviations.map((d, i) => d / Math.hypot(errors[i], extra)),
      0,
    );
  const plain = spread(0);
  if (plain <= 1) return { extra: 0, factor: Math.max(0.7, plain) };
  let low = 0;
  let high = 2 * robustSigma(deviations, 0);
  for (let round = 0; round < 30; round++) {
    const middle = (low + high) / 2;
    if (spread(middle) > 1) low = middle;
    else high = middle;
  }
  return { extra: (low + high) / 2, factor: 1 };
}

function meanOf(index: number, list: readonly Placed[], trends: readonly Surface[], scatter: readonly Scatter[]): Cell {
  const middles = scatter.map((_, k) => median(list.map((s) => s.rest[k])));
  const sigma = ({ shape }: Placed, k: number): number =>
    scatter[k].factor * Math.hypot(errorOf(shape, k), scatter[k].extra);
  const kept = list.filter((s) =>
    middles.every((middle, k) => Math.abs(s.rest[k] - middle) <= OUTLIER_SIGMAS * sigma(s, k)),
  );
  const used = kept.length > 0 ? kept : list;
  // One weight a star for all quantities, so that they all stand at the same mean place.
  const typical = scatter.map((_, k) => median(used.map((s) => sigma(s, k) ** 2)));
  const weights = used.map((s) => typical.reduce((sum, t, k) => sum + t / sigma(s, k) ** 2, 0));
  const total = weights.reduce((a, b) => a + b, 0);
  const mean = (pick: (s: Placed) => number): number =>
    used.reduce((sum, s, i) => sum + weights[i] * pick(s), 0) / total;
  const [u, v] = [mean((s) => s.u), mean((s) => s.v)];
  return {
    frame: index,
    u,
    v,
    stars: used.length,
    values: Float64Array.from({ length: QUANTITIES }, (_, k) => trends[k](u, v) + mean((s) => s.rest[k])),
    errors: Float64Array.from(
      { length: QUANTITIES },
      (_, k) => Math.sqrt(used.reduce((sum, s, i) => sum + (weights[i] * sigma(s, k)) ** 2, 0)) / total,
    ),
  };
}
