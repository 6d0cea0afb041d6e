import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import type { Amounts } from './amounts.ts';
import type { KnownOptics } from './setup.ts';

/**
 * Trade tolerance of the primary's axis at the focus, 0.005 N^3 mm, as wavefront: with c = h/(32 N^3) it is 0.156 um of
 * W131 at every focal ratio.
 */
export const COMA_TOLERANCE_UM = (1000 * 0.005) / 32;
/**
 * Tilt of the primary, arcminutes, that makes a W131 of that many um: c = tau D/(32 N^2), N the primary's own focal ratio.
 */
export function tiltForComa(comaUm: number, apertureMm: number, primaryFocalLengthMm: number): number {
  const ratio = primaryFocalLengthMm / apertureMm;
  return ((comaUm / 1000) * 32 * ratio * ratio * ARCMIN_PER_RAD) / apertureMm;
}

/** Marechal's lambda/14 RMS at 0.55 um (Wilson, Reflecting Telescope Optics I, sec. 3.10). */
export const MARECHAL_UM = 0.55 / 14;
/** Stars with a longer axis up to this many times the shorter one pass for round (common practice, no source). */
export const ROUND_ELONGATION = 1.1;

/** Distortion e = (a2 - b2)/(a2 + b2) of an elongation a/b. */
export function distortionOf(elongation: number): number {
  const q = elongation * elongation;
  return (q - 1) / (q + 1);
}

export function elongationFrom(distortion: number): number {
  const e = Math.min(0.98, Math.abs(distortion));
  return Math.sqrt((1 + e) / (1 - e));
}

/**
 * Seeing-limited critical focus zone, full width, um: 0.00225 theta sqrt(tau) D N^2, theta the FWHM in arcseconds, tau the
 * tolerated widening in per cent, D in mm (Goldman & Megdal, Sky & Telescope, August 2010).
 */
export function focusZoneOf(optics: KnownOptics, seeingArcsec: number, widening = 10): number {
  const ratio = optics.focalLengthMm / optics.apertureMm;
  return 0.00225 * seeingArcsec * Math.sqrt(widening) * optics.apertureMm * ratio * ratio;
}

export function focusZoneUm({ optics, response }: Amounts): number {
  return focusZoneOf(optics, response?.seeingArcsec ?? 2.5);
}

/** Extra width of a star drawn out along one axis: e = (a2 - b2)/(a2 + b2) at unchanged b; geometric mean, in quadrature. */
export function widenedBy(distortion: number, fwhm: number): number {
  const e = Math.min(0.95, distortion);
  const ratio = Math.sqrt((1 + e) / (1 - e));
  return fwhm * Math.sqrt(Math.max(0, ratio - 1));
}
