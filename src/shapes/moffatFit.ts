import { fitCurve } from '../numeric/curveFit.ts';
import { median, robustSigma } from '../numeric/statistics.ts';
import type { Shape } from './shape.ts';
import { cutStamp, newStamp, type Source } from './stamp.ts';

/**
 * A star with wings: A (1 + a dx^2 + b dx dy + c dy^2)^-beta + B (Moffat 1969, A&A 3, 455), as the pixels recorded it.
 * For people who want to know the wings; the diagnosis rests on the Gaussian fit.
 */
export interface MoffatShape {
  readonly beta: number;
  /** Geometric mean of both axes, pixels, pixel integration included. */
  readonly fwhm: number;
  readonly elongation: number;
}

/** Typical star of a sub by Moffat fits; errors are those of the medians. */
export interface MoffatSummary {
  readonly stars: number;
  readonly beta: { readonly value: number; readonly error: number };
  readonly fwhm: { readonly value: number; readonly error: number };
}

/** The library's fit is slow; this many of the brightest stars tell the wings well. */
const MAX_STARS = 50;
/** Wings reach farther than a core: window radius in FWHM. */
const WINDOW_FWHM = 3;
/** A fit with this much of chi-square left to gain has not come to its end. */
const UNFINISHED = 0.01;
const BETA = { start: 3.5, from: 1.1, to: 20 } as const;
/** A median's error over that of the mean: sqrt(pi/2). */
const MEDIAN_COST = Math.sqrt(Math.PI / 2);

const stamp = newStamp();

/** Moffat fit of one star whose Gaussian shape is known; null where it does not converge or ends on a limit. */
export function fitMoffat(source: Source, star: Shape): MoffatShape | null {
  cutStamp(source, star.x, star.y, WINDOW_FWHM * star.fwhm, Number.POSITIVE_INFINITY, stamp);
  if (stamp.count < 20 || stamp.coverage < 0.95) return null;
  const { dx, dy, value, count } = stamp;
  // q = 1 where the profile of the starting beta has fallen to half at the Gaussian's half width.
  const half = 2 ** (1 / BETA.start) - 1;
  const form = (4 * half) / star.fwhm ** 2;
  // Everything in units of the amplitude, so that one damping suits all parameters.
  const scale = star.amplitude;
  const fit = fitCurve(
    {
      values: Float64Array.from({ length: count }, (_, k) => (value[k] - star.background) / scale),
      errors: new Float64Array(count).fill(1),
      model: (p, k) => {
        const x = dx[k] - p[1];
        const y = dy[k] - p[2];
        return p[0] * (1 + Math.max(0, p[3] * x * x + p[4] * x * y + p[5] * y * y)) ** -p[7] + p[6];
      },
      jacobian: (p, k) => {
        const x = dx[k] - p[1];
        const y = dy[k] - p[2];
        const q = 1 + Math.max(0, p[3] * x * x + p[4] * x * y + p[5] * y * y);
        const power = q ** -p[7];
        const slope = (-p[0] * p[7] * power) / q;
        return [
          power,
          -slope * (2 * p[3] * x + p[4] * y),
          -slope * (p[4] * x + 2 * p[5] * y),
          slope * x * x,
          slope * x * y,
          slope * y * y,
          1,
          -p[0] * power * Math.log(q),
        ];
      },
      lower: [0.2, -3, -3, form / 20, -20 * form, form / 20, -1, BETA.from],
      upper: [5, 3, 3, 20 * form, 20 * form, 20 * form, 1, BETA.to],
    },
    [[1, star.x - stamp.originX, star.y - stamp.originY, form, 0, form, 0, BETA.start]],
  );
  if (fit === null || fit.gain > UNFINISHED) return null;
  const [, , , a, b, c, , beta] = fit.parameters;
  const determinant = a * c - (b * b) / 4;
  if (!(determinant > 0) || beta <= 1.01 * BETA.from || beta >= 0.99 * BETA.to) return null;
  const root = Math.hypot(a - c, b);
  return {
    beta,
    fwhm: 2 * Math.sqrt(2 ** (1 / beta) - 1) * determinant ** -0.25,
    elongation: Math.sqrt((a + c + root) / (a + c - root)),
  };
}

/** The brightest stars of a sub; null where fewer than five could be fitted. */
export function summariseMoffat(source: Source, shapes: readonly Shape[]): MoffatSummary | null {
  const fits = [...shapes]
    .sort((a, b) => b.peakSnr - a.peakSnr)
    .slice(0, MAX_STARS)
    .flatMap((star) => fitMoffat(source, star) ?? []);
  if (fits.length < 5) return null;
  const summary = (values: number[]): { value: number; error: number } => {
    const value = median(values);
    return { value, error: (MEDIAN_COST * robustSigma(values, value)) / Math.sqrt(values.length) };
  };
  return { stars: fits.length, beta: summary(fits.map((f) => f.beta)), fwhm: summary(fits.map((f) => f.fwhm)) };
}
