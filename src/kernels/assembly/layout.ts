/**
 * Where things stand in the memory, bytes; src/kernels/layout.ts holds what the outside needs of it. Below 64 KiB lies the
 * compiler's own. A helper thread works in the same memory with lists of its own. Lists of pixels begin at different offsets
 * within a page, so that they do not fight for the same cache lines.
 */
// @ts-ignore: 1 in the build for a helper thread, else 0 (scripts/build-kernels.mjs)
const OWN: usize = HELPER * 0x2a00000;
export const DX: usize = OWN + 0x10000;
export const DY: usize = OWN + 0x24140;
export const VALUE: usize = OWN + 0x38280;
export const WEIGHT: usize = OWN + 0x4c3c0;
export const X: usize = OWN + 0x60500;
export const Y: usize = OWN + 0x74640;
export const Q: usize = OWN + 0x88780;
export const C: usize = OWN + 0x9c8c0;
export const S: usize = OWN + 0xb0a00;
export const M: usize = OWN + 0xc4b40;
export const N: usize = OWN + 0xd8c80;
export const RING_DX: usize = OWN + 0x100000;
export const RING_DY: usize = OWN + 0x108140;
/** The same of the first thread, for what it tells both. */
export const TOLD_DX: usize = 0x100000;
export const TOLD_DY: usize = 0x108140;
export const RING_VALUE: usize = OWN + 0x110280;
export const RING_ORDERED: usize = OWN + 0x1183c0;
/** Parameters, matrices and sums of one fit. */
export const SMALL: usize = OWN + 0x122000;
/** What a kernel answers, float64. */
export const OUT: usize = OWN + 0x12a000;
export const SAMPLES: usize = OWN + 0x12b000;
export const SAMPLES_TURNED: usize = OWN + 0x12d040;
export const COUNTS: usize = OWN + 0x12f080;
export const LEVEL: usize = 0x200000;
export const NOISE: usize = 0x400000;
export const PLACES: usize = 0x600000;
export const PREVIEW: usize = 0xa00000;
/** The palette of a picture, there as well: by cell of colour, then in a list. */
export const FOUND: usize = PREVIEW;
export const INDEX_OF: usize = PREVIEW + 0x20000;
export const CELL_LIST: usize = PREVIEW + 0x30000;
export const PALETTE: usize = PREVIEW + 0x40000;
export const GREYS: usize = PREVIEW + 0x40400;
export const VOTES: usize = PREVIEW + 0x40800;
/** Roots of the transform, 32 bytes each, and lines that are transformed side by side. */
export const TWIDDLES: usize = 0x1600000;
export const LINES: usize = 0x1604140;
export const LINES_TURNED: usize = 0x160c280;
export const WOVEN: usize = 0x16143c0;
/** Fits of many numbers, in the place of the preview: small matrices, then the numbers. */
export const FIT: usize = PREVIEW;
export const FIT_DATA: usize = PREVIEW + 0x40000;
/** Sums of columns while blocks are averaged, u32: in the place of the lists of pixels. */
export const COLUMN_SUMS: usize = DX;
/** How many samples of a cell lie at or below a value, u32: there as well. */
export const COUNTED: usize = DX;
/** Stars to measure, 256 bytes each, in the place of the preview. */
export const STARS: usize = PREVIEW;
/** What both threads are told: behind the helper's lists. */
export const SETTINGS: usize = 0x2b40800;
export const MAX_RING: i32 = 4096;
export const MAX_PLACES: i32 = 0x100000;
