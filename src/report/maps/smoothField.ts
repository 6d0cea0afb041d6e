import { median, robustSigma } from '../../numeric/statistics.ts';

/** A number measured somewhere in the frame; pixels from the frame's centre on the screen, y up. */
export interface Spot {
  readonly x: number;
  readonly y: number;
  readonly values: readonly number[];
}

export interface Smoothed {
  /** One for each value of the spots. */
  readonly values: readonly number[];
  readonly errors: readonly number[];
}

/** Cells along the longer side into which stars are averaged first. */
const CELLS = 18;
/** Sigma of the kernel as a share of the frame's diagonal: zones tell apart, noise does not. */
const BANDWIDTH = 0.11;
/** Spots farther than this many robust sigma from their cell's median are left out. */
const STRAY_SIGMAS = 4;
/** Fewer spots than this make no map. */
export const LEAST_SPOTS = 24;

interface Cell {
  readonly x: number;
  readonly y: number;
  readonly count: number;
  readonly means: readonly number[];
}

/**
 * Values anywhere in the frame by locally weighted straight fits (Cleveland & Devlin 1988, J. Am. Stat. Assoc. 83, 596) with a
 * Gaussian kernel over cell means; errors (1 sigma) from the scatter within the cells. Null where the spots are too few.
 */
export function smoothField(
  spots: readonly Spot[],
  width: number,
  height: number,
): ((x: number, y: number) => Smoothed) | null {
  if (spots.length < LEAST_SPOTS) return null;
  const count = spots[0]?.values.length ?? 0;
  const { cells, scatter } = cellMeans(spots, Math.max(width, height) / CELLS, count);
  const bandwidth = BANDWIDTH * Math.hypot(width, height);
  return (x, y) => {
    const weights = localWeights(cells, x, y, bandwidth);
    return {
      values: Array.from({ length: count }, (_, k) =>
        cells.reduce((sum, cell, i) => sum + weights[i] * cell.means[k], 0),
      ),
      errors: scatter.map((sigma) =>
        Math.sqrt(cells.reduce((sum, cell, i) => sum + (weights[i] * sigma) ** 2 / cell.count, 0)),
      ),
    };
  };
}

function cellMeans(spots: readonly Spot[], pitch: number, count: number): { cells: Cell[]; scatter: number[] } {
  const bins = new Map<string, Spot[]>();
  for (const spot of spots) {
    const key = `${Math.floor(spot.x / pitch)} ${Math.floor(spot.y / pitch)}`;
    const bin = bins.get(key);
    if (bin) bin.push(spot);
    else bins.set(key, [spot]);
  }
  // Half the spread of neighbours' differences: unlike deviations from few stars' own middle it is not too small.
  const scatter = Array.from({ length: count }, (_, k) => {
    const differences = [...bins.values()].flatMap((bin) =>
      bin.slice(1).map((spot, i) => ((spot.values[k] ?? 0) - (bin[i]?.values[k] ?? 0)) / Math.SQRT2),
    );
    return differences.length >= 8 ? robustSigma(differences, 0) : robustSigma(spots.map((s) => s.values[k] ?? 0));
  });
  const cells = [...bins.values()].map((bin): Cell => {
    const middles = scatter.map((_, k) => median(bin.map((spot) => spot.values[k] ?? 0)));
    const kept = bin.filter((spot) =>
      middles.every((middle, k) => Math.abs((spot.values[k] ?? 0) - middle) <= STRAY_SIGMAS * (scatter[k] ?? 0)),
    );
    const used = kept.length > 0 ? kept : bin.slice(0, 1);
    const mean = (pick: (spot: Spot) => number): number => used.reduce((sum, s) => sum + pick(s), 0) / used.length;
    return {
      x: mean((s) => s.x),
      y: mean((s) => s.y),
      count: used.length,
      means: scatter.map((_, k) => mean((s) => s.values[k] ?? 0)),
    };
  });
  return { cells, scatter };
}

/** Weights with which the cells' means make the value at (x, y): they sum to 1 and keep a plane as it is. */
function localWeights(cells: readonly Cell[], x: number, y: number, bandwidth: number): Float64Array {
  const kernel = new Float64Array(cells.length);
  let [s0, sx, sy, sxx, sxy, syy] = [0, 0, 0, 0, 0, 0];
  cells.forEach((cell, i) => {
    const u = (cell.x - x) / bandwidth;
    const v = (cell.y - y) / bandwidth;
    const w = cell.count * Math.exp(-(u * u + v * v) / 2);
    kernel[i] = w;
    s0 += w;
    sx += w * u;
    sy += w * v;
    sxx += w * u * u;
    sxy += w * u * v;
    syy += w * v * v;
  });
  // A little ridge: where few cells are near, the plane leans less.
  const ridge = 0.02 * s0;
  const a = sxx + ridge;
  const d = syy + ridge;
  // Solve for the weights of the intercept by elimination: l_i = w_i (p + q u_i + r v_i).
  const det = a * d - sxy * sxy;
  const qOver = (sxy * sy - d * sx) / det;
  const rOver = (sxy * sx - a * sy) / det;
  const p = 1 / (s0 + qOver * sx + rOver * sy);
  return kernel.map((w, i) => {
    const cell = cells[i];
    const u = (cell.x - x) / bandwidth;
    const v = (cell.y - y) / bandwidth;
    return w * p * (1 + qOver * u + rOver * v);
  });
}
