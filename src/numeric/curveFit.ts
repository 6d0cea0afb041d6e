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
  /** The same for all points at once, where that costs less: the model alone, and with its derivatives (a row a point). */
  readonly whole?: {
    readonly values: (parameters: ArrayLike<number>, out: Float64Array) => void;
    readonly slopes: (parameters: ArrayLike<number>, values: Float64Array, rows: Float64Array) => void;
  };
  /** What `descend` does, where somebody has compiled it for this model. */
  readonly descend?: Descend;
}

/** Downhill from a start, so many iterations at most; null where it leads nowhere. */
export type Descend = (start: ArrayLike<number>, maxIterations: number) => Place | null;

export interface CurveFit {
  readonly parameters: Float64Array;
  readonly chi2: number;
  /** n x n, row-major, from the Jacobian at the end; null where a direction is not held by the data. */
  readonly covariance: Float64Array | null;
  /** What a further Gauss-Newton step, within the bounds, would take off chi-square if the model were straight. */
  readonly gain: number;
}

/** A glance at every start, a longer look at the better half, then the best few to the end. */
const GLANCE = 2;
const LOOK = 4;
const FINISH = 40;
const FINALISTS = 3;

/** Stop when a step gains less than this share of chi-square. */
const TOLERANCE = 1e-7;

/** The second-order part of a step may be this share of the first-order one; more, and the step was too long. */
const MOST_BENDING = 0.75;
/** Share of a step over which its bending is felt for. */
const FEELER = 0.1;

/**
 * The best of several starts of Levenberg-Marquardt (Marquardt 1963, J. SIAM 11, 431) within bounds, with geodesic acceleration
 * (Transtrum, Machta & Sethna 2011, Phys. Rev. E 83, 036701): narrow bent valleys are followed instead of crept along.
 */
export function fitCurve(problem: CurveProblem, starts: readonly (readonly number[])[]): CurveFit | null {
  const glances = starts.flatMap((start) => descend(problem, start, GLANCE) ?? []).sort(byChi2);
  const better = distinct(glances, Math.ceil(glances.length / 2));
  const looks = better.flatMap((place) => descend(problem, place.parameters, LOOK) ?? []).sort(byChi2);
  const finished = distinct(looks, FINALISTS).flatMap((end) => descend(problem, end.parameters, FINISH) ?? []);
  const [best] = finished.sort(byChi2);
  return best === undefined ? null : assess(problem, best.parameters);
}

/** Goes on from a start until there is nothing left to gain; null as well where a longer look does not come below `below`. */
export function continueCurve(
  problem: CurveProblem,
  start: ArrayLike<number>,
  below = Number.POSITIVE_INFINITY,
): CurveFit | null {
  const look = below === Number.POSITIVE_INFINITY ? null : descend(problem, start, 2 * LOOK);
  if (look !== null && look.chi2 > below) return null;
  const end = descend(problem, look?.parameters ?? start, FINISH);
  return end === null ? null : assess(problem, end.parameters);
}

export interface Place {
  readonly parameters: Float64Array;
  readonly chi2: number;
}

const byChi2 = (a: Place, b: Place): number => a.chi2 - b.chi2;

/** The first `most` of a sorted list that lie in different valleys. */
function distinct(places: readonly Place[], most: number): Place[] {
  const out: Place[] = [];
  for (const place of places) {
    if (out.length === most) break;
    if (!out.some((known) => sameValley(known, place))) out.push(place);
  }
  return out;
}

/** Looks that have come this near to each other, as a share of every parameter, end at the same place. */
const SAME = 0.02;

const sameValley = (a: Place, b: Place): boolean =>
  a.parameters.every((value, j) => Math.abs(value - b.parameters[j]) <= SAME * Math.abs(value));

/** Downhill from one start; null where it leads nowhere. */
function descend(problem: CurveProblem, start: ArrayLike<number>, maxIterations: number): Place | null {
  if (problem.descend !== undefined) return problem.descend(start, maxIterations);
  const { lower, upper } = problem;
  const n = start.length;
  const slopes = new Slopes(problem.values.length, n);
  const damped = new Float64Array(n * n);
  let parameters = Float64Array.from({ length: n }, (_, j) => Math.min(upper[j], Math.max(lower[j], start[j])));
  let chi2 = chiSquare(problem, parameters);
  let lambda = 1e-2;
  for (let iteration = 0; iteration < maxIterations && Number.isFinite(chi2); iteration++) {
    slopes.take(problem, parameters);
    const before = chi2;
    for (let attempt = 0; attempt < 8; attempt++) {
      damped.set(slopes.normal);
      for (let j = 0; j < n; j++) damped[j * n + j] *= 1 + lambda;
      const inverse = invertSymmetric(damped, n, damped);
      const step = inverse === null ? null : slopes.step(problem, parameters, inverse);
      const next = step?.map((change, j) => Math.min(upper[j], Math.max(lower[j], parameters[j] + change)));
      const nextChi2 = next === undefined ? Infinity : chiSquare(problem, next);
      if (next !== undefined && nextChi2 <= chi2) {
        parameters = next;
        chi2 = nextChi2;
        lambda = Math.max(1e-9, lambda * 0.1);
        break;
      }
      lambda *= 10;
    }
    if (before - chi2 <= TOLERANCE * before) break;
  }
  return Number.isFinite(chi2) ? { parameters, chi2 } : null;
}

/** The model at all points. */
function modelAt({ model, whole }: CurveProblem, parameters: Float64Array, out: Float64Array): void {
  if (whole !== undefined) whole.values(parameters, out);
  else for (let i = 0; i < out.length; i++) out[i] = model(parameters, i);
}

