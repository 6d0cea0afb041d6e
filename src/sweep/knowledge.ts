/** What a sweep settled, for later checks of the same rig and night. Lengths on screen axes; null where it could not tell. */
export interface SweepKnowledge {
  readonly created: string;
  readonly camera: string | null;
  readonly width: number;
  readonly height: number;
  readonly pixelUm: number | null;
  readonly cameraAngleDeg: number | null;
  /** First and last start of exposure of the series, UTC. */
  readonly from: string | null;
  readonly to: string | null;
  /** Micrometres of camera travel for each unit of the focuser reading. */
  readonly umPerStep: number | null;
  /** Which way the camera moves as readings grow: out = away from the mirror. */
  readonly largerReadings: 'in' | 'out' | null;
  /** Reading at which the middle of the frame is in focus, and at which the whole field is best. */
  readonly bestReading: Known | null;
  readonly compromiseReading: Known | null;
  /** Width of focused stars during the sweep, px. */
  readonly seeingFwhmPx: Known | null;
  /**
   * Gradient of the distance by which the sensor stands inside focus (nearer the mirror), um/mm, x right, y up on the screen.
   * With `signKnown` false it may be the opposite.
   */
  readonly tilt: KnownVector | null;
  /** The same distance, corner minus middle, um. */
  readonly curvatureUm: Known | null;
  /** Wavefront coefficient a (spin 2), um, screen axes; sign as `signKnown`. */
  readonly astigmatismUm: KnownVector | null;
  /** Wavefront coefficient W131, um, along the coma tail; its direction is always known. */
  readonly comaUm: KnownVector | null;
  readonly primaryTiltArcmin: Known | null;
  /** Whether the user told which way the camera moves as readings grow. */
  readonly signKnown: boolean;
}

export interface Known {
  readonly value: number;
  readonly error: number;
}

/** `error` is that of each component. */
export interface KnownVector {
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

/** How far the middle of the sensor stands inside focus at a focuser reading, um; without `signKnown` the sign may be the opposite. */
export function defocusUmAt(knowledge: SweepKnowledge, reading: number): Known | null {
  const { bestReading, umPerStep, largerReadings } = knowledge;
  if (bestReading === null || umPerStep === null) return null;
  const out = largerReadings === 'in' ? -1 : 1;
  return { value: out * (bestReading.value - reading) * umPerStep, error: bestReading.error * umPerStep };
}
