import { fitWidthSurface } from '../numeric/fieldSurface.ts';
import { median } from '../numeric/statistics.ts';
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
 * Smooth (`fitWidthSurface`, robust) field of widths: wide enough for a tilted or curved focus, stiff enough that
 * no single star moves it. Null without any star.
 */
export function fitWidthField(shapes: readonly Shape[], width: number, height: number): WidthField | null {
  if (shapes.length === 0) return null;
  const middle = median(shapes.map((s) => s.fwhm));
  if (shapes.length < MIN_FIELD) return () => middle;
  const half = 0.5 * Math.hypot(width, height);
  const place = (x: number, y: number): [number, number] => [(x - 0.5 * width) / half, (y - 0.5 * height) / half];
  const squares = shapes.map((s) => {
    const [u, v] = place(s.x, s.y);
    return { u, v, value: s.fwhm ** 2, error: 2 * s.fwhm * Math.hypot(s.fwhmError, OWN_SCATTER * s.fwhm) };
  });
  const held = (square: number): number =>
    Math.min(WIDEST * middle, Math.max(NARROWEST * middle, Math.sqrt(Math.max(0, square))));
  // Stars of one place scatter by a share of their width: at first of their own, then of what is found there.
  const first = fitWidthSurface(
    squares,
    squares.map(({ value }) => value),
  );
  const surface =
    first === null
      ? null
      : fitWidthSurface(
          squares,
          squares.map(({ u, v }) => held(first(u, v)) ** 2),
        );
  return surface === null ? () => middle : (x, y) => held(surface(...place(x, y)));
}
