import { type Kernels, kernels } from '../kernels/kernels.ts';
import { FIT_HEAD } from '../kernels/layout.ts';

/** An RGB picture being drawn: 8 bits a channel, row-major, first row on top. */
export interface Canvas {
  readonly width: number;
  readonly height: number;
  readonly rgb: Uint8Array;
}

/** Red, green, blue, 0..255. */
export type Colour = readonly [number, number, number];

/** Closed polygon: x0, y0, x1, y1, ... in canvas pixels, y down, pixel (i, j) covering [i, i + 1) x [j, j + 1). */
export type Polygon = readonly number[];

/** `from`: rows above it are left black, for whoever draws them anyway. */
export function createCanvas(width: number, height: number, colour: Colour, from = 0): Canvas {
  const rgb = new Uint8Array(width * height * 3);
  const ground = rgb.subarray(3 * width * Math.min(from, height));
  ground.set(colour.slice(0, Math.min(3, ground.length)));
  // What stands there is copied behind itself until all is filled.
  for (let done = 3; done < ground.length; done *= 2) ground.copyWithin(done, 0, Math.min(done, ground.length - done));
  return { width, height, rgb };
}

/**
 * Fills polygons with exact area coverage (anti-aliased), winding rule 'non-zero' for polygons of one orientation:
 * opposite orientation makes a hole, the same orientation merges. `opacity` 0..1.
 */
export function fill(canvas: Canvas, polygons: readonly Polygon[], colour: Colour, opacity = 1): void {
  const compiled = kernels();
  if (compiled !== null && fillCompiled(compiled, canvas, polygons, colour, opacity)) return;
  let left = Infinity;
  let right = -Infinity;
  let top = Infinity;
  let bottom = -Infinity;
  for (const polygon of polygons) {
    for (let i = 0; i < polygon.length; i += 2) {
      left = Math.min(left, polygon[i]);
      right = Math.max(right, polygon[i]);
      top = Math.min(top, polygon[i + 1]);
      bottom = Math.max(bottom, polygon[i + 1]);
    }
  }
  const x0 = Math.max(0, Math.floor(left));
  const x1 = Math.min(canvas.width, Math.ceil(right));
  const y0 = Math.max(0, Math.floor(top));
  const y1 = Math.min(canvas.height, Math.ceil(bottom));
  if (!(x1 > x0 && y1 > y0)) return;
  const cover = coverage(polygons, x0, y0, x1 - x0, y1 - y0);
  blend(canvas, cover, x0, y0, x1 - x0, y1 - y0, colour, opacity);
}

/** The same on a copy of that part of the canvas; false where there is no room for it. */
function fillCompiled(
  { run, fit, out, canvas: room }: Kernels,
  canvas: Canvas,
  polygons: readonly Polygon[],
  colour: Colour,
  opacity: number,
): boolean {
  const length = polygons.reduce((sum, polygon) => sum + 1 + polygon.length, 0);
  if (length > FIT_HEAD) return false;
  let end = 0;
  for (const polygon of polygons) {
    fit[end++] = polygon.length;
    fit.set(polygon, end);
    end += polygon.length;
  }
  if (!run.outline(length, canvas.width, canvas.height)) return true;
  const [x0, y0, width, height] = out;
  const behind = 8 * (width + 1) * height;
  const line = 3 * width;
  if (behind + line * height > room.length) return false;
  const { rgb } = canvas;
  const first = 3 * (y0 * canvas.width + x0);
  const step = 3 * canvas.width;
  for (let row = 0, at = first; row < height; row++, at += step)
    room.set(rgb.subarray(at, at + line), behind + row * line);
  run.fill(length, x0, y0, width, height, room.byteOffset + behind, ...colour, opacity);
  for (let row = 0, at = first, from = behind; row < height; row++, at += step, from += line)
    rgb.set(room.subarray(from, from + line), at);
  return true;
}

/**
 * Signed area of every edge gathered per pixel; a running sum along each row then gives the covered part of each pixel.
 * One spare column takes what lies beyond the right side.
 */
function coverage(polygons: readonly Polygon[], x0: number, y0: number, width: number, height: number): Float64Array {
  const cover = new Float64Array((width + 1) * height);
  for (const polygon of polygons) {
    const n = polygon.length;
    for (let i = 0; i < n; i += 2) {
      const j = i + 2 < n ? i + 2 : 0;
      addEdge(cover, width, height, polygon[i] - x0, polygon[i + 1] - y0, polygon[j] - x0, polygon[j + 1] - y0);
    }
  }
  return cover;
}

function addEdge(
  cover: Float64Array,
  width: number,
  height: number,
  xa: number,
  ya: number,
  xb: number,
  yb: number,
): void {
  if (ya === yb) return;
  const sign = ya < yb ? 1 : -1;
  const yTop = Math.min(ya, yb);
  const yBottom = Math.min(Math.max(ya, yb), height);
  const slope = (xb - xa) / (yb - ya);
  const xTop = ya < yb ? xa : xb;
  for (let row = Math.max(0, Math.floor(yTop)); row < yBottom; row++) {
    const from = Math.max(yTop, row);
    const to = Math.min(yBottom, row + 1);
    if (to <= from) continue;
    const x1 = xTop + (from - yTop) * slope;
    const x2 = xTop + (to - yTop) * slope;
    addRowPart(cover, row * (width + 1), width, Math.min(x1, x2), Math.max(x1, x2), sign * (to - from));
  }
}

/** One edge within one pixel row: from x = `a` to x = `b` (a <= b) with signed height `h`. */
function addRowPart(cover: Float64Array, base: number, width: number, a: number, b: number, h: number): void {
  if (b <= 0) {
    cover[base] += h;
    return;
  }
  if (a >= width) return;
  const span = b - a;
  let done = 0;
  if (a < 0) {
    const part = (h * -a) / span;
    cover[base] += part;
    done = -a;
  }
  for (let x = a + done; ; ) {
    const column = Math.floor(x);
    if (column >= width) return;
    const end = Math.min(b, column + 1);
    const part = span === 0 ? h : (h * (end - x)) / span;
    const inside = column + 1 - (x + end) / 2;
    cover[base + column] += part * inside;
    cover[base + column + 1] += part * (1 - inside);
    if (end >= b) return;
    x = end;
  }
}

function blend(
  canvas: Canvas,
  cover: Float64Array,
  x0: number,
  y0: number,
  width: number,
  height: number,
  colour: Colour,
  opacity: number,
): void {
  const { rgb } = canvas;
  for (let row = 0; row < height; row++) {
    let sum = 0;
    let at = ((y0 + row) * canvas.width + x0) * 3;
    for (let column = 0; column < width; column++, at += 3) {
      sum += cover[row * (width + 1) + column];
      const alpha = Math.min(1, Math.abs(sum)) * opacity;
      if (alpha < 1 / 512) continue;
      rgb[at] = Math.round(rgb[at] + (colour[0] - rgb[at]) * alpha);
      rgb[at + 1] = Math.round(rgb[at + 1] + (colour[1] - rgb[at + 1]) * alpha);
      rgb[at + 2] = Math.round(rgb[at + 2] + (colour[2] - rgb[at + 2]) * alpha);
    }
  }
}
