import { type ScreenY, screenAxisDegrees, screenDegrees } from '../diagnosis/words.ts';
import type { UncertainVector } from '../field/frameStars.ts';

/** From stored pixels to the screen: degrees counter-clockwise from right, x right, y up from the frame's centre. */
export interface Screen {
  readonly position: (stored: { readonly x: number; readonly y: number }) => { x: number; y: number };
  /** A vector of odd spin or an (e1, e2) pair: turning the rows over mirrors both alike. */
  readonly vector: (v: UncertainVector) => { x: number; y: number; error: number };
  readonly up: (storedY: number) => number;
  readonly directionDeg: (angle: number) => number;
  readonly axisDeg: (angle: number) => number;
  /** Direction 0..120 of a spin-3 vector from its angle, which is three times the direction. */
  readonly trefoilDeg: (vectorAngle: number) => number;
  readonly zoneRow: (storedRow: number) => number;
}

export function screenOf(width: number, height: number, screenY: ScreenY): Screen {
  const up = (y: number): number => (y === 0 ? 0 : screenY * y);
  return {
    position: ({ x, y }) => ({ x: x - (width - 1) / 2, y: up(y - (height - 1) / 2) }),
    vector: ({ x, y, error }) => ({ x, y: up(y), error }),
    up,
    directionDeg: (angle) => screenDegrees(angle, screenY),
    axisDeg: (angle) => screenAxisDegrees(angle, screenY),
    trefoilDeg: (angle) => screenDegrees(angle, screenY) / 3,
    // Rows of the screen count from the top; BOTTOM-UP puts the last stored row there.
    zoneRow: (row) => (screenY === 1 ? 2 - row : row),
  };
}
