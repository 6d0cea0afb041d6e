/**
 * What a drawn amount may be before it is a fault, restated from the sources named in the record, not taken from the
 * program: the primary's axis within 0.005 N^3 mm of the centre (trade tolerance), Goldman & Megdal's seeing-limited focus
 * zone (Sky & Telescope, August 2010), Marechal's lambda/14, and stars up to 1.1 times as long as wide.
 */

/** W131 of an axis 0.005 N^3 mm off: h/(32 N^3), um, at every focal ratio. */
export const COMA_UM = 5 / 32;
/** Trefoil, um RMS, at 0.55 um. */
export const TREFOIL_RMS_UM = 0.55 / 14;
/** Distortion (a2 - b2)/(a2 + b2) of stars 1.1 times as long as wide. */
export const DISTORTION = (1.1 ** 2 - 1) / (1.1 ** 2 + 1);

/** Full width of the focus zone for 10 % wider stars, um: 0.00225 theta sqrt(10) D N^2. */
export function focusZoneUm(seeingArcsec: number, apertureMm: number, focalRatio: number): number {
  return 0.00225 * seeingArcsec * Math.sqrt(10) * apertureMm * focalRatio ** 2;
}
