import { contours } from 'd3-contour';
import { seededRandom } from '../numeric/random.ts';
import type { Complex } from '../optics/complex.ts';
import { textOutlines, textWidth, wrapLettering } from '../report/lettering.ts';
import { PALETTE } from '../report/palette.ts';
import { type Canvas, type Colour, createCanvas, fill } from '../report/raster.ts';
import { line } from '../report/strokes.ts';
import { DRAWN_WITH, type DrawnFault, NO_FAULT, SENSOR_MM } from './drawnFaults.ts';
import { type Portrait, portraitOf } from './portrait.ts';

const WIDTH = 1200;
const MARGIN = 36;
const TITLE_SIZE = 30;
const TEXT_SIZE = 21;
/** The drawn sensor on the picture, pixels. */
const FIELD = {
  x: MARGIN,
  y: 132,
  width: WIDTH - 2 * MARGIN,
  height: ((WIDTH - 2 * MARGIN) * SENSOR_MM.height) / SENSOR_MM.width,
};
/** Half a star's box on the picture, and what it spans on the sensor: stars are drawn far larger than the field. */
const HALF_BOX = 112;
const PX_PER_UM = 3;
/** Stars, not nearer to each other than this many pixels. */
const STARS = 17;
const LEAST_DISTANCE = 185;
/** Outlines at these shares of a star's peak. */
const LEVELS = [0.5, 0.1, 0.02] as const;
const STAR: Colour = [255, 236, 205];
const HEIGHT = Math.round(FIELD.y + FIELD.height + 112);

/** Mean stars over the field of a telescope with a fault, magnified at their places, with outlines; a round one beside the title to compare. */
export function faultPicture(title: string, fault: DrawnFault): Canvas {
  const canvas = createCanvas(WIDTH, HEIGHT, PALETTE.ground);
  const light = new Float32Array(WIDTH * HEIGHT);
  const stars = places().map((at) => ({ at, portrait: portraitOf(fault, fieldOf(at)) }));
  const round = { at: { x: WIDTH - MARGIN - 52, y: 64 }, portrait: portraitOf(NO_FAULT) };
  for (const { at, portrait } of [...stars, round]) addLight(light, portrait, at);
  expose(canvas, light);
  frameLines(canvas);
  for (const { at, portrait } of [...stars, round]) outlines(canvas, portrait, at);
  lettering(canvas, title, fault, round.at);
  return canvas;
}

/** Scattered as stars are; the same for every fault. */
function places(): Complex[] {
  const random = seededRandom(5, 'places');
  const found: Complex[] = [];
  for (let tries = 0; found.length < STARS && tries < 20_000; tries++) {
    const inset = HALF_BOX * 0.75;
    const at = {
      x: FIELD.x + inset + random.uniform() * (FIELD.width - 2 * inset),
      y: FIELD.y + inset + random.uniform() * (FIELD.height - 2 * inset),
    };
    if (found.every((other) => Math.hypot(other.x - at.x, other.y - at.y) >= LEAST_DISTANCE)) found.push(at);
  }
  return found;
}

/** Field position, mm from the middle, y up. */
function fieldOf(at: Complex): Complex {
  const perPx = SENSOR_MM.width / FIELD.width;
  return { x: (at.x - FIELD.x - FIELD.width / 2) * perPx, y: (FIELD.y + FIELD.height / 2 - at.y) * perPx };
}

function addLight(light: Float32Array, portrait: Portrait, at: Complex): void {
  const [cx, cy] = [Math.round(at.x), Math.round(at.y)];
  for (let y = Math.max(0, cy - HALF_BOX); y <= Math.min(HEIGHT - 1, cy + HALF_BOX); y++) {
    for (let x = Math.max(0, cx - HALF_BOX); x <= Math.min(WIDTH - 1, cx + HALF_BOX); x++) {
      // The wings fade out before the box ends, or it would be seen.
      const fade = Math.min(1, Math.max(0, 5 - (5 * Math.hypot(x - cx, y - cy)) / HALF_BOX));
      light[y * WIDTH + x] += fade * portrait.at((x - cx) / PX_PER_UM, (cy - y) / PX_PER_UM);
    }
  }
}

/** Faint light is lifted as in a stretched sub: asinh. */
const STRETCH = 25;

