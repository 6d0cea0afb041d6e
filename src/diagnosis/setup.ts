/** Where a value of the set-up came from. */
export type Origin = 'header' | 'rig' | 'option' | 'assumed' | 'unknown';

export interface Known<T> {
  readonly value: T;
  readonly from: Origin;
}

/** What the owner puts up with instead of the usual tolerances; needs known optics. */
export interface ToleranceWishes {
  /** Tilt of the primary. */
  readonly mirrorTiltArcmin?: number | undefined;
  /** Focus from edge to edge, um. */
  readonly sensorTiltUm?: number | undefined;
}

/** Telescope and camera as far as they are known; null values leave everything in pixels. */
export interface Setup {
  readonly pixelUm: Known<number | null>;
  /** Effective: with corrector or reducer, mm. */
  readonly focalLengthMm: Known<number | null>;
  readonly primaryFocalLengthMm: Known<number | null>;
  readonly apertureMm: Known<number | null>;
  /** Diameter of the central obstruction, mm, where it is kept; the usual share of the aperture elsewhere. */
  readonly obstructionMm?: number;
  readonly corrector: Known<{ readonly present: boolean | 'unknown'; readonly magnification: number | null }>;
  readonly filter: string | null;
  /** Degrees above the horizon, mean of the subs. */
  readonly altitudeDeg: number | null;
  /** Focuser reading of each sub, in its own steps. */
  readonly focusPositions: readonly (number | null)[];
  readonly width: number;
  readonly height: number;
  readonly mosaic: boolean;
  readonly wishes: ToleranceWishes;
}

/** The optics, once everything needed for physical units is known. */
export interface KnownOptics {
  readonly pixelUm: number;
  readonly focalLengthMm: number;
  readonly primaryFocalLengthMm: number;
  readonly apertureMm: number;
  /** Diameter of the secondary over the aperture, where it is known. */
  readonly obstruction?: number;
  readonly bare: boolean;
}

/**
 * Stands in where the optics are unknown, so that tolerances and ranking still mean something: 200 mm f/4 and pixels that
 * put the median star at 2.5". Nothing physical is reported from it.
 */
export function nominalOptics(fwhmPx: number): KnownOptics {
  const arcsecPerPx = 2.5 / fwhmPx;
  return {
    pixelUm: (arcsecPerPx * 800) / 206.264806,
    focalLengthMm: 800,
    primaryFocalLengthMm: 800,
    apertureMm: 200,
    bare: false,
  };
}

/** More than this share of the aperture is no secondary's: two numbers that do not belong together. */
const LARGEST_OBSTRUCTION = 0.7;

/** Null unless aperture, focal lengths and pixel size are all known. */
export function knownOptics(setup: Setup, bare: boolean): KnownOptics | null {
  const { pixelUm, focalLengthMm, primaryFocalLengthMm, apertureMm, obstructionMm } = setup;
  if (pixelUm.value === null || focalLengthMm.value === null || apertureMm.value === null) return null;
  return {
    pixelUm: pixelUm.value,
    focalLengthMm: focalLengthMm.value,
    primaryFocalLengthMm: primaryFocalLengthMm.value ?? focalLengthMm.value,
    apertureMm: apertureMm.value,
    ...(obstructionMm !== undefined &&
      obstructionMm < LARGEST_OBSTRUCTION * apertureMm.value && { obstruction: obstructionMm / apertureMm.value }),
    bare,
  };
}

export function arcsecPerPx(setup: Setup): number | null {
  const { pixelUm, focalLengthMm } = setup;
  return pixelUm.value === null || focalLengthMm.value === null
    ? null
    : (206.264806 * pixelUm.value) / focalLengthMm.value;
}
