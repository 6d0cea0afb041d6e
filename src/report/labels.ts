import { CAP_HEIGHT, textOutlines, textWidth, type Weight } from './lettering.ts';
import { PALETTE } from './palette.ts';
import { type Canvas, type Colour, fill } from './raster.ts';
import { plate } from './strokes.ts';

/** Space on the picture that is taken: canvas pixels. */
export interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

export interface LabelStyle {
  readonly size: number;
  readonly weight: Weight;
  readonly colour: Colour;
  /** Opacity of the dark plate behind the text, 0..1. */
  readonly plate: number;
}

/** Size of a label's plate. */
export function labelSize(lines: readonly string[], style: LabelStyle): { width: number; height: number } {
  const widest = Math.max(...lines.map((text) => textWidth(text, style.size, style.weight)));
  const height = style.size * (CAP_HEIGHT + 0.8 + (lines.length - 1) * LINE_STEP);
  return { width: widest + style.size * 0.8, height };
}

const LINE_STEP = 1.25;

/** Draws lines of text on a plate whose top left corner is (x, y). */
export function drawLabel(canvas: Canvas, lines: readonly string[], x: number, y: number, style: LabelStyle): Box {
  const { width, height } = labelSize(lines, style);
  if (style.plate > 0) fill(canvas, [plate(x, y, width, height, style.size * 0.35)], PALETTE.casing, style.plate);
  lines.forEach((text, i) => {
    const baseline = y + style.size * (0.4 + CAP_HEIGHT + i * LINE_STEP);
    fill(canvas, textOutlines(text, x + style.size * 0.4, baseline, style.size, style.weight), style.colour);
  });
  return { x, y, width, height };
}

/**
 * The best of the wished centres for a box of this size inside `area`: it should cover little of `taken`, be moved little to
 * come inside, and stand early in the list.
 */
export function placeBox(
  size: { readonly width: number; readonly height: number },
  centres: readonly { readonly x: number; readonly y: number }[],
  area: Box,
  taken: readonly Box[],
): Box {
  let best: Box = { ...size, x: area.x, y: area.y };
  let least = Infinity;
  for (const [i, centre] of centres.entries()) {
    const x = clamp(centre.x - size.width / 2, area.x, area.x + area.width - size.width);
    const y = clamp(centre.y - size.height / 2, area.y, area.y + area.height - size.height);
    const box = { ...size, x, y };
    const moved = Math.hypot(x + size.width / 2 - centre.x, y + size.height / 2 - centre.y);
    const cost =
      taken.reduce((sum, other) => sum + 2 * overlap(box, other), 0) +
      moved * size.height * 0.2 +
      i * RELUCTANCE * size.height ** 2;
    if (cost < least) {
      best = box;
      least = cost;
    }
    if (cost === 0) break;
  }
  return best;
}

/** Cost of each place further down the list of wishes, in squares of the box's height. */
const RELUCTANCE = 0.12;

function overlap(a: Box, b: Box): number {
  const across = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
  const down = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
  return across > 0 && down > 0 ? across * down : 0;
}

function clamp(value: number, low: number, high: number): number {
  return Math.max(low, Math.min(Math.max(low, high), value));
}

/** Boxes along a straight way, for labels to keep off it. */
export function boxesAlong(x1: number, y1: number, x2: number, y2: number, thickness: number): Box[] {
  const count = Math.max(1, Math.ceil(Math.hypot(x2 - x1, y2 - y1) / thickness));
  return Array.from({ length: count + 1 }, (_, i) => ({
    x: x1 + ((x2 - x1) * i) / count - thickness / 2,
    y: y1 + ((y2 - y1) * i) / count - thickness / 2,
    width: thickness,
    height: thickness,
  }));
}
