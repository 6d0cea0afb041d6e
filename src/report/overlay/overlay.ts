import { type Box, drawLabel, type LabelStyle, labelSize, placeBox } from '../labels.ts';
import { PALETTE } from '../palette.ts';
import { type Canvas, type Colour, fill, type Polygon } from '../raster.ts';
import type { Report } from '../record.ts';
import { towards } from '../strokes.ts';

export interface Point {
  readonly x: number;
  readonly y: number;
}

/** Everything the parts of the overlay share; u is a thousandth of the picture's width. */
export interface Overlay {
  readonly canvas: Canvas;
  readonly report: Report;
  readonly width: number;
  readonly height: number;
  readonly u: number;
  /** Canvas pixels per frame pixel. */
  readonly scale: number;
  /** Space that labels keep off; grows as the parts are drawn. */
  readonly taken: Box[];
}

/** Point of the record (pixels from the frame's centre, y up) on the canvas. */
export function onCanvas(overlay: Overlay, point: Point): Point {
  return { x: overlay.width / 2 + point.x * overlay.scale, y: overlay.height / 2 - point.y * overlay.scale };
}

/** Draws a shape twice: a dark casing first, so that it stands out on stars and nebulosity alike. */
export function cased(canvas: Canvas, shape: (grow: number) => Polygon[], colour: Colour, casing: number): void {
  fill(canvas, shape(casing), PALETTE.casing, 0.72);
  fill(canvas, shape(0), colour);
}

export interface Label {
  readonly lines: readonly string[];
  readonly colour: Colour;
  /** Wished anchors, best first: the label stands beside the anchor, off a line through it along `deg`. */
  readonly anchors: readonly Point[];
  readonly deg: number;
  /** Distance from the line, canvas pixels; LABEL_GAP where not told. */
  readonly gap?: number;
}

/** Gap between a label and what it names, thousandths of the width. */
const LABEL_GAP = 16;
const LABEL_SIZE = 28;

export function putLabel({ canvas, width, height, u, taken }: Overlay, label: Label): void {
  const style: LabelStyle = { size: LABEL_SIZE * u, weight: 'bold', colour: label.colour, plate: 0.78 };
  const area = { x: 8 * u, y: 8 * u, width: width - 16 * u, height: height - 16 * u };
  const size = labelSize(label.lines, style);
  const normal = ((label.deg + 90) * Math.PI) / 180;
  const half = (Math.abs(Math.cos(normal)) * size.width + Math.abs(Math.sin(normal)) * size.height) / 2;
  const centres = [1, 1.5, 2.2].flatMap((far) =>
    label.anchors.flatMap((anchor) =>
      [90, -90].map((side) =>
        towards(anchor.x, anchor.y, label.deg + side, (half + (label.gap ?? LABEL_GAP * u)) * far),
      ),
    ),
  );
  const box = placeBox(size, centres, area, taken);
  taken.push(drawLabel(canvas, label.lines, box.x, box.y, style));
}
