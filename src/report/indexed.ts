import { type Kernels, kernels, pieces } from '../kernels/kernels.ts';
import { COLOUR_CELLS as CELLS, PICTURE_BYTES } from '../kernels/layout.ts';
import type { Canvas } from './raster.ts';

/** A picture of 256 colours. */
export interface Indexed {
  /** Red, green, blue of each, 768 bytes. */
  readonly palette: Uint8Array;
  /** One byte a pixel. */
  readonly indices: Uint8Array;
}

/** Greys of the frame: steps of 2.3 out of 255, finer than its noise. */
const GREYS = 112;
const COLOURS = 256 - GREYS;
// Colours are told apart by their upper five bits a channel: CELLS of them.

/**
 * The drawn picture in 256 colours: pure greys by an even scale, the rest by the commonest of what is drawn on top (lines and
 * letters with their soft edges), each in its own exact colour where that is what most of its cell hold.
 */
export function indexColours({ width, height, rgb }: Canvas): Indexed {
  const compiled = kernels();
  if (compiled !== null && 4 * width * height <= PICTURE_BYTES) return indexCompiled(compiled, rgb, width * height);
  const found = new Uint32Array(CELLS);
  const cells: number[] = [];
  for (let at = 0; at < rgb.length; at += 3) {
    const cell = cellAt(rgb, at);
    if (cell >= 0 && found[cell]++ === 0) cells.push(cell);
  }
  const ordered = commonestFirst(cells, found);
  const palette = greyPalette();
  const indexOf = new Int16Array(CELLS).fill(-1);
  const length = giveColours(ordered, indexOf);
  exactColours(rgb, indexOf, palette);
  for (const cell of ordered.slice(COLOURS)) indexOf[cell] = nearest(cell, palette, length);
  const indices = new Uint8Array(width * height);
  for (let i = 0; i < indices.length; i++) {
    const cell = cellAt(rgb, 3 * i);
    indices[i] = cell < 0 ? GREY_INDEX[rgb[3 * i]] : indexOf[cell];
  }
  return { palette, indices };
}

function indexCompiled({ picture, run }: Kernels, rgb: Uint8Array, count: number): Indexed {
  const { found, indexOf, cells, palette, greys, bytes } = picture;
  const at = bytes.byteOffset;
  bytes.set(rgb);
  const listed = run.countColours(at, count);
  cells.set(commonestFirst(Array.from(cells.subarray(0, listed)), found));
  palette.set(greyPalette());
  greys.set(GREY_INDEX);
  indexOf.fill(-1);
  const length = giveColours(Array.from(cells.subarray(0, Math.min(listed, COLOURS))), indexOf);
  run.exactColours(at, count, ONE_IN);
  run.nearestColours(COLOURS, listed, length);
  for (const [from, to] of pieces(count, PIXELS_AT_ONCE)) run.indexPixels(at, from, to, at + rgb.length);
  return { palette: palette.slice(), indices: bytes.slice(rgb.length, rgb.length + count) };
}

const PIXELS_AT_ONCE = 1 << 16;

/** -1: a pure grey. */
function cellAt(rgb: Uint8Array, at: number): number {
  const [r, g, b] = [rgb[at], rgb[at + 1], rgb[at + 2]];
  return r === g && r === b ? -1 : ((r >> 3) << 10) | ((g >> 3) << 5) | (b >> 3);
}

const commonestFirst = (cells: number[], found: Uint32Array): number[] =>
  cells.sort((a, b) => found[b] - found[a] || a - b);

/** The commonest cells get a colour each; returns how long the palette is then. */
function giveColours(ordered: readonly number[], indexOf: Int16Array): number {
  const chosen = ordered.slice(0, COLOURS);
  chosen.forEach((cell, k) => {
    indexOf[cell] = GREYS + k;
  });
  return GREYS + chosen.length;
}

function greyPalette(): Uint8Array {
  const palette = new Uint8Array(768);
  for (let k = 0; k < GREYS; k++) palette.fill(Math.round((255 * k) / (GREYS - 1)), 3 * k, 3 * k + 3);
  return palette;
}

const GREY_INDEX = Uint8Array.from({ length: 256 }, (_, grey) => Math.round((grey * (GREYS - 1)) / 255));

/** One coloured pixel in so many votes for its cell's colour. */
const ONE_IN = 5;

/** The first colour met in a cell; where another outnumbers it, that one (majority vote of Boyer & Moore 1981). */
function exactColours(rgb: Uint8Array, indexOf: Int16Array, palette: Uint8Array): void {
  const votes = new Int32Array(256);
  let k = 0;
  for (let at = 0; at < rgb.length; at += 3) {
    const cell = cellAt(rgb, at);
    if (cell < 0 || k++ % ONE_IN !== 0) continue;
    const index = indexOf[cell];
    if (index < 0) continue;
    const p = 3 * index;
    if (palette[p] === rgb[at] && palette[p + 1] === rgb[at + 1] && palette[p + 2] === rgb[at + 2]) votes[index]++;
    else if (votes[index] > 0) votes[index]--;
    else {
      palette[p] = rgb[at];
      palette[p + 1] = rgb[at + 1];
      palette[p + 2] = rgb[at + 2];
      votes[index] = 1;
    }
  }
}

/** Index of the palette's colour nearest to the middle of a cell. */
function nearest(cell: number, palette: Uint8Array, length: number): number {
  const [r, g, b] = [((cell >> 10) << 3) + 4, (((cell >> 5) & 31) << 3) + 4, ((cell & 31) << 3) + 4];
  let best = 0;
  let least = Infinity;
  for (let k = 0; k < length; k++) {
    const distance = (palette[3 * k] - r) ** 2 + (palette[3 * k + 1] - g) ** 2 + (palette[3 * k + 2] - b) ** 2;
    if (distance < least) {
      least = distance;
      best = k;
    }
  }
  return best;
}
