import { levenbergMarquardt } from 'ml-levenberg-marquardt';
import { invertSymmetric, multiply } from './linear.ts';

/** A small non-linear least-squares problem: points i = 0 .. values.length - 1. */
export interface CurveProblem {
  readonly values: ArrayLike<number>;
  /** 1 sigma of each value. */
  readonly errors: ArrayLike<number>;
  /** Model at point i. */
  readonly model: (parameters: ArrayLike<number>, i: number) => number;
  /** d model / d parameters at point i. */
  readonly jacobian: (parameters: ArrayLike<number>, i: number) => number[];
  readonly lower: readonly number[];
  readonly upper: readonly number[];
}

export interface CurveFit {
  readonly parameters: Float64Array;
  readonly chi2: number;
  /** n x n, row-major, from the Jacobian at the end; null where a direction is not held by the data. */
  readonly covariance: Float64Array | null;
  /** Whether a further Gauss-Newton step would gain less than 0.01 of chi-square. */
  readonly converged: boolean;
}

/** A look at every start, then the best few to the end, in rounds because the library cannot tell when it has arrived. */
const LOOK = 6;
const ROUND = 5;
const MAX_ROUNDS = 8;
const FINALISTS = 3;

/**
 * The best of several starts of ml-levenberg-marquardt. Values and model are divided by their errors here, because the
 * library's own weights are not those of least squares; convergence and covariance are ours, because it has none.
 */
export function fitCurve(problem: CurveProblem, starts: readonly (readonly number[])[]): CurveFit | null {
  const looks = starts.flatMap((start) => fitFrom(problem, start, LOOK) ?? []);
  const finalists = looks.sort((a, b) => a.chi2 - b.chi2).slice(0, FINALISTS);
  const finished = finalists.map((fit) => finishCurve(problem, fit));
  return finished.sort((a, b) => a.chi2 - b.chi2)[0] ?? null;
}

/** Goes on from a start until there is nothing left to gain, or the rounds are over. */
export function continueCurve(problem: CurveProblem, start: ArrayLike<number>): CurveFit | null {
  const first = fitFrom(problem, Array.from(start), ROUND);
  return first === null ? null : finishCurve(problem, first);
}

function finishCurve(problem: CurveProblem, from: CurveFit): CurveFit {
  let best = from;
  for (let round = 0; round < MAX_ROUNDS && !best.converged; round++) {
    const next = fitFrom(problem, [...best.parameters], ROUND);
    if (next === null || !(next.chi2 < best.chi2)) break;
    best = next;
  }
  return best;
}

function fitFrom(problem: CurveProblem, start: readonly number[], maxIterations: number): CurveFit | null {
  const { values, errors, model, jacobian, lower, upper } = problem;
  const count = values.length;
  const x = Array.from({ length: count }, (_, i) => i);
  const y = x.map((i) => values[i] / errors[i]);
  let parameterValues: number[];
  try {
    ({ parameterValues } = levenbergMarquardt({ x, y }, (p) => (i) => model(p, i) / errors[i], {
      initialValues: [...start],
      jacobianFunction: (p) => (i) => jacobian(p, i).map((d) => d / errors[i]),
      minValues: lower,
      maxValues: upper,
      damping: 1e-2,
      maxIterations,
      errorTolerance: 1e-9,
    }));
  } catch {
    // A singular or non-symmetric step: this start leads nowhere.
    return null;
  }
  const parameters = Float64Array.from(parameterValues);
  if (!parameters.every(Number.isFinite)) return null;
  return assess(problem, parameters);
}

/** Chi-square, covariance and whether there is anything left to gain at the given parameters. */
function assess(problem: CurveProblem, parameters: Float64Array): CurveFit {
  const { values, errors, model, jacobian } = problem;
  const n = parameters.length;
  const normal = new Float64Array(n * n);
  const gradient = new Float64Array(n);
  let chi2 = 0;
  for (let i = 0; i < values.length; i++) {
    const r = (values[i] - model(parameters, i)) / errors[i];
    chi2 += r * r;
    const d = jacobian(parameters, i);
    for (let j = 0; j < n; j++) {
      const dj = d[j] / errors[i];
      gradient[j] += dj * r;
      for (let k = 0; k < n; k++) normal[j * n + k] += (dj * d[k]) / errors[i];
    }
  }
  const covariance = invertSymmetric(normal, n);
  let gain = Infinity;
  if (covariance !== null) {
    const step = multiply(covariance, gradient, n);
    gain = 0;
    for (let j = 0; j < n; j++) gain += step[j] * gradient[j];
  }
  return { parameters, chi2, covariance, converged: gain < 0.01 };
}
