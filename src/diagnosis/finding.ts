/** Every cause looked for: one table, read by the findings, the verdict, the texts and the tests. */
export const CAUSES = {
  miscollimation: { title: 'primary mirror out of collimation', optical: true },
  'sensor-tilt': { title: 'tilted focal plane', optical: true },
  'corrector-spacing': { title: 'field curvature: corrector spacing', optical: true },
  'pinched-optics': { title: 'pinched optics', optical: true },
  astigmatism: { title: 'astigmatism over the field', optical: true },
  tracking: { title: 'tracking smear', optical: false },
  dispersion: { title: 'atmospheric dispersion', optical: false },
  defocus: { title: 'out of focus', optical: false },
} as const;

export type Cause = keyof typeof CAUSES;
export type Status = 'fault' | 'within-tolerance' | 'not-detected' | 'not-measurable';

/** Where star A stands and where the correcting move of the primary takes it; stored pixels and stored axes. */
export interface StarShift {
  readonly x: number;
  readonly y: number;
  readonly length: number;
  readonly error: number;
  readonly from: { readonly x: number; readonly y: number };
  /** Target of the first step. */
  readonly to: { readonly x: number; readonly y: number };
  readonly steps: number;
}

/** An amount with its interval (68 %), in units of its tolerance: 1 is just tolerable. */
export interface ToleranceShare {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

/** One cause weighed. Angles in radians, stored axes; null where there is none to give. */
export interface Finding {
  readonly cause: Cause;
  readonly status: Status;
  /** Sigma; null where nothing could be measured. */
  readonly significance: number | null;
  readonly tolerance: string;
  /** How much of its tolerance it takes up; null where none is held against it. */
  readonly share: ToleranceShare | null;
  /** Pixels of FWHM, in quadrature over the seeing, in the cause's worst zone; null without a model of the star. */
  readonly widens: number | null;
  readonly direction: number | null;
  readonly directionError: number | null;
  readonly axis: number | null;
  readonly axisError: number | null;
  readonly starShift: StarShift | null;
  readonly because: string;
  readonly advice: string;
}

/** A cause is a fault only beyond its tolerance and at this many sigma. */
export const FAULT_SIGMAS = 5;
/** Below this many sigma nothing is claimed: an upper limit, no direction. */
export const DETECT_SIGMAS = 3;

/**
 * Status of an amount against its tolerance: errors wider than the tolerance cannot tell, and an amount beyond it that is not
 * yet sure is neither a fault nor within.
 */
export function statusOf(amount: number, error: number, significance: number, tolerance: number): Status {
  if (significance >= FAULT_SIGMAS && amount > tolerance) return 'fault';
  if (amount > tolerance) return 'not-measurable';
  if (amount + 2 * error > tolerance && error > 0.5 * tolerance) return 'not-measurable';
  if (significance >= DETECT_SIGMAS) return 'within-tolerance';
  return 'not-detected';
}

/** A fault whose near end is less than the `least` that it should still hold is none yet: focus may have made it look large. */
export const unlessOpen = (status: Status, low: number, least: number): Status =>
  status === 'fault' && low <= least ? 'not-measurable' : status;

/** The amount and its interval against the tolerance, all in one unit. */
export function shareOf(tolerance: number, value: number, low: number, high: number): ToleranceShare {
  return { value: value / tolerance, low: Math.max(0, low) / tolerance, high: high / tolerance };
}

/** For findings that have no direction, or none to be trusted. */
export const NO_DIRECTION = {
  direction: null,
  directionError: null,
  axis: null,
  axisError: null,
  starShift: null,
} as const;

/** Error of a vector's direction, radians; at most a quarter turn. */
export const directionError = (length: number, error: number): number =>
  Math.min(Math.PI / 2, error / Math.max(length, 1e-12));

/** A cause nothing can be said of. */
export function unmeasurable(cause: Finding['cause'], tolerance: string): Finding {
  return {
    cause,
    status: 'not-measurable',
    significance: null,
    tolerance,
    share: null,
    widens: null,
    ...NO_DIRECTION,
    because: 'too few stars over the field',
    advice: 'More stars: longer subs, more subs, or a richer field.',
  };
}
