/** Where things stand in the kernels' memory, bytes: what assembly/layout.ts says, as far as the outside needs it. */
export const DX = 0x10000;
export const DY = 0x24140;
export const VALUE = 0x38280;
export const WEIGHT = 0x4c3c0;
export const RING_DX = 0x100000;
export const RING_DY = 0x108140;
export const OUT = 0x12a000;
export const SMALL_IMAGE = 0x130000;
export const LEVEL = 0x200000;
export const NOISE = 0x400000;
export const PLACES = 0x600000;
export const PREVIEW = 0xa00000;
/** Fits of many numbers, in the place of the preview: small matrices, then the numbers. */
export const FIT = PREVIEW;
/** float64 numbers before those of the fit, and of each small matrix or vector. */
export const FIT_HEAD = 0x8000;
export const FIT_SLOT = 0x800;
/** The same of the descents on models that are not straight. */
export const CURVE_SLOT = 0x2000;
export const CURVE_HEAD = 9 * CURVE_SLOT;
export const MAX_CURVE_PARAMETERS = 90;
/** The palette of a picture, in the place of the preview as well. */
export const COLOUR_CELLS = 1 << 15;
export const COLOURS_FOUND = PREVIEW;
export const COLOUR_INDICES = COLOURS_FOUND + 0x20000;
export const COLOUR_LIST = COLOURS_FOUND + 0x30000;
export const COLOUR_PALETTE = COLOURS_FOUND + 0x40000;
export const COLOUR_GREYS = COLOURS_FOUND + 0x40400;
export const PICTURE = COLOURS_FOUND + 0x41000;
/** Transforms and drawn stars. */
const DRAWING = 0x1600000;
/** From here to FRAME lie the lists of a helper thread and what the two tell each other. */
export const CONTROL = 0x2b40000;
export const ARGUMENTS = CONTROL + 0x100;
export const SETTINGS = CONTROL + 0x800;
export const DIGEST = CONTROL + 0xc00;
export const ANSWERS = CONTROL + 0x1000;
export const MAX_ANSWERS = 0x2000;
export const FRAME = 0x2c00000;

/** Pixels of the widest stamp and one more: the kernels take them in pairs. */
export const LIST_LENGTH = 9802;
export const MAX_SMALL = (LEVEL - SMALL_IMAGE) / 4;
export const MAX_CELLS = (NOISE - LEVEL) / 4;
/** Columns that `binBlocks` has room for: it sums them in the place of the lists. */
export const MAX_COLUMNS = (0xec000 - DX) / 4;
export const MAX_PLACES = (PREVIEW - PLACES) / 4;
export const MAX_FIT_PARAMETERS = 40;
export const CANVAS = FIT + 8 * FIT_HEAD;
export const CANVAS_BYTES = DRAWING - CANVAS;
export const PICTURE_BYTES = DRAWING - PICTURE;
export const FIT_LENGTH = (DRAWING - FIT) / 8;
export const MAX_PREVIEW = (DRAWING - PREVIEW) / 4;
/** Numbers of a star that is measured, in the place of the preview: what is told, what it is found to be, its shape. */
export const STAR_NUMBERS = 32;
export const MAX_STARS = (DRAWING - PREVIEW) / (8 * STAR_NUMBERS);
/** Of eight float64 each. */
export const MAX_CANDIDATES = (DRAWING - PREVIEW) / 64;

/** The longest line that the kernels transform. */
export const LONGEST_TRANSFORM = 512;
const SHORTEST_TRANSFORM = 16;
/** Table and scratch of the transform. */
const DRAWING_HEAD = 0x20000;
/** Two complex images and three real ones. */
const BYTES_A_POINT = 56;

/** Where the images of size x size points stand: every power of two has a place of its own, behind those of the smaller ones. */
export function drawingRoom(size: number): number {
  return DRAWING + DRAWING_HEAD + (BYTES_A_POINT * (size * size - SHORTEST_TRANSFORM ** 2)) / 3;
}
