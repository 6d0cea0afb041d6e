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
/** Colours are told apart by their upper five bits a channel. */
const CELLS = 1 << 15;

/**
 * The drawn picture in 256 colours: pure greys by an even scale, the rest by the commonest of what is drawn on top (lines and
 * letters with their soft edges), each in its own exact colour where that is what most of its cell hold.
 */
export function indexColours({ width, height, rgb }: Canvas): Indexed {
  const count = width * height;
  const indices = new Uint8Array(count);
  const coloured = new Uint32Array(count);
  let n = 0;
  for (let i = 0, at = 0; i < count; i++, at += 3) {
    const r = rgb[at];
    if (r === rgb[at + 1] && r === rgb[at + 2]) indices[i] = GREY_INDEX[r];
    else coloured[n++] = i;
  }
  const places = coloured.subarray(0, n);
  const { palette, indexOf } = paletteOf(rgb, places);
  for (let k = 0; k < n; k++) indices[places[k]] = indexOf[cellAt(rgb, 3 * places[k])];
  return { palette, indices };
}

const cellAt = (rgb: Uint8Array, at: number): number =>
  ((rgb[at] >> 3) << 10) | ((rgb[at + 1] >> 3) << 5) | (rgb[at + 2] >> 3);

/** The palette for the coloured pixels at these places, and which of its colours each cell gets. */
function paletteOf(rgb: Uint8Array, places: Uint32Array): { palette: Uint8Array; indexOf: Int16Array } {
  const found = new Uint32Array(CELLS);
  for (let k = 0; k < places.length; k++) found[cellAt(rgb, 3 * places[k])]++;
  const cells: number[] = [];
  for (let cell = 0; cell < CELLS; cell++) if (found[cell] > 0) cells.push(cell);
  cells.sort((a, b) => found[b] - found[a]);
  const chosen = cells.slice(0, COLOURS);
  const palette = new Uint8Array(768);
  for (let k = 0; k < GREYS; k++) palette.fill(Math.round((255 * k) / (GREYS - 1)), 3 * k, 3 * k + 3);
  const indexOf = new Int16Array(CELLS).fill(-1);
  chosen.forEach((cell, k) => {
    indexOf[cell] = GREYS + k;
  });
  exactColours(rgb, places, indexOf, palette);
  for (const cell of cells.slice(COLOURS)) indexOf[cell] = nearest(cell, palette, GREYS + chosen.length);
  return { palette, indexOf };
}

const GREY_INDEX = Uint8Array.from({ length: 256 }, (_, grey) => Math.round((grey * (GREYS - 1)) / 255));

/** One coloured pixel in so many votes for its cell's colour. */
const ONE_IN = 5;

/** The first colour met in a cell; where another outnumbers it, that one (majority vote of Boyer & Moore 1981). */
function exactColours(rgb: Uint8Array, places: Uint32Array, indexOf: Int16Array, palette: Uint8Array): void {
  const votes = new Int32Array(256);
  for (let k = 0; k < places.length; k += ONE_IN) {
    const at = 3 * places[k];
    const index = indexOf[cellAt(rgb, at)];
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
