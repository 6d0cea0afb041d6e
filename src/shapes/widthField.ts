import { robustLinearFit } from '../numeric/robustFit.ts';
import { median } from '../numeric/statistics.ts';
import type { Shape } from './shape.ts';

/** Typical FWHM, pixels, at a stored pixel. */
export type WidthField = (x: number, y: number) => number;

/** Fewer stars than this carry no more than one width for the whole frame. */
const MIN_FIELD = 30;
/** The surface is held within this factor of the median: a quadratic may run away where no star holds it. */
const NARROWEST = 0.5;
const WIDEST = 2.7;

/**
 * Smooth (quadratic in the logarithm, robust) field of widths: wide enough for a tilted or curved focus, stiff enough that
 * no single star moves it. Null without any star.
 */
export function fitWidthField(shapes: readonly Shape[], width: number, height: number): WidthField | null {
  if (shapes.length === 0) return null;
  const logs = shapes.map((s) => Math.log(s.fwhm));
  const middle = Math.exp(median(logs));
  if (shapes.length < MIN_FIELD) return () => middle;
  const terms = (x: number, y: number): number[] => {
    const u = (2 * x) / width - 1;
    const v = (2 * y) / height - 1;
    return [1, u, v, u * u, u * v, v * v];
  };
  const fit = robustLinearFit({
    rows: shapes.map((s) => terms(s.x, s.y)),
    values: logs,
    errors: shapes.map((s) => Math.hypot(s.fwhmError / s.fwhm, 0.02)),
  });
  if (fit === null) return () => middle;
  return (x, y) => {
    const row = terms(x, y);
    let sum = 0;
    for (let i = 0; i < row.length; i++) sum += row[i] * fit.parameters[i];
    return Math.min(WIDEST * middle, Math.max(NARROWEST * middle, Math.exp(sum)));
  };
}
