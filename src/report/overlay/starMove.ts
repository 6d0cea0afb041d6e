import { textOutlines, textWidth } from '../lettering.ts';
import { PALETTE } from '../palette.ts';
import { fill, type Polygon } from '../raster.ts';
import type { StarShift } from '../record.ts';
import { arrow, line, ring } from '../strokes.ts';
import { cased, type Overlay, onCanvas, type Point, putLabel } from './overlay.ts';

/** Star A and target B on the canvas. */
export interface Move {
  readonly a: Point;
  readonly b: Point;
  readonly steps: number;
}

export function moveOf(overlay: Overlay, shift: StarShift): Move {
  return { a: onCanvas(overlay, shift.from), b: onCanvas(overlay, shift.to), steps: shift.steps };
}

export function drawMove(overlay: Overlay, { a, b, steps }: Move): void {
  const { canvas, width, height, u, taken } = overlay;
  const length = Math.hypot(b.x - a.x, b.y - a.y);
  const [ux, uy] = length === 0 ? [1, 0] : [(b.x - a.x) / length, (b.y - a.y) / length];
  const r = Math.max(9 * u, Math.min(19 * u, length * 0.2));
  const way = (grow: number): Polygon[] => {
    return arrow(a.x + ux * r, a.y + uy * r, b.x - ux * r * 1.6, b.y - uy * r * 1.6, 4.5 * u, grow);
  };
  cased(canvas, way, PALETTE.move, 4 * u);
  cased(canvas, (grow) => ring(a.x, a.y, r, 4 * u + grow), PALETTE.move, 4 * u);
  cased(canvas, (grow) => brackets(b, r * 1.15, 4 * u + grow), PALETTE.move, 4 * u);
  const size = 46 * u;
  const letters = [
    { text: 'A', x: a.x - ux * (r + 34 * u), y: a.y - uy * (r + 34 * u) },
    { text: 'B', x: b.x + ux * (r + 36 * u), y: b.y + uy * (r + 36 * u) },
  ];
  for (const { text, x, y } of letters) {
    const wide = textWidth(text, size, 'bold');
    const left = Math.max(4 * u, Math.min(width - wide - 4 * u, x - wide / 2));
    const base = Math.max(size, Math.min(height - 8 * u, y + size * 0.36));
    for (const [dx, dy] of HALO) {
      fill(canvas, textOutlines(text, left + dx * 3 * u, base + dy * 3 * u, size, 'bold'), PALETTE.casing, 0.5);
    }
    fill(canvas, textOutlines(text, left, base, size, 'bold'), PALETTE.move);
    taken.push({ x: left, y: base - size * 0.75, width: wide, height: size * 0.8 });
  }
  if (steps > 1) {
    const deg = (Math.atan2(-uy, ux) * 180) / Math.PI;
    const middle = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
    putLabel(overlay, { lines: [`step 1 of ${steps}`], colour: PALETTE.move, anchors: [middle, b, a], deg });
  }
}

const HALO = [-1, 0, 1].flatMap((dx) => [-1, 0, 1].map((dy) => [dx, dy] as const));

/** Four corners of a square: where the star shall come to stand. */
function brackets({ x, y }: Point, half: number, width: number): Polygon[] {
  const arm = half * 0.55;
  return [-1, 1].flatMap((sx) =>
    [-1, 1].flatMap((sy) => [
      ...line(x + sx * half, y + sy * half, x + sx * (half - arm), y + sy * half, width),
      ...line(x + sx * half, y + sy * half, x + sx * half, y + sy * (half - arm), width),
    ]),
  );
}
