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
export const FRAME = 0x1600000;

/** Pixels of the widest stamp and one more: the kernels take them in pairs. */
export const LIST_LENGTH = 9802;
export const MAX_SMALL = (LEVEL - SMALL_IMAGE) / 4;
export const MAX_CELLS = (NOISE - LEVEL) / 4;
export const MAX_PLACES = (PREVIEW - PLACES) / 4;
export const MAX_PREVIEW = (FRAME - PREVIEW) / 4;
/** Of eight float64 each. */
export const MAX_CANDIDATES = (FRAME - PREVIEW) / 64;
