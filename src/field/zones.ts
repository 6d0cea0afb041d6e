import { median, robustSigma, weightedMedian } from '../numeric/statistics.ts';
import type { Shape } from '../shapes/shape.ts';
import type { FrameStars, Uncertain, UncertainVector } from './frameStars.ts';

/** One of nine equal rectangles of the frame; row 0 holds the first STORED rows. For people to read, not for the fits. */
export interface Zone {
  readonly row: number;
  readonly column: number;
  readonly stars: number;
  /** Null where there are fewer than MIN_ZONE_STARS. */
  readonly summary: ZoneSummary | null;
}

export interface ZoneSummary {
  readonly fwhm: Uncertain;
  /** Of the typical star's distortion with the noise taken off, so that noise alone does not make stars look long. */
  readonly elongation: Uncertain;
  /** Radians, stored axes; error in radians. */
  readonly theta: Uncertain;
  readonly coma3: UncertainVector;
  readonly trefoil3: UncertainVector;
}

export const MIN_ZONE_STARS = 3;
/** Median of e1^2 + e2^2 of pure noise, in units of the variance of one: 2 ln 2 (Rayleigh distribution). */
const NOISE_MEDIAN = 2 * Math.LN2;
/** A median's error over that of the mean, Gaussian scatter: sqrt(pi/2). */
const MEDIAN_COST = Math.sqrt(Math.PI / 2);

/** Zones of all subs together, row by row in stored order. */
export function summariseZones(frames: readonly FrameStars[]): Zone[] {
  const inZone = Array.from({ length: 9 }, (): Shape[] => []);
  const ninth = (place: number, extent: number): number =>
    Math.max(0, Math.min(2, Math.floor((3 * (place + 0.5)) / extent)));
  for (const { shapes, width, height } of frames)
    for (const s of shapes) inZone[3 * ninth(s.y, height) + ninth(s.x, width)].push(s);
  return inZone.map((shapes, i) => ({
    row: Math.floor(i / 3),
    column: i % 3,
    stars: shapes.length,
    summary: shapes.length < MIN_ZONE_STARS ? null : summariseShapes(shapes),
  }));
}

export function summariseShapes(shapes: readonly Shape[]): ZoneSummary {
  const fwhm = medianWithError(
    shapes.map((s) => s.fwhm),
    shapes.map((s) => s.fwhmError),
  );
  const eErrors = shapes.map((s) => s.eError);
  const e1 = medianWithError(
    shapes.map((s) => s.e1),
    eErrors,
  );
  const e2 = medianWithError(
    shapes.map((s) => s.e2),
    eErrors,
  );
  const mean = Math.hypot(e1.value, e2.value);
  const eError = Math.sqrt((e1.error ** 2 + e2.error ** 2) / 2);
  // Where the axes turn within a zone the mean vector shrinks; the typical star's length, less what noise adds, does not.
  const typical2 = median(shapes.map((s) => s.e1 ** 2 + s.e2 ** 2 - NOISE_MEDIAN * s.eError ** 2));
  const e = Math.min(0.999, Math.max(mean, Math.sqrt(Math.max(0, typical2))));
  // elongation = sqrt((1 + e)/(1 - e)); d/de = elongation/(1 - e^2).
  const elongation = Math.sqrt((1 + e) / (1 - e));
  const vector = (pick: 'coma3' | 'trefoil3'): UncertainVector => {
    const errors = shapes.map((s) => s[pick].error);
    const x = medianWithError(
      shapes.map((s) => s[pick].x),
      errors,
    );
    const y = medianWithError(
      shapes.map((s) => s[pick].y),
      errors,
    );
    return { x: x.value, y: y.value, error: Math.sqrt((x.error ** 2 + y.error ** 2) / 2) };
  };
  return {
    fwhm,
    elongation: { value: elongation, error: (elongation * eError) / (1 - e * e) },
    theta: {
      value: 0.5 * Math.atan2(e2.value, e1.value),
      error: Math.min(Math.PI / 4, 0.5 * (eError / Math.max(mean, 1e-9))),
    },
    coma3: vector('coma3'),
    trefoil3: vector('trefoil3'),
  };
}

/** Median, stars weighed by their scatter and own errors, with the larger of the error the scatter shows and the stars claim. */
function medianWithError(values: readonly number[], errors: readonly number[]): Uncertain {
  const scatter = Math.max(robustSigma(values), 0.5 * median(errors));
  // Where all are the same and claim no error, all weigh the same.
  const weights = errors.map((error) => (scatter > 0 ? scatter ** 2 / (scatter ** 2 + error ** 2) : 1));
  const sum = weights.reduce((total, w) => total + w, 0);
  const squares = weights.reduce((total, w) => total + w * w, 0);
  return { value: weightedMedian(values, weights), error: (MEDIAN_COST * scatter * Math.sqrt(squares)) / sum };
}