function chiSquare(problem: CurveProblem, parameters: Float64Array): number {
  const { values, errors } = problem;
  const here = new Float64Array(values.length);
  modelAt(problem, parameters, here);
  let chi2 = 0;
  for (let i = 0; i < values.length; i++) {
    const r = (values[i] - here[i]) / errors[i];
    chi2 += r * r;
  }
  return chi2;
}

// Loops that run hot stand in small functions of their own: the compiler has little to redo when something around them changes.

/** normal = rows' rows (lower triangle), gradient = rows' values. */
function normalEquations(rows: Float64Array, values: Float64Array, normal: Float64Array, gradient: Float64Array): void {
  const n = gradient.length;
  normal.fill(0);
  gradient.fill(0);
  for (let i = 0, row = 0; i < values.length; i++, row += n)
    for (let j = 0; j < n; j++) {
      const d = rows[row + j];
      if (d === 0) continue;
      for (let k = 0; k <= j; k++) normal[j * n + k] += d * rows[row + k];
    }
  addProducts(rows, values, gradient);
}

/** out += rows' values. */
function addProducts(rows: Float64Array, values: Float64Array, out: Float64Array): void {
  const n = out.length;
  for (let i = 0, row = 0; i < values.length; i++, row += n)
    for (let j = 0; j < n; j++) out[j] += rows[row + j] * values[i];
}

/** The problem made straight around one place. */
class Slopes {
  readonly normal: Float64Array;
  readonly gradient: Float64Array;
  /** Derivatives over errors, a row a point. */
  readonly rows: Float64Array;
  readonly still: Uint8Array;
  /** The model there. */
  readonly here: Float64Array;
  /** Residuals over errors. */
  private readonly pulls: Float64Array;

  constructor(points: number, n: number) {
    this.here = new Float64Array(points);
    this.pulls = new Float64Array(points);
    this.normal = new Float64Array(n * n);
    this.gradient = new Float64Array(n);
    this.rows = new Float64Array(points * n);
    this.still = new Uint8Array(n);
  }

  take(problem: CurveProblem, p: Float64Array): void {
    const { values, errors, jacobian, lower, upper, whole } = problem;
    const n = p.length;
    const { normal, gradient, rows, still } = this;
    if (whole !== undefined) whole.slopes(p, this.here, rows);
    else {
      modelAt(problem, p, this.here);
      for (let i = 0; i < values.length; i++) rows.set(jacobian(p, i), i * n);
    }
    for (let i = 0, at = 0; i < values.length; i++) {
      this.pulls[i] = (values[i] - this.here[i]) / errors[i];
      for (let j = 0; j < n; j++, at++) rows[at] /= errors[i];
    }
    normalEquations(rows, this.pulls, normal, gradient);
    for (let j = 0; j < n; j++) {
      // A parameter that stands on a bound and pulls outwards keeps still.
      const held = (p[j] <= lower[j] && gradient[j] <= 0) || (p[j] >= upper[j] && gradient[j] >= 0);
      still[j] = held || !(normal[j * n + j] > 0) ? 1 : 0;
      if (still[j] === 0) continue;
      for (let k = 0; k < n; k++) normal[Math.max(j, k) * n + Math.min(j, k)] = 0;
      normal[j * n + j] = 1;
      gradient[j] = 0;
    }
  }

  /** The damped step with its bending; null where that is too large for the step to be trusted. */
  step(problem: CurveProblem, p: Float64Array, inverse: Float64Array): Float64Array | null {
    const { errors } = problem;
    const n = p.length;
    const straight = multiply(inverse, this.gradient, n);
    const ahead = p.map((value, j) => value + FEELER * straight[j]);
    const back = p.map((value, j) => value - FEELER * straight[j]);
    const second = new Float64Array(errors.length);
    const there = new Float64Array(errors.length);
    for (const place of [ahead, back]) {
      modelAt(problem, place, there);
      for (let i = 0; i < second.length; i++) second[i] += there[i] - this.here[i];
    }
    for (let i = 0; i < second.length; i++) second[i] /= -(FEELER * FEELER) * errors[i];
    const right = new Float64Array(n);
    addProducts(this.rows, second, right);
    for (let j = 0; j < n; j++) if (this.still[j] === 1) right[j] = 0;
    const bending = multiply(inverse, right, n);
    let bent = 0;
    let length = 0;
    for (let j = 0; j < n; j++) {
      // In units of what the data hold each parameter to.
      bent += bending[j] * bending[j] * this.normal[j * n + j];
      length += straight[j] * straight[j] * this.normal[j * n + j];
    }
    if (!(2 * Math.sqrt(bent) <= MOST_BENDING * Math.sqrt(length))) return null;
    return straight.map((value, j) => value + 0.5 * bending[j]);
  }
}

/** Chi-square, covariance and whether there is anything left to gain at the given parameters. */
function assess(problem: CurveProblem, parameters: Float64Array): CurveFit {
  const { errors } = problem;
  const n = parameters.length;
  const slopes = new Slopes(errors.length, n);
  slopes.take(problem, parameters);
  const { rows, gradient } = slopes;
  const whole = new Float64Array(n * n);
  for (let i = 0; i < errors.length; i++)
    for (let j = 0; j < n; j++) for (let k = 0; k < n; k++) whole[j * n + k] += rows[i * n + j] * rows[i * n + k];
  const free = invertSymmetric(slopes.normal, n);
  const gain =
    free === null ? Infinity : multiply(free, gradient, n).reduce((sum, step, j) => sum + step * gradient[j], 0);
  return {
    parameters,
    chi2: chiSquare(problem, parameters),
    covariance: invertSymmetric(whole, n),
    gain,
  };
}
