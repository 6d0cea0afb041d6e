/** Sigma of a Gaussian to its full width at half maximum: 2 sqrt(2 ln 2). */
export const SIGMA_TO_FWHM = 2 * Math.sqrt(2 * Math.log(2));

/**
 * Shape of one star: elliptical Gaussian fit and third-order shape, all in stored pixels.
 * Errors are 1 sigma. Distortion (e1, e2) = (a2 - b2)/(a2 + b2) (cos 2 theta, sin 2 theta), a and b the sigmas.
 */
export interface Shape {
  /** Pixels; 0-based, integer = pixel centre; x = column, y = stored row. */
  readonly x: number;
  readonly y: number;
  readonly positionError: number;
  /** ADU above the local background, of the fitted Gaussian. */
  readonly amplitude: number;
  readonly amplitudeError: number;
  readonly background: number;
  /** ADU, the volume under the fitted Gaussian; of a mosaic as if every pixel were green. */
  readonly flux: number;
  readonly fluxError: number;
  /** Pixels, sigmaMajor >= sigmaMinor > 0; the width of the profile before pixel integration. */
  readonly sigmaMajor: number;
  readonly sigmaMinor: number;
  /** Long axis from +x towards +y (stored), radians, in (-pi/2, pi/2]. */
  readonly theta: number;
  /** SIGMA_TO_FWHM sqrt(sigmaMajor sigmaMinor), pixels. */
  readonly fwhm: number;
  readonly fwhmError: number;
  readonly e1: number;
  readonly e2: number;
  /** 1 sigma of each of e1 and e2. */
  readonly eError: number;
  /** Third-order, spin 1: dimensionless vector along the coma tail, stored axes. */
  readonly coma3: { readonly x: number; readonly y: number; readonly error: number };
  /** Third-order, spin 3: |t| e^{3 i phi} as (x, y), stored axes. */
  readonly trefoil3: { readonly x: number; readonly y: number; readonly error: number };
  /** Peak over its noise in one pixel. */
  readonly peakSnr: number;
  /** Weighted RMS residual of the fit over the amplitude: how far the star is from a Gaussian. */
  readonly misfit: number;
}

/** Elongation = major/minor, >= 1. */
export function elongationOf(shape: Pick<Shape, 'sigmaMajor' | 'sigmaMinor'>): number {
  return shape.sigmaMajor / shape.sigmaMinor;
}
