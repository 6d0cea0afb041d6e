import { invertSymmetric, multiply } from '../numeric/linear.ts';

/** Tilt found at one angle of the camera: a vector on screen axes, any unit, and its error for each component. */
export interface TiltAtAngle {
  readonly angleDeg: number;
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

export interface TurnedSplit {
  /** Turns with the camera: sensor, its plate, what is screwed to it. */
  readonly camera: Part;
  /** Stays with the tube: focuser, corrector, mirrors. On the screen's axes at camera angle 0. */
  readonly tube: Part;
  /** +1: the camera's angles count counter-clockwise as the picture shows it, -1: clockwise. */
  readonly sense: 1 | -1;
  /** Whether the data decided the sense; else it is an assumption (it does not matter at 0 and 180 degrees). */
  readonly senseSeen: boolean;
  readonly angles: number;
  /** Misfit beyond the errors; null with two angles, which leave nothing to compare. */
  readonly misfitSigma: number | null;
}

interface Part {
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

/** Two angles give an answer with nothing to check it by: its error is widened by this. */
const UNCHECKED = 2;
/** Two angles must stand at least so far apart, degrees. */
const LEAST_TURN_DEG = 20;
/** chi-square by which one sense must win. */
const DECIDES = 9;

/**
 * T(angle) = camera + tube e^(-i angle) by least squares. Two angles have been found ambiguous in practice (a fault of the
 * rotator itself passes for either part), so three or more are wanted; with two the errors are widened. Null with fewer.
 */
export function splitTilt(tilts: readonly TiltAtAngle[]): TurnedSplit | null {
  const distinct = distinctAngles(tilts);
  if (distinct < 2) return null;
  const senses = ([1, -1] as const).flatMap((sense) => {
    const fit = solve(tilts, sense);
    return fit === null ? [] : [{ sense, ...fit }];
  });
  const [best, other] = senses.sort((a, b) => a.chi2 - b.chi2 || b.sense - a.sense);
  if (best === undefined) return null;
  const senseSeen = other !== undefined && other.chi2 - best.chi2 > DECIDES;
  const chosen = senseSeen ? best : (senses.find((s) => s.sense === 1) ?? best);
  const freedom = 2 * tilts.length - 4;
  const widen = distinct < 3 ? UNCHECKED : Math.max(1, Math.sqrt(chosen.chi2 / Math.max(1, freedom)));
  const part = (x: number, y: number, variance: number): Part => ({ x, y, error: widen * Math.sqrt(variance) });
  const [cx, cy, tx, ty] = chosen.parameters;
  return {
    camera: part(cx, cy, chosen.covariance[0]),
    tube: part(tx, ty, chosen.covariance[10]),
    sense: chosen.sense,
    senseSeen,
    angles: distinct,
    misfitSigma: distinct < 3 ? null : Math.sqrt(chosen.chi2 / Math.max(1, freedom)),
  };
}

function distinctAngles(tilts: readonly TiltAtAngle[]): number {
  const kept: number[] = [];
  for (const { angleDeg } of tilts) {
    const apart = (other: number): number => {
      const d = (((angleDeg - other) % 360) + 360) % 360;
      return Math.min(d, 360 - d);
    };
    if (kept.every((other) => apart(other) >= LEAST_TURN_DEG)) kept.push(angleDeg);
  }
  return kept.length;
}

function solve(
  tilts: readonly TiltAtAngle[],
  sense: 1 | -1,
): { parameters: Float64Array; covariance: Float64Array; chi2: number } | null {
  const normal = new Float64Array(16);
  const right = new Float64Array(4);
  const rows = tilts.flatMap(({ angleDeg, x, y, error }) => {
    const a = (-sense * angleDeg * Math.PI) / 180;
    const [c, s] = [Math.cos(a), Math.sin(a)];
    return [
      { row: [1, 0, c, -s], value: x, error },
      { row: [0, 1, s, c], value: y, error },
    ];
  });
  for (const { row, value, error } of rows)
    for (let i = 0; i < 4; i++) {
      right[i] += (row[i] * value) / error ** 2;
      for (let j = 0; j < 4; j++) normal[i * 4 + j] += (row[i] * row[j]) / error ** 2;
    }
  const covariance = invertSymmetric(normal, 4);
  if (covariance === null) return null;
  const parameters = multiply(covariance, right, 4);
  let chi2 = 0;
  for (const { row, value, error } of rows) {
    const model = row.reduce((sum, r, i) => sum + r * parameters[i], 0);
    chi2 += ((value - model) / error) ** 2;
  }
  return { parameters, covariance, chi2 };
}
