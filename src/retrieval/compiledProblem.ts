import { kernels } from '../kernels/kernels.ts';
import { CURVE_HEAD, CURVE_SLOT, FIT_LENGTH, MAX_CURVE_PARAMETERS } from '../kernels/layout.ts';
import type { CurveProblem, Descend } from '../numeric/curveFit.ts';
import type { Cell } from './cells.ts';
import type { Layout } from './layout.ts';
import type { Prior } from './problem.ts';

/** Lists of all points that a descent keeps beside the rows of slopes: values, errors and four of its own. */
const LISTS = 6;

/** The fit of the whole field, compiled (kernels/assembly/wavefront.ts); nothing where there are no kernels or no room. */
export function compiledProblem(
  layout: Layout,
  table: Float64Array,
  cells: readonly Cell[],
  priors: readonly Prior[],
  { values, errors, lower, upper }: Pick<CurveProblem, 'values' | 'errors' | 'lower' | 'upper'>,
): Pick<CurveProblem, 'whole' | 'descend'> {
  const compiled = kernels();
  const n = layout.length;
  const count = values.length;
  const head = Float64Array.from([
    ...cells.flatMap(({ frame, u, v }) => [frame, u, v]),
    ...priors.flatMap((prior) => rowOf(prior, n)),
    ...table,
  ]);
  const behind = CURVE_HEAD + head.length;
  if (compiled === null || n > MAX_CURVE_PARAMETERS || behind + count * (LISTS + n) > FIT_LENGTH) return {};
  const { fit, run } = compiled;
  const given = [cells.length, layout.subs, layout.perSub, priors.length] as const;
  // Whatever stood here may be gone since the last call.
  const tell = (parameters: ArrayLike<number>): void => {
    fit.set(parameters, 0);
    fit.set(head, CURVE_HEAD);
  };
  const descend: Descend = (start, maxIterations) => {
    tell(start);
    fit.set(lower, CURVE_SLOT);
    fit.set(upper, 2 * CURVE_SLOT);
    fit.set(values, behind);
    fit.set(errors, behind + count);
    const chi2 = run.descendWavefront(...given, maxIterations);
    return Number.isFinite(chi2) ? { parameters: fit.slice(0, n), chi2 } : null;
  };
  return {
    descend,
    whole: {
      values: (parameters, out) => {
        tell(parameters);
        run.wavefrontValues(...given);
        out.set(fit.subarray(behind, behind + count));
      },
      slopes: (parameters, out, rows) => {
        tell(parameters);
        run.wavefrontSlopes(...given);
        out.set(fit.subarray(behind, behind + count));
        rows.set(fit.subarray(behind + count, behind + count * (1 + n)));
      },
    },
  };
}

function rowOf({ terms }: Prior, n: number): number[] {
  const row = new Array<number>(n).fill(0);
  for (const { index, factor } of terms) row[index] += factor;
  return row;
}
