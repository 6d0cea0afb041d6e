import { type Complex, ZERO } from './complex.ts';

/** One vane of the spider: from the obstruction to the rim. A straight spider of four is four vanes. */
export interface Vane {
  /** Where the vane stands in the pupil, radians from +x towards +y of the stored pixels. */
  readonly angle: number;
  readonly widthMm: number;
  /** Sideways displacement from the radius, for vanes that miss the centre or stand bent. */
  readonly offsetMm: number;
}

/** A stop away from the mirror (small flat, narrow drawtube) that cuts the cone of light of stars off the axis. */
export interface LightCone {
  /** Radius of the clear circle, in radii of the pupil. */
  readonly radius: number;
  /** Where the circle stands for a star in the middle of the sensor, in radii of the pupil. */
  readonly offset: Complex;
  /** How far the circle moves across the pupil for each millimetre of field, in radii of the pupil. */
  readonly shiftPerMm: number;
}

/**
 * How a coma corrector answers to misalignment, as fractions of what the paraboloid alone would show; means of two
 * ray-traced designs (two lenses x1.144 and three lenses x1.009 behind 200 mm f/4). The structure is general, the
 * amounts of spacing and residuals are those designs'.
 */
export interface Corrector {
  /** Coma left over the field, um of wavefront per mm. */
  readonly residualComaUmPerMm: number;
  /** Curvature left: focus error at the corner, um per mm^2 of field (positive: sensor inside focus off the axis). */
  readonly residualCurvatureUmPerMm2: number;
  /** Radial astigmatism left, um of wavefront per mm^2. */
  readonly residualAstigmatismUmPerMm2: number;
  /** Uniform coma of a tilted flat, drawtube, corrector over that of the same shift or tilt of the primary's axis. */
  readonly flatComa: number;
  readonly drawtubeComa: number;
  readonly correctorTiltComa: number;
  /** Focal-plane tilt over the angle of the drawtube, of the corrector, of the flat. */
  readonly drawtubeFocus: number;
  readonly correctorTiltFocus: number;
  readonly flatFocus: number;
  /** Field-linear astigmatism over B z of the same axis shift (primary tilt is 2 B f tau). */
  readonly decentreAstigmatism: number;
  readonly correctorDecentreAstigmatism: number;
  readonly flatAstigmatism: number;
  readonly drawtubeAstigmatism: number;
  readonly correctorTiltAstigmatism: number;
  /** For each mm the sensor stands too far from the corrector, refocused at the centre. */
  readonly spacingComaUmPerMm: number;
  readonly spacingDefocusUmPerMm2: number;
  readonly spacingAstigmatismUmPerMm2: number;
  readonly spacingSphericalUm: number;
}

export const MEAN_CORRECTOR: Corrector = {
  residualComaUmPerMm: 0.008,
  residualCurvatureUmPerMm2: 0,
  residualAstigmatismUmPerMm2: 0,
  flatComa: 0.745,
  drawtubeComa: 0.078,
  correctorTiltComa: 0.042,
  drawtubeFocus: 0.03,
  correctorTiltFocus: -0.973,
  flatFocus: -0.034,
  decentreAstigmatism: 1,
  correctorDecentreAstigmatism: -0.89,
  flatAstigmatism: 4.06,
  drawtubeAstigmatism: -0.86,
  correctorTiltAstigmatism: -0.97,
  spacingComaUmPerMm: -0.0042,
  spacingDefocusUmPerMm2: 0.313e-3,
  spacingAstigmatismUmPerMm2: 0.162e-3,
  spacingSphericalUm: -0.049,
};

export interface Telescope {
  readonly apertureMm: number;
  readonly primaryFocalLengthMm: number;
  /** With the corrector or reducer; equal to the primary's without one. */
  readonly effectiveFocalLengthMm: number;
  /** Diameter of the secondary's shadow over the aperture. */
  readonly obstruction: number;
  /** Where the shadow stands, in radii of the pupil. */
  readonly obstructionOffset: Complex;
  readonly vanes: readonly Vane[];
  /** null: bare paraboloid. */
  readonly corrector: Corrector | null;
  readonly flatToSensorMm: number;
  readonly lightCone: LightCone | null;
}

/** Four straight vanes of 1 mm along the axes: the commonest spider. */
export const FOUR_VANES: readonly Vane[] = [0, 1, 2, 3].map((quarter) => ({
  angle: (quarter * Math.PI) / 2,
  widthMm: 1,
  offsetMm: 0,
}));

/**
 * How far a fold mirror's shadow usually stands off the pupil's centre, in any direction, pupil radii, root mean square: set for full
 * illumination it is its share of the aperture over twice the focal ratio, 0.02 to 0.045; as many are set in the middle, give or take a
 * hundredth (both common practice, no source).
 */
export const USUAL_SHADOW = 0.025;

/**
 * Taken where the obstruction is not told: the middle of the 25 to 40 % of the aperture that fast imaging Newtonians have (common practice,
 * no source).
 */
export const USUAL_OBSTRUCTION = 0.325;

/** 200 mm f/4 with a corrector of magnification 1: the working example of the checks. */
export const EXAMPLE_TELESCOPE: Telescope = {
  apertureMm: 200,
  primaryFocalLengthMm: 800,
  effectiveFocalLengthMm: 800,
  obstruction: 0.35,
  obstructionOffset: ZERO,
  vanes: FOUR_VANES,
  corrector: MEAN_CORRECTOR,
  flatToSensorMm: 230,
  lightCone: null,
};

/** Focal ratio that turns wavefront into spot size. */
export function effectiveFocalRatio(telescope: Telescope): number {
  return telescope.effectiveFocalLengthMm / telescope.apertureMm;
}

/** Focal ratio that turns the mirror's tilt into coma. */
export function primaryFocalRatio(telescope: Telescope): number {
  return telescope.primaryFocalLengthMm / telescope.apertureMm;
}

/** Micrometres on the sensor for one arcsecond on the sky. */
export function umPerArcsec(telescope: Telescope): number {
  return telescope.effectiveFocalLengthMm / 206.264806;
}