function expose({ rgb }: Canvas, light: Float32Array): void {
  for (let i = 0; i < light.length; i++) {
    if (light[i] < 1e-4) continue;
    const shown = Math.min(1, Math.asinh(STRETCH * light[i]) / Math.asinh(STRETCH));
    for (let channel = 0; channel < 3; channel++) {
      const at = 3 * i + channel;
      rgb[at] = Math.round(rgb[at] + (STAR[channel] - rgb[at]) * shown);
    }
  }
}

function frameLines(canvas: Canvas): void {
  const { x, y, width, height } = FIELD;
  const corners = [
    [x, y, x + width, y],
    [x + width, y, x + width, y + height],
    [x + width, y + height, x, y + height],
    [x, y + height, x, y],
  ] as const;
  fill(
    canvas,
    corners.flatMap(([x1, y1, x2, y2]) => line(x1, y1, x2, y2, 1.5)),
    PALETTE.muted,
    0.6,
  );
}

function outlines(canvas: Canvas, portrait: Portrait, at: Complex): void {
  const step = 2;
  const count = (2 * HALF_BOX) / step + 1;
  const values: number[] = [];
  for (let j = 0; j < count; j++)
    for (let i = 0; i < count; i++)
      values.push(portrait.at((i * step - HALF_BOX) / PX_PER_UM, (HALF_BOX - j * step) / PX_PER_UM));
  const [cx, cy] = [Math.round(at.x), Math.round(at.y)];
  for (const { coordinates, value } of contours()
    .size([count, count])
    .thresholds([...LEVELS])(values)) {
    const strokes = coordinates.flat().flatMap((ringOf) =>
      ringOf.slice(1).flatMap(([x, y], i) => {
        const [fromX, fromY] = ringOf[i];
        // d3-contour counts cells, whose centres stand at halves.
        const place = (u: number, centre: number): number => centre - HALF_BOX + (u - 0.5) * step;
        return line(place(fromX, cx), place(fromY, cy), place(x, cx), place(y, cy), 1.6);
      }),
    );
    fill(canvas, strokes, value === LEVELS[0] ? PALETTE.coma : PALETTE.elongation, value === LEVELS[0] ? 0.95 : 0.75);
  }
}

function lettering(canvas: Canvas, title: string, fault: DrawnFault, round: Complex): void {
  const write = (
    text: string,
    x: number,
    y: number,
    size: number,
    colour: Colour,
    weight: 'regular' | 'bold' = 'regular',
  ): void => fill(canvas, textOutlines(text, x, y, size, weight), colour);
  const beside = 'nothing wrong:';
  const besideX = round.x - 58 - textWidth(beside, TEXT_SIZE);
  const titleWidth = besideX - MARGIN - 24;
  const lines = wrapLettering(title, titleWidth, TITLE_SIZE, 'bold');
  lines.forEach((text, i) =>
    write(text, MARGIN, 52 + i * TITLE_SIZE * 1.25 - (lines.length - 1) * 6, TITLE_SIZE, PALETTE.ink, 'bold'),
  );
  write(beside, besideX, round.y + 8, TEXT_SIZE, PALETTE.muted);
  const base = FIELD.y + FIELD.height + 34;
  const barUm = 50;
  const bar = barUm * PX_PER_UM;
  const barX = WIDTH - MARGIN - bar;
  fill(canvas, line(barX, base - 7, barX + bar, base - 7, 4), PALETTE.ink);
  write(`${barUm} µm`, barX + bar / 2 - textWidth(`${barUm} µm`, TEXT_SIZE) / 2, base + 22, TEXT_SIZE, PALETTE.ink);
  const caption = `Drawn: ${fault.amount}; ${DRAWN_WITH}. Stars magnified ${magnification()} times at their places; outlines at 50, 10 and 2 % of the peak.`;
  wrapLettering(caption, barX - MARGIN - 24, TEXT_SIZE).forEach((text, i) =>
    write(text, MARGIN, base + i * TEXT_SIZE * 1.3, TEXT_SIZE, PALETTE.muted),
  );
}

/** Of the stars against the field they stand in. */
const magnification = (): number => Math.round(PX_PER_UM / (FIELD.width / (SENSOR_MM.width * 1000)));
