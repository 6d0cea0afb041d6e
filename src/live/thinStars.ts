import type { FrameStars } from '../field/frameStars.ts';
import type { Shape } from '../shapes/shape.ts';

/** Cells across and down from which stars are taken in turn, so that no part of the field is left without. */
const CELLS = { across: 9, down: 6 } as const;

/**
 * At most `most` stars of a sub, the best of each part of the field: the answer at the telescope must not wait for the
 * last tenth of its error. `check` uses every star.
 */
export function thinStars(stars: FrameStars, most: number): FrameStars {
  if (stars.shapes.length <= most) return stars;
  const cells: Shape[][] = Array.from({ length: CELLS.across * CELLS.down }, () => []);
  for (const shape of stars.shapes) {
    const column = Math.max(0, Math.min(CELLS.across - 1, Math.floor((shape.x / stars.width) * CELLS.across)));
    const row = Math.max(0, Math.min(CELLS.down - 1, Math.floor((shape.y / stars.height) * CELLS.down)));
    cells[row * CELLS.across + column]?.push(shape);
  }
  for (const cell of cells) cell.sort((a, b) => b.peakSnr - a.peakSnr);
  const shapes: Shape[] = [];
  for (let rank = 0; shapes.length < most; rank++)
    for (const cell of cells) {
      const shape = cell[rank];
      if (shape !== undefined && shapes.length < most) shapes.push(shape);
    }
  return { ...stars, shapes };
}
