import type { FrameStars } from '../field/frameStars.ts';
import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import type { StarShift } from './finding.ts';

/** Way of a star, pixels, while the primary tilts by an arcminute: twice the focal length, the effective one, times it (ray-traced). */
export const pxPerArcmin = (focalLengthMm: number, pixelUm: number): number =>
  (2000 * focalLengthMm) / pixelUm / ARCMIN_PER_RAD;

/** Both star A and its target stand in the middle 80 % of the frame. */
const MARGIN = 0.1;
/** A longer arrow than this share of the frame's height is split into steps. */
const LONGEST_STEP = 0.4;

/**
 * The correcting move of the primary shown on a real star: it travels in the coma tail's direction by twice the distance
 * from the node to the centre (ray-traced: the image moves by 2 f tau while the axis moves by f tau). Whatever the fold
 * mirror and the screen do to the tail they do to the travel as well.
 */
export function starShift(frame: FrameStars, direction: number, length: number, error: number): StarShift | null {
  const x = length * Math.cos(direction);
  const y = length * Math.sin(direction);
  const steps = Math.max(1, Math.ceil(length / (LONGEST_STEP * frame.height)));
  const inside = (px: number, py: number): boolean =>
    px >= MARGIN * frame.width &&
    px <= (1 - MARGIN) * frame.width &&
    py >= MARGIN * frame.height &&
    py <= (1 - MARGIN) * frame.height;
  const star = [...frame.shapes]
    .sort((a, b) => b.amplitude * b.fwhm ** 2 - a.amplitude * a.fwhm ** 2)
    .find((s) => inside(s.x, s.y) && inside(s.x + x / steps, s.y + y / steps));
  if (star === undefined) return null;
  return {
    x,
    y,
    length,
    error,
    from: { x: star.x, y: star.y },
    to: { x: star.x + x / steps, y: star.y + y / steps },
    steps,
  };
}
