/** Curvature of the best-focus surface (corner minus middle, um towards larger readings) found at a known spacing. */
export interface CurvatureAt {
  readonly spacingMm: number;
  readonly curvatureUm: number;
  readonly errorUm: number;
}

export interface SpacingCalibration {
  /** um of curvature for each mm by which the sensor stands further from the corrector. */
  readonly umPerMm: number;
  readonly error: number;
  /** Spacing at which the field would be flat, mm. */
  readonly flatMm: number;
  readonly flatErrorMm: number;
}

/** Two spacings nearer than this calibrate nothing, mm. */
const LEAST_MM = 0.2;

/**
 * Straight line of curvature against spacing from sweeps at known spacings of the same corrector: an error of spacing bends the
 * best-focus surface in proportion, with either sign. Null with fewer than two distinct spacings or where none is seen to act.
 */
export function calibrateSpacing(sweeps: readonly CurvatureAt[]): SpacingCalibration | null {
  const spacings = sweeps.map((s) => s.spacingMm);
  if (sweeps.length < 2 || Math.max(...spacings) - Math.min(...spacings) < LEAST_MM) return null;
  let [s, sx, sy, sxx, sxy] = [0, 0, 0, 0, 0];
  for (const { spacingMm: x, curvatureUm: y, errorUm } of sweeps) {
    const w = 1 / errorUm ** 2;
    s += w;
    sx += w * x;
    sy += w * y;
    sxx += w * x * x;
    sxy += w * x * y;
  }
  const det = s * sxx - sx * sx;
  if (!(det > 0)) return null;
  const umPerMm = (s * sxy - sx * sy) / det;
  const atZero = (sxx * sy - sx * sxy) / det;
  const error = Math.sqrt(s / det);
  if (Math.abs(umPerMm) < 3 * error) return null;
  const flatMm = -atZero / umPerMm;
  // Variance of the line's height at flatMm over its slope.
  const height = (sxx - 2 * sx * flatMm + s * flatMm * flatMm) / det;
  return { umPerMm, error, flatMm, flatErrorMm: Math.sqrt(height) / Math.abs(umPerMm) };
}
