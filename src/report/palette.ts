import type { Colour } from './raster.ts';

/**
 * Colours of the picture on a dark frame. They differ in lightness and along blue-yellow, which the common kinds of
 * colour blindness keep, and each is bound to a shape of its own, so that no meaning rests on colour alone.
 */
export const PALETTE = {
  ground: [14, 18, 25],
  casing: [6, 8, 12],
  ink: [244, 241, 232],
  muted: [160, 168, 180],
  /** Whiskers of elongation. */
  elongation: [142, 208, 255],
  /** Coma and the verdict 'adjust'. */
  coma: [255, 146, 43],
  /** Focal-plane or sensor tilt. */
  tilt: [202, 160, 255],
  /** Star A, target B and the way between. */
  move: [255, 240, 150],
} as const satisfies Record<string, Colour>;
