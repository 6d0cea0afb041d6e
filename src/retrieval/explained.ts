import type { FrameStars } from '../field/frameStars.ts';
import { continueCurve } from '../numeric/curveFit.ts';
import { seededRandom } from '../numeric/random.ts';
import type { ResponseTable } from '../optics/response.ts';
import { type Cell, cellsOf } from './cells.ts';
import type { Retrieval } from './fitWavefront.ts';
import { withoutLone } from './loneStars.ts';
import { predict } from './model.ts';
import { retrievalProblem } from './problem.ts';

/**
 * Share of the variance over the field that the model explains on stars it was not fitted to, the noise of their cells taken
 * off on both sides; null where the held-out stars vary by no more than their noise.
 */
export interface Explained {
  readonly size: number | null;
  readonly elongation: number | null;
  readonly coma: number | null;
}

const SEED = 20271013;
/** The field varies beyond noise when its chi-square exceeds its freedom by this many of its own sigma. */
const VARIES_SIGMAS = 10;

/** Fits one half of the stars, starting at the fit of all, and looks at the other half. */
export function explainedVariance(
  frames: readonly FrameStars[],
  table: ResponseTable,
  retrieval: Retrieval,
): Explained {
  const random = seededRandom(SEED, 'held-out');
  const halves = frames.map((frame) => frame.shapes.map(() => random.uniform() < 0.5));
  const { layout, best, priors, bounds, errorScale } = retrieval;
  const cellsAmong = (half: boolean): Cell[] =>
    withoutLone(
      frames.flatMap((frame, f) => cellsOf(frame, f, (star) => halves[f][star] === half)),
      layout,
      table,
      best.parameters,
    );
  const fitted = cellsAmong(true);
  const heldOut = cellsAmong(false);
  const half = continueCurve(retrievalProblem(layout, table, fitted, priors, bounds, errorScale), best.parameters);
  const parameters = half?.parameters ?? best.parameters;
  const predicted = heldOut.map((cell) => predict(layout, table, parameters, cell).values);
  return {
    size: share(heldOut, predicted, [0]),
    elongation: share(heldOut, predicted, [1, 2]),
    coma: share(heldOut, predicted, [3, 4]),
  };
}

/** The mean of each sub is taken off first: what differs from sub to sub is not the field. */
function share(
  cells: readonly Cell[],
  predicted: readonly Float64Array[],
  quantities: readonly number[],
): number | null {
  let about = 0;
  let left = 0;
  let count = 0;
  for (const frame of new Set(cells.map((cell) => cell.frame))) {
    const own = cells.flatMap((cell, i) => (cell.frame === frame ? [{ cell, model: predicted[i] }] : []));
    for (const k of quantities) {
      const weight = (cell: Cell): number => 1 / cell.errors[k] ** 2;
      const total = own.reduce((sum, { cell }) => sum + weight(cell), 0);
      const mean = own.reduce((sum, { cell }) => sum + weight(cell) * cell.values[k], 0) / total;
      for (const { cell, model } of own) {
        about += weight(cell) * (cell.values[k] - mean) ** 2 - 1;
        left += weight(cell) * (cell.values[k] - model[k]) ** 2 - 1;
        count++;
      }
    }
  }
  if (about < VARIES_SIGMAS * Math.sqrt(2 * count)) return null;
  return Math.min(1, 1 - left / about);
}
