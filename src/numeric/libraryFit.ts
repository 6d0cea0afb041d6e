import { levenbergMarquardt } from 'ml-levenberg-marquardt';
import type { CurveProblem } from './curveFit.ts';

/** The library cannot tell when it has arrived: so many steps, then we look. */
const ITERATIONS = 4;

/**
 * Where ml-levenberg-marquardt goes from a place: the second opinion on an optimum. Values and model are divided by their errors
 * here, because its own weights are not those of least squares. Null where it fails (a singular step).
 */
export function libraryFit(problem: CurveProblem, start: ArrayLike<number>): Float64Array | null {
  const { values, errors, model, jacobian, lower, upper } = problem;
  const x = Array.from({ length: values.length }, (_, i) => i);
  try {
    const { parameterValues } = levenbergMarquardt(
      { x, y: x.map((i) => values[i] / errors[i]) },
      (p) => (i) => model(p, i) / errors[i],
      {
        initialValues: Array.from(start),
        jacobianFunction: (p) => (i) => jacobian(p, i).map((d) => d / errors[i]),
        minValues: lower,
        maxValues: upper,
        damping: 1e-2,
        maxIterations: ITERATIONS,
        errorTolerance: 1e-9,
      },
    );
    return parameterValues.every(Number.isFinite) ? Float64Array.from(parameterValues) : null;
  } catch {
    return null;
  }
}
