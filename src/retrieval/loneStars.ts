import { robustSigma } from '../numeric/statistics.ts';
import type { ResponseTable } from '../optics/response.ts';
import { type Cell, QUANTITIES } from './cells.ts';
import type { Layout } from './layout.ts';
import { predictValues } from './model.ts';
import { errorsOf } from './problem.ts';

/** Stars in a cell that cannot vote one of them out; a cell of so few this many sigma off is one odd star. */
const LONE = 2;
const LONE_SIGMAS = 8;
/** Where more of a sub's cells than this share, and than one, stand apart it is not they that are odd. */
const MOST_ODD = 0.1;

/**
 * The cells less those of one or two stars that stand far from what all others say: a double, a galaxy, a ghost. `p`: the fit to all
 * of them, in whose scatter the sigmas are counted.
 */
export function withoutLone(
  cells: readonly Cell[],
  layout: Layout,
  table: Pick<ResponseTable, 'at' | 'rms'>,
  p: ArrayLike<number>,
): Cell[] {
  const told = new Float64Array(QUANTITIES);
  const off = cells.map((cell) => {
    predictValues(layout, table, p, cell, told, 0);
    const errors = errorsOf(cell, table.rms);
    return Array.from(told, (value, k) => Math.abs(cell.values[k] - value) / errors[k]);
  });
  const most = LONE_SIGMAS * Math.max(1, robustSigma(off.flat(), 0));
  const odd = cells.filter((cell, i) => cell.stars <= LONE && off[i].some((sigmas) => sigmas >= most));
  const of = (frame: number, some: readonly Cell[]): number => some.filter((cell) => cell.frame === frame).length;
  const few = (frame: number): boolean => of(frame, odd) <= Math.max(1, MOST_ODD * of(frame, cells));
  return cells.filter((cell) => !odd.includes(cell) || !few(cell.frame));
}
