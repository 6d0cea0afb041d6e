import { contours } from 'd3-contour';

/** Vector drawings for the page: numbers rounded to a tenth of a unit, colours from the page's style. */

export const round = (value: number): string => {
  const text = (Math.round(value * 10) / 10).toString();
  return text === '-0' ? '0' : text;
};

/** One closed line of a contour, drawing units. */
export type Ring = readonly (readonly [number, number])[];

/**
 * Where a grid of values reaches each level (marching squares, d3-contour), in grid steps: a value's own place is a whole number,
 * and rings that leave the grid follow its edge.
 */
export function ringsOf(
  values: ArrayLike<number>,
  columns: number,
  rows: number,
  levels: readonly number[],
): { readonly level: number; readonly rings: readonly Ring[] }[] {
  const clamp = (at: number, last: number): number => Math.max(0, Math.min(last, at - 0.5));
  return contours()
    .size([columns, rows])
    .thresholds([...levels])(Array.from(values))
    .map(({ value, coordinates }) => ({
      level: value,
      rings: coordinates.flatMap((polygon) =>
        polygon.map((ring) =>
          ring.map(([x = 0, y = 0]): [number, number] => [clamp(x, columns - 1), clamp(y, rows - 1)]),
        ),
      ),
    }));
}

/** A path of closed rings; points that repeat after rounding are dropped. */
export function pathOf(rings: readonly Ring[], place: (x: number, y: number) => readonly [number, number]): string {
  return rings
    .map((ring) => {
      let last = '';
      const points: string[] = [];
      for (const [gx, gy] of ring) {
        const [x, y] = place(gx, gy);
        const text = `${round(x)} ${round(y)}`;
        if (text !== last) points.push(text);
        last = text;
      }
      return points.length < 3 ? '' : `M${points.join('L')}Z`;
    })
    .join('');
}
