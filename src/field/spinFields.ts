import { type LinearFit, robustLinearFit } from '../numeric/robustFit.ts';
import { type FrameStars, fieldPosition, type Place, type Uncertain, type UncertainVector } from './frameStars.ts';

/**
 * Smooth fields of one sub, after the symmetry rules of third-order misalignment (Shack & Thompson 1980, Proc. SPIE 251,
 * 146; Schechter & Levinson 2011, PASP 123, 812): a quantity of spin 1 is a constant vector plus c1 z, spin 2 a constant,
 * a linear term and z^2, spin 3 a constant. z = u + iv in half-diagonals.
 */
export interface SpinFields {
  /**
   * coma3 = uniform + linear z + cubic z |z|^2: the last is what a response that changes towards the corners (defocus, a cut
   * light cone, gross coma) makes of the others.
   */
  readonly coma: { readonly uniform: UncertainVector; readonly linear: Uncertain; readonly cubic: number };
  /** (e1, e2) = uniform + linear (u, v) + radial z^2; radial > 0: long axes point to the centre. */
  readonly distortion: {
    readonly uniform: UncertainVector;
    /** [de1/du, de1/dv, de2/du, de2/dv]. */
    readonly linear: readonly [number, number, number, number];
    readonly linearError: number;
    readonly radial: Uncertain;
  };
  readonly trefoil: { readonly uniform: UncertainVector };
}

/** Fewer stars than this carry no field. */
export const MIN_FIELD_STARS = 8;

export function fitSpinFields(frame: FrameStars): SpinFields | null {
  if (frame.shapes.length < MIN_FIELD_STARS) return null;
  const coma = fitComaField(frame);
  const distortion = fitDistortion(frame);
  const trefoil = fitTrefoil(frame);
  if (coma === null || distortion === null || trefoil === null) return null;
  const d = distortion.parameters;
  return {
    coma,
    distortion: {
      uniform: vectorOf(distortion),
      linear: [d[2], d[3], d[4], d[5]],
      linearError: Math.sqrt([2, 3, 4, 5].reduce((sum, i) => sum + errorAt(distortion, i) ** 2, 0) / 4),
      radial: { value: d[6], error: errorAt(distortion, 6) },
    },
    trefoil: { uniform: vectorOf(trefoil) },
  };
}

function errorAt(fit: LinearFit, i: number): number {
  const n = fit.parameters.length;
  return Math.sqrt(Math.max(0, fit.covariance[i * n + i]));
}

const vectorOf = (fit: LinearFit): UncertainVector => ({
  x: fit.parameters[0],
  y: fit.parameters[1],
  error: Math.sqrt((errorAt(fit, 0) ** 2 + errorAt(fit, 1) ** 2) / 2),
});

/** How much more strongly than in focus the stars at a field place answer to coma. */
export type ComaGain = (u: number, v: number) => number;

/**
 * The coma field of one sub, each star's answer brought to that in focus; `about`: the place whose coma `uniform` is, and about which the
 * rest grows.
 */
export function fitComaField(
  frame: FrameStars,
  gain: ComaGain = () => 1,
  about: Place = { u: 0, v: 0 },
): SpinFields['coma'] | null {
  const rows: number[][] = [];
  const values: number[] = [];
  const errors: number[] = [];
  for (const s of frame.shapes) {
    const place = fieldPosition(frame, s.x, s.y);
    const g = gain(place.u, place.v);
    const [u, v] = [place.u - about.u, place.v - about.v];
    const r2 = u * u + v * v;
    rows.push([1, 0, u, u * r2], [0, 1, v, v * r2]);
    values.push(s.coma3.x / g, s.coma3.y / g);
    errors.push(s.coma3.error / g, s.coma3.error / g);
  }
  const fit = robustLinearFit({ rows, values, errors });
  if (fit === null) return null;
  return {
    uniform: vectorOf(fit),
    linear: { value: fit.parameters[2], error: errorAt(fit, 2) },
    cubic: fit.parameters[3],
  };
}

function fitDistortion(frame: FrameStars): LinearFit | null {
  const rows: number[][] = [];
  const values: number[] = [];
  const errors: number[] = [];
  for (const s of frame.shapes) {
    const { u, v } = fieldPosition(frame, s.x, s.y);
    rows.push([1, 0, u, v, 0, 0, u * u - v * v], [0, 1, 0, 0, u, v, 2 * u * v]);
    values.push(s.e1, s.e2);
    errors.push(s.eError, s.eError);
  }
  return robustLinearFit({ rows, values, errors });
}

function fitTrefoil(frame: FrameStars): LinearFit | null {
  const rows: number[][] = [];
  const values: number[] = [];
  const errors: number[] = [];
  for (const s of frame.shapes) {
    rows.push([1, 0], [0, 1]);
    values.push(s.trefoil3.x, s.trefoil3.y);
    errors.push(s.trefoil3.error, s.trefoil3.error);
  }
  return robustLinearFit({ rows, values, errors });
}
