import { type Complex, scale } from './complex.ts';
import { type FilterName, wavelengths } from './filter.ts';
import { type Telescope, umPerArcsec } from './telescope.ts';

/** Air at the telescope. */
export interface Air {
  /** Millimetres of mercury. */
  readonly pressureMmHg: number;
  readonly temperatureC: number;
  /** Partial pressure of water vapour, millimetres of mercury. */
  readonly vapourMmHg: number;
}

/** A mild night near sea level. */
export const MILD_AIR: Air = { pressureMmHg: 750, temperatureC: 10, vapourMmHg: 6 };

/** Refractivity n - 1 of air (Filippenko 1982, PASP 94, 715, eqs. 1-3; wavelength in vacuum, um). */
export function refractivity(wavelengthUm: number, air: Air): number {
  const inverse2 = wavelengthUm ** -2;
  const dry = 64.328 + 29498.1 / (146 - inverse2) + 255.4 / (41 - inverse2);
  const { pressureMmHg: p, temperatureC: t } = air;
  const density = (p * (1 + (1.049 - 0.0157 * t) * 1e-6 * p)) / (720.883 * (1 + 0.003661 * t));
  const vapour = ((0.0624 - 0.00068 * inverse2) / (1 + 0.003661 * t)) * air.vapourMmHg;
  return (dry * density - vapour) * 1e-6;
}

/** Refraction in arcseconds, flat atmosphere: 206265 (n - 1) tan z; good to 1 % above 20 degrees of altitude. */
export function refractionArcsec(wavelengthUm: number, altitudeDeg: number, air: Air): number {
  return (206264.806 * refractivity(wavelengthUm, air)) / Math.tan((altitudeDeg * Math.PI) / 180);
}

/** Wavelengths for the band's mean refraction, which tracking keeps in place. */
const MEAN_SAMPLES = 32;

/**
 * Displacement of the image at each wavelength against the band's mean, um on the sensor. `zenith`: unit vector on the
 * sensor along which a star moves when it gets nearer the zenith; blue light, refracted most, lies there.
 */
export function dispersionShift(
  telescope: Telescope,
  filter: FilterName,
  altitudeDeg: number,
  zenith: Complex,
  air: Air = MILD_AIR,
): (wavelengthUm: number) => Complex {
  const mean = wavelengths(filter, MEAN_SAMPLES).reduce(
    (sum, light) => sum + light.weight * refractionArcsec(light.um, altitudeDeg, air),
    0,
  );
  return (um) => scale(zenith, (refractionArcsec(um, altitudeDeg, air) - mean) * umPerArcsec(telescope));
}
