import type { Complex } from '../optics/complex.ts';
import { type DrawnFault, SENSOR_MM } from './drawnFaults.ts';
import { portraitOf } from './portrait.ts';

/** Three stars from left to right across the frame, for a terminal without pictures: each sign is one step of light. */
const PLACES: readonly { readonly name: string; readonly z: Complex }[] = [
  { name: 'upper left', z: { x: -0.4 * SENSOR_MM.width, y: 0.36 * SENSOR_MM.height } },
  { name: 'middle', z: { x: 0, y: 0 } },
  { name: 'lower right', z: { x: 0.4 * SENSOR_MM.width, y: -0.36 * SENSOR_MM.height } },
];
/** Faint to bright, evenly in magnitudes over a factor of 40: tails and faint rings stay visible. */
const SIGNS = ' .:-=+*#%@';
const RANGE = 40;
const COLUMNS = 23;
const ROWS = 13;
/** A character cell is about twice as high as wide. */
const UM_PER_COLUMN = 2.1;
const UM_PER_ROW = 2 * UM_PER_COLUMN;

/** Lines of plain ASCII, at most 78 columns. */
export function terminalStars(fault: DrawnFault): string[] {
  const stars = PLACES.map(({ z }) => portraitOf(fault, z));
  const rows = Array.from({ length: ROWS }, (_, row) => {
    const y = ((ROWS - 1) / 2 - row) * UM_PER_ROW;
    return stars.map((star) => starRow((x) => star.at(x, y))).join('   ');
  });
  const names = PLACES.map(({ name }) => name.padStart(Math.ceil((COLUMNS + name.length) / 2)).padEnd(COLUMNS));
  const lit = rows.map((row) => row.trimEnd());
  const first = lit.findIndex((row) => row !== '');
  return [...lit.slice(first, lit.findLastIndex((row) => row !== '') + 1), '', names.join('   ').trimEnd()];
}

function starRow(light: (x: number) => number): string {
  let row = '';
  for (let column = 0; column < COLUMNS; column++) {
    const share = light((column - (COLUMNS - 1) / 2) * UM_PER_COLUMN);
    const step = 1 + Math.log(Math.max(share, 1e-9)) / Math.log(RANGE);
    row += SIGNS[Math.max(0, Math.min(SIGNS.length - 1, Math.floor(step * SIGNS.length)))];
  }
  return row;
}
