import { type Complex, ZERO } from './complex.ts';

/**
 * The telescope's state as an owner could set it. Vectors in stored axes: the tilt of primary or flat points to where
 * the axis or beam leans on the sensor; that of sensor, corrector or drawtube to its side nearest the mirror.
 * Coefficients a, t, s are those of the wavefront (wavefront.ts), um.
 */
export interface OpticalState {
  readonly primaryTiltArcmin: Complex;
  readonly primaryDecentreMm: Complex;
  /** Of the flat itself: the beam turns by twice as much. */
  readonly flatTiltArcmin: Complex;
  readonly sensorTiltArcmin: Complex;
  readonly correctorDecentreMm: Complex;
  readonly correctorTiltArcmin: Complex;
  /** How much too far the sensor stands from the corrector. */
  readonly correctorSpacingMm: number;
  /** Corrector and camera together, about the middle of the sensor. */
  readonly drawtubeTiltArcmin: Complex;
  /** How far the middle of the sensor stands inside focus (nearer the mirror). */
  readonly focusUm: number;
  /** Extra curvature: um of defocus (inside focus positive) per mm^2 from the centre. */
  readonly fieldCurvatureUmPerMm2: number;
  /** Uniform astigmatism, spin 2: its axis is half the vector's angle. */
  readonly astigmatismUm: Complex;
  /** Uniform trefoil (three clips pinching the primary), spin 3. */
  readonly trefoilUm: Complex;
  readonly sphericalUm: number;
}

/** Collimated, square and in focus. */
export const ALIGNED: OpticalState = {
  primaryTiltArcmin: ZERO,
  primaryDecentreMm: ZERO,
  flatTiltArcmin: ZERO,
  sensorTiltArcmin: ZERO,
  correctorDecentreMm: ZERO,
  correctorTiltArcmin: ZERO,
  correctorSpacingMm: 0,
  drawtubeTiltArcmin: ZERO,
  focusUm: 0,
  fieldCurvatureUmPerMm2: 0,
  astigmatismUm: ZERO,
  trefoilUm: ZERO,
  sphericalUm: 0,
};
