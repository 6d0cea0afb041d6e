/** Why a star was left out of the field: one table, read by the text, the report and the tests. */
export const LEFT_OUT = {
  saturated: 'a pixel reached the saturation level',
  blended: 'a neighbour stands too near',
  border: 'too near the edge of the frame or of a blank region',
  'hot-or-cosmic': 'sharper than the optics can draw: hot pixel or cosmic ray',
  extended: 'far larger than the stars around it: galaxy, nebula knot or reflection',
  'odd-profile': 'its light falls off unlike that of the other stars: close pair, cosmic-ray hit, core of a galaxy',
  trail: 'part of a satellite or aircraft trail',
  'too-faint': 'too little light to carry a shape',
  'not-fitted': 'the fit did not converge or ended on a limit',
} as const;

export type LeftOutReason = keyof typeof LEFT_OUT;

/** A candidate that was left out, where it stood: stored pixels. */
export interface LeftOutStar {
  readonly x: number;
  readonly y: number;
  readonly reason: LeftOutReason;
}
