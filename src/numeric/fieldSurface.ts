import { type LinearProblem, robustLinearFit } from './robustFit.ts';

/** A quantity over the field. */
export type Surface = (u: number, v: number) => number;

export interface SurfacePoint {
  /** From the middle, in the same unit both ways. */
  readonly u: number;
  readonly v: number;
  readonly value: number;
  readonly error: number;
}

/** Stars that may hold the nine terms up; fewer carry the quadratic ones. */
const CURVED_STARS = 60;
/** Fall of chi-square that three more terms must bring: by chance they do so in one of six thousand fields (chi-square tables). */
const CURVED_FALL = 20;
/** An outlier adds no more than this many sigma to it. */
const MOST_SIGMAS = 3;

const quadratic = (u: number, v: number): number[] => [1, u, v, u * u, u * v, v * v];

const curved = (u: number, v: number): number[] => {
  const r2 = u * u + v * v;
  return [...quadratic(u, v), r2 * u, r2 * v, r2 * r2];
};

/**
 * Robust surface through what aberrations make of the stars: an answer that goes with the square of the way to focus has the same terms.
 * Null where the points do not hold one.
 */
export const fitAnswerSurface = (points: readonly SurfacePoint[]): Surface | null =>
  fitTerms(
    points,
    points.map(() => 1),
    points.length < CURVED_STARS ? quadratic : curved,
  )?.surface ?? null;

/**
 * Robust surface through squared widths of stars. Their blur goes with the square of the way to focus, f + t u + s v + k r^2 over a
 * tilted and curved focal surface: beside the quadratic terms that square has r^2 u, r^2 v and r^4. They are taken where the stars show
 * them, and no farther out than these stand. `scales`: how the scatter of each goes, one a point; null where the points do not hold a
 * surface.
 */
export function fitWidthSurface(
  points: readonly SurfacePoint[],
  scales: readonly number[] = points.map(() => 1),
): Surface | null {
  const plain = fitTerms(points, scales, quadratic);
  const bent = plain === null || points.length < CURVED_STARS ? null : fitTerms(points, scales, curved);
  if (plain === null || bent === null) return plain?.surface ?? null;
  const chi2 = (surface: Surface): number =>
    points.reduce((sum, { u, v, value, error }, i) => {
      const sigma = Math.hypot(error, bent.intrinsic * scales[i]);
      return sum + Math.min(MOST_SIGMAS, Math.abs(value - surface(u, v)) / sigma) ** 2;
    }, 0);
  if (chi2(plain.surface) - chi2(bent.surface) < CURVED_FALL) return plain.surface;
  const reach = points.reduce((most, { u, v }) => Math.max(most, Math.hypot(u, v)), 0);
  return (u, v) => {
    const inwards = Math.min(1, reach / Math.max(Math.hypot(u, v), 1e-12));
    return bent.surface(inwards * u, inwards * v);
  };
}

function fitTerms(
  points: readonly SurfacePoint[],
  scales: readonly number[],
  terms: (u: number, v: number) => number[],
): { readonly surface: Surface; readonly intrinsic: number } | null {
  const problem: LinearProblem = {
    rows: points.map(({ u, v }, i) => terms(u, v).map((term) => term / scales[i])),
    values: points.map(({ value }, i) => value / scales[i]),
    errors: points.map(({ error }, i) => error / scales[i]),
  };
  const fitted = robustLinearFit(problem);
  if (fitted === null) return null;
  const { parameters, intrinsic } = fitted;
  return { surface: (u, v) => terms(u, v).reduce((sum, term, i) => sum + parameters[i] * term, 0), intrinsic };
}
