import type { CurveProblem } from '../numeric/curveFit.ts';
import type { ResponseTable } from '../optics/response.ts';
import { type Cell, QUANTITIES } from './cells.ts';
import { compiledProblem } from './compiledProblem.ts';
import type { Layout } from './layout.ts';
import { type Prediction, predict, predictValues } from './model.ts';

/** A pseudo-observation: a linear combination of parameters expected at a value. */
export interface Prior {
  readonly terms: readonly { readonly index: number; readonly factor: number }[];
  readonly value: number;
  readonly sigma: number;
}

export interface Bounds {
  readonly lower: readonly number[];
  readonly upper: readonly number[];
}

/** Cells and priors as one least-squares problem; point i < 7 cells is quantity i mod 7 of a cell. */
export function retrievalProblem(
  layout: Layout,
  table: Pick<ResponseTable, 'at' | 'slopesAt' | 'rms'> & Partial<Pick<ResponseTable, 'packed'>>,
  cells: readonly Cell[],
  priors: readonly Prior[],
  bounds: Bounds,
  errorScale: number,
): CurveProblem {
  const data = cells.length * QUANTITIES;
  const count = data + priors.length;
  const n = layout.length;
  const errors = cells.map((cell) => errorsOf(cell, table.rms).map((error) => errorScale * error));
  // The solver asks point by point with the same parameters: one evaluation a cell serves its seven.
  let known: Float64Array | null = null;
  let predictions: readonly Prediction[] = [];
  const predictionsAt = (p: ArrayLike<number>): readonly Prediction[] => {
    if (known === null || !known.every((value, j) => value === p[j])) {
      known = Float64Array.from(p);
      predictions = cells.map((cell) => predict(layout, table, p, cell));
    }
    return predictions;
  };
  const problem: CurveProblem = {
    values: Float64Array.from({ length: count }, (_, i) =>
      i < data ? cells[Math.floor(i / QUANTITIES)].values[i % QUANTITIES] : priors[i - data].value,
    ),
    errors: Float64Array.from({ length: count }, (_, i) =>
      i < data ? errors[Math.floor(i / QUANTITIES)][i % QUANTITIES] : priors[i - data].sigma,
    ),
    model: (p, i) => {
      if (i < data) return predictionsAt(p)[Math.floor(i / QUANTITIES)].values[i % QUANTITIES];
      return expectation(priors[i - data], p);
    },
    jacobian: (p, i) => {
      if (i < data) {
        const { jacobian } = predictionsAt(p)[Math.floor(i / QUANTITIES)];
        const row = (i % QUANTITIES) * n;
        return Array.from(jacobian.subarray(row, row + n));
      }
      const out = new Array<number>(n).fill(0);
      for (const { index, factor } of priors[i - data].terms) out[index] += factor;
      return out;
    },
    whole: {
      values: (p, out) => {
        for (const [c, cell] of cells.entries()) predictValues(layout, table, p, cell, out, c * QUANTITIES);
        for (const [k, prior] of priors.entries()) out[data + k] = expectation(prior, p);
      },
      slopes: (p, values, slopes) => {
        for (const [c, cell] of cells.entries()) {
          const prediction = predict(layout, table, p, cell);
          values.set(prediction.values, c * QUANTITIES);
          slopes.set(prediction.jacobian, c * QUANTITIES * n);
        }
        slopes.fill(0, data * n);
        for (const [k, prior] of priors.entries()) {
          values[data + k] = expectation(prior, p);
          for (const { index, factor } of prior.terms) slopes[(data + k) * n + index] += factor;
        }
      },
    },
    lower: bounds.lower,
    upper: bounds.upper,
  };
  return table.packed === undefined
    ? problem
    : { ...problem, ...compiledProblem(layout, table.packed, cells, priors, problem) };
}

const expectation = ({ terms }: Prior, p: ArrayLike<number>): number =>
  terms.reduce((sum, { index, factor }) => sum + factor * p[index], 0);

/** Errors of a cell as the fit takes them: its own, and the table's beside them. */
export const errorsOf = ({ errors, values }: Cell, rms: ResponseTable['rms']): Float64Array =>
  errors.map((error, k) => Math.hypot(error, tableError(k, values[0], rms)));

/** What the interpolation itself leaves, per component: the table's stated error. */
function tableError(k: number, sigma2: number, rms: ResponseTable['rms']): number {
  if (k === 0) return rms.sigma2 * sigma2;
  const vector = k < 3 ? rms.e : k < 5 ? rms.coma3 : rms.trefoil3;
  return vector / Math.SQRT2;
}
