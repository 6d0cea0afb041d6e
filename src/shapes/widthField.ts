import { robustLinearFit } from '../numeric/robustFit.ts';
import { median } from '../numeric/statistics.ts';
import { widthTerms } from '../numeric/widthTerms.ts';
import type { Shape } from './shape.ts';

/** Typical FWHM, pixels, at a stored pixel. */
export type WidthField = (x: number, y: number) => number;

/** Fewer stars than this carry no more than one width for the whole frame. */
const MIN_FIELD = 30;
/** What stars of one place differ by beside their errors, as a share. */
const OWN_SCATTER = 0.02;
/** The surface is held within this factor of the median: a quadratic may run away where no star holds it. */
const NARROWEST = 0.5;
const WIDEST = 2.7;

/**
 * Smooth (`widthTerms` in the square, robust) field of widths: wide enough for a tilted or curved focus, stiff enough that
 * no single star moves it. Null without any star.
 */
export function fitWidthField(shapes: readonly Shape[], width: number, height: number): WidthField | null {
  if (shapes.length === 0) return null;
  const middle = median(shapes.map((s) => s.fwhm));
  if (shapes.length < MIN_FIELD) return () => middle;
  const half = 0.5 * Math.hypot(width, height);
  const terms = (x: number, y: number): number[] =>
    widthTerms((x - 0.5 * width) / half, (y - 0.5 * height) / half, shapes.length);
  const fit = robustLinearFit({
    rows: shapes.map((s) => terms(s.x, s.y)),
    values: shapes.map((s) => s.fwhm ** 2),
    errors: shapes.map((s) => 2 * s.fwhm * Math.hypot(s.fwhmError, OWN_SCATTER * s.fwhm)),
  });
  if (fit === null) return () => middle;
  return (x, y) => {
    const row = terms(x, y);
    let sum = 0;
    for (let i = 0; i < row.length; i++) sum += row[i] * fit.parameters[i];
    return Math.min(WIDEST * middle, Math.max(NARROWEST * middle, Math.sqrt(Math.max(0, sum))));
  };
}
