/** Optics of the camera end: what turns defocus into size. */
export interface SweepOptics {
  readonly focalLengthMm: number;
  readonly apertureMm: number;
  readonly pixelUm: number;
  /** Diameter of the secondary's shadow over the aperture. */
  readonly obstruction: number;
}

/** Stands in where the optics are not known: the shape of the curve hardly depends on them. */
export const NOMINAL_OPTICS: SweepOptics = { focalLengthMm: 800, apertureMm: 200, pixelUm: 3.76, obstruction: 0.35 };

/** <r^2> of the geometric disc per square of defocus, (1 + eps^2)/(8 N^2) dz^2, as px^2/um^2. */
export function geometricGrowth(optics: SweepOptics): number {
  const n = optics.focalLengthMm / optics.apertureMm;
  return (1 + optics.obstruction ** 2) / (8 * n * n) / optics.pixelUm ** 2;
}

/** Slope of the half-flux diameter far from focus, sqrt((1 + eps^2)/2)/N, um/um. */
export function halfFluxSlope(optics: SweepOptics): number {
  return (Math.sqrt((1 + optics.obstruction ** 2) / 2) * optics.apertureMm) / optics.focalLengthMm;
}
