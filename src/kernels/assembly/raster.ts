import { FIT, FIT_DATA, OUT } from './layout';
import { add, get } from './linear';

/** fill of src/report/raster.ts: polygons at FIT, each its length, then x0, y0, x1, y1, ... */

/** Cuts the canvas' part that `length` numbers of polygons may touch: x0, y0, width, height into OUT; false where there is none. */
export function outline(length: i32, canvasWidth: i32, canvasHeight: i32): bool {
  let left = Infinity;
  let right = -Infinity;
  let top = Infinity;
  let bottom = -Infinity;
  for (let at = 0; at < length; ) {
    const end = at + 1 + <i32>get(FIT, at);
    for (let i = at + 1; i < end; i += 2) {
      left = Math.min(left, get(FIT, i));
      right = Math.max(right, get(FIT, i));
      top = Math.min(top, get(FIT, i + 1));
      bottom = Math.max(bottom, get(FIT, i + 1));
    }
    at = end;
  }
  const x0 = Math.max(0, Math.floor(left));
  const x1 = Math.min(canvasWidth, Math.ceil(right));
  const y0 = Math.max(0, Math.floor(top));
  const y1 = Math.min(canvasHeight, Math.ceil(bottom));
  store<f64>(OUT, x0);
  store<f64>(OUT + 8, y0);
  store<f64>(OUT + 16, x1 - x0);
  store<f64>(OUT + 24, y1 - y0);
  return x1 > x0 && y1 > y0;
}

/** One edge within one pixel row: from x = `a` to x = `b` (a <= b) with signed height `h`. */
function addRowPart(row: usize, width: i32, a: f64, b: f64, h: f64): void {
  if (b <= 0) {
    add(row, 0, h);
    return;
  }
  if (a >= width) return;
  const span = b - a;
  let x = a;
  if (a < 0) {
    add(row, 0, (h * -a) / span);
    x = 0;
  }
  while (true) {
    const column = <i32>Math.floor(x);
    if (column >= width) return;
    const end = Math.min(b, <f64>(column + 1));
    const part = span == 0 ? h : (h * (end - x)) / span;
    const inside = <f64>(column + 1) - (x + end) / 2;
    add(row, column, part * inside);
    add(row, column + 1, part * (1 - inside));
    if (end >= b) return;
    x = end;
  }
}

function addEdge(width: i32, height: i32, xa: f64, ya: f64, xb: f64, yb: f64): void {
  if (ya == yb) return;
  const sign: f64 = ya < yb ? 1 : -1;
  const yTop = Math.min(ya, yb);
  const yBottom = Math.min(Math.max(ya, yb), height);
  const slope = (xb - xa) / (yb - ya);
  const xTop = ya < yb ? xa : xb;
  for (let row = <i32>Math.max(0, Math.floor(yTop)); row < yBottom; row++) {
    const from = Math.max(yTop, row);
    const to = Math.min(yBottom, row + 1);
    if (to <= from) continue;
    const x1 = xTop + (from - yTop) * slope;
    const x2 = xTop + (to - yTop) * slope;
    const cover = FIT_DATA + ((<usize>(row * (width + 1))) << 3);
    addRowPart(cover, width, Math.min(x1, x2), Math.max(x1, x2), sign * (to - from));
  }
}

// @ts-ignore: decorators stand on functions here
@inline
function mix(at: usize, colour: f64, alpha: f64): void {
  const before = <f64>load<u8>(at);
  store<u8>(at, <u8>Math.round(before + (colour - before) * alpha));
}

function blendRow(cover: usize, pixels: usize, width: i32, r: f64, g: f64, b: f64, opacity: f64): void {
  let sum: f64 = 0;
  for (let column = 0; column < width; column++) {
    sum += get(cover, column);
    const alpha = Math.min(1, Math.abs(sum)) * opacity;
    if (alpha < 1.0 / 512.0) continue;
    const at = pixels + 3 * <usize>column;
    mix(at, r, alpha);
    mix(at + 1, g, alpha);
    mix(at + 2, b, alpha);
  }
}

/** Fills the polygons on that part of the canvas, whose pixels stand at `pixels` behind the room for their coverage. */
export function fill(
  length: i32,
  x0: f64,
  y0: f64,
  width: i32,
  height: i32,
  pixels: usize,
  r: f64,
  g: f64,
  b: f64,
  opacity: f64,
): void {
  memory.fill(FIT_DATA, 0, (<usize>((width + 1) * height)) << 3);
  for (let at = 0; at < length; ) {
    const n = <i32>get(FIT, at++);
    for (let i = 0; i < n; i += 2) {
      const j = i + 2 < n ? i + 2 : 0;
      addEdge(
        width,
        height,
        get(FIT, at + i) - x0,
        get(FIT, at + i + 1) - y0,
        get(FIT, at + j) - x0,
        get(FIT, at + j + 1) - y0,
      );
    }
    at += n;
  }
  for (let row = 0; row < height; row++)
    blendRow(
      FIT_DATA + ((<usize>(row * (width + 1))) << 3),
      pixels + 3 * <usize>(row * width),
      width,
      r,
      g,
      b,
      opacity,
    );
}
