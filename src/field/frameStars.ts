import type { Shape } from '../shapes/shape.ts';

/** The usable stars of one sub. Positions of `shapes` are stored pixels. */
export interface FrameStars {
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly shapes: readonly Shape[];
}

export interface Uncertain {
  readonly value: number;
  readonly error: number;
}

/** A vector on stored axes with the error of each component. */
export interface UncertainVector {
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

/** Half the frame's diagonal, pixels: the unit of field positions u, v (from the frame's centre) in this folder. */
export function halfDiagonal(frame: { readonly width: number; readonly height: number }): number {
  return 0.5 * Math.hypot(frame.width, frame.height);
}

/** Half-diagonals from the frame's centre, stored axes. */
export interface Place {
  readonly u: number;
  readonly v: number;
}

/** Field position of a stored pixel. */
export function fieldPosition(frame: FrameStars, x: number, y: number): Place {
  const half = halfDiagonal(frame);
  return { u: (x - (frame.width - 1) / 2) / half, v: (y - (frame.height - 1) / 2) / half };
}

export const vectorLength = (v: { readonly x: number; readonly y: number }): number => Math.hypot(v.x, v.y);

/** Sigma at which a vector differs from zero. */
export const vectorSignificance = (v: UncertainVector): number => (v.error > 0 ? vectorLength(v) / v.error : 0);
