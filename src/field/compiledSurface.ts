import { kernels } from '../kernels/kernels.ts';
import { CURVE_HEAD, CURVE_SLOT, FIT_LENGTH, MAX_CURVE_PARAMETERS } from '../kernels/layout.ts';
import type { CurveProblem, Descend } from '../numeric/curveFit.ts';

interface SurfacePoint {
  readonly frame: number;
  readonly u: number;
  readonly v: number;
  readonly r2: number;
}

/** Numbers a point that the kernel keeps beside its row of slopes. */
const LISTS = 10;

/** The descent on the surface of widths (sizeField.ts), compiled; nothing where there are no kernels or no room. */
export function compiledSurface(
  { values, errors, lower, upper }: CurveProblem,
  points: readonly SurfacePoint[],
  subs: number,
  priors: readonly { readonly parameter: number }[],
): { readonly descend?: Descend } {
  const compiled = kernels();
  const n = lower.length;
  const count = values.length;
  if (compiled === null || n > MAX_CURVE_PARAMETERS || CURVE_HEAD + count * (LISTS + n) > FIT_LENGTH) return {};
  const { fit, run } = compiled;
  const lists = new Float64Array(6 * count);
  points.forEach(({ frame, u, v, r2 }, i) => {
    [frame, u, v, r2].forEach((value, k) => {
      lists[k * count + i] = value;
    });
  });
  priors.forEach(({ parameter }, k) => {
    lists[points.length + k] = parameter;
  });
  lists.set(values, 4 * count);
  lists.set(errors, 5 * count);
  const descend: Descend = (start, maxIterations) => {
    fit.set(start, 0);
    fit.set(lower, CURVE_SLOT);
    fit.set(upper, 2 * CURVE_SLOT);
    fit.set(lists, CURVE_HEAD);
    const chi2 = run.descendSurface(points.length, count, subs, maxIterations);
    return Number.isFinite(chi2) ? { parameters: fit.slice(0, n), chi2 } : null;
  };
  return { descend };
}
