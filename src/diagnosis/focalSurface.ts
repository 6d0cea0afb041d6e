import { halfDiagonal } from '../field/frameStars.ts';
import type { Amounts } from './amounts.ts';
import type { Setup } from './setup.ts';

/** A place of the field in half-diagonals from the frame's centre, stored axes. */
export interface FieldPoint {
  readonly u: number;
  readonly v: number;
}

export interface SurfacePoint {
  /** Best focus against the sensor; the common sign of all places is not known. */
  readonly value: number;
  /** 1 sigma, the parts' errors taken as independent. */
  readonly error: number;
}

export interface FocalSurface {
  readonly at: (place: FieldPoint) => SurfacePoint;
  /** um along the axis, or pixels of blur (FWHM in quadrature) where the optics are not known. */
  readonly unit: 'um' | 'px';
}

/** Where the stars of the sub nearest to its focus come to focus over the field, by the whole-field fit where there is one. */
export function focalSurface(amounts: Amounts, setup: Setup): FocalSurface | null {
  const { size, response, physical, retrieved } = amounts;
  if (retrieved !== null) {
    const half = halfDiagonal(setup);
    const [cos, sin] = [Math.cos(retrieved.tiltAxis), Math.sin(retrieved.tiltAxis)];
    const extent = (setup.width * Math.abs(cos) + setup.height * Math.abs(sin)) / half;
    const slope = retrieved.tiltUm.value / extent;
    const slopeError = (retrieved.tiltUm.high - retrieved.tiltUm.low) / 2 / extent;
    const focus = retrieved.perSub
      .map((sub) => sub.focusUm)
      .reduce((best, each) => (Math.abs(each.value) < Math.abs(best.value) ? each : best));
    const { value, error } = retrieved.curvatureUm;
    return {
      unit: 'um',
      at: ({ u, v }) => {
        const r2 = u * u + v * v;
        return {
          value: focus.value + slope * (cos * u + sin * v) + value * r2,
          error: Math.hypot((focus.high - focus.low) / 2, slopeError * Math.sqrt(r2), error * r2),
        };
      },
    };
  }
  if (size === null || response === null) return null;
  const sharpest = size.centre.reduce((best, c, i) => (Math.abs(c) < Math.abs(size.centre[best] ?? c) ? i : best), 0);
  const centre = size.centre[sharpest] ?? 0;
  const centreError = size.centreError[sharpest] ?? 0;
  const inUnit = (blur: number): number => (physical ? Math.sign(blur) * response.defocusUm(Math.abs(blur)) : blur);
  return {
    unit: physical ? 'um' : 'px',
    at: ({ u, v }) => {
      const r2 = u * u + v * v;
      const blur = centre + size.tilt.x * u + size.tilt.y * v + size.curvature.value * r2;
      const error = Math.hypot(centreError, size.tilt.error * Math.sqrt(r2), size.curvature.error * r2);
      return { value: inUnit(blur), error: inUnit(Math.abs(blur) + error) - Math.abs(inUnit(blur)) };
    },
  };
}

/** Distance from focus at a place, um along the axis, whatever the optics; 0 where nothing is known of it. */
export function defocusUmAt(amounts: Amounts, setup: Setup, place: FieldPoint): number {
  const surface = focalSurface(amounts, setup);
  if (surface === null) return 0;
  const away = Math.abs(surface.at(place).value);
  return surface.unit === 'um' ? away : (amounts.response?.defocusUm(away) ?? 0);
}
