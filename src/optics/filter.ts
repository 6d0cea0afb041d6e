import { gaussLegendre } from '../numeric/gaussLegendre.ts';

/** Pass bands, um, and the weights of the wavelengths that stand for them: light of a star times a sensor's response. */
export type FilterName = 'L' | 'R' | 'G' | 'B' | 'Ha' | 'mosaic-green' | 'mosaic-red' | 'mosaic-blue' | 'none' | 'mono';

interface Band {
  readonly fromUm: number;
  readonly toUm: number;
}

/** Usual astronomical imaging filters (common practice, no single source); 'mono' is one wavelength, 0.55 um. */
export const BANDS: Readonly<Record<FilterName, Band>> = {
  L: { fromUm: 0.4, toUm: 0.7 },
  R: { fromUm: 0.58, toUm: 0.69 },
  G: { fromUm: 0.49, toUm: 0.58 },
  B: { fromUm: 0.4, toUm: 0.51 },
  Ha: { fromUm: 0.6538, toUm: 0.6588 },
  'mosaic-green': { fromUm: 0.47, toUm: 0.62 },
  'mosaic-red': { fromUm: 0.57, toUm: 0.7 },
  'mosaic-blue': { fromUm: 0.4, toUm: 0.53 },
  none: { fromUm: 0.38, toUm: 0.95 },
  mono: { fromUm: 0.55, toUm: 0.55 },
};

export interface WavelengthSample {
  readonly um: number;
  /** Sums to 1 over the samples. */
  readonly weight: number;
}

/** A back-lit silicon sensor: rises from 0.38 um, 0.9 about 0.53 um, falls to little at 0.95 um (typical, no source). */
function sensorResponse(um: number): number {
  if (um < 0.53) return 0.9 - 2.2 * (0.53 - um);
  return Math.max(0.08, 0.9 - 2.0 * (um - 0.53));
}

/** Equal steps across the band, each taken in its middle. */
export function wavelengths(filter: FilterName, samples: number): WavelengthSample[] {
  const { fromUm, toUm } = BANDS[filter];
  const count = toUm === fromUm ? 1 : Math.max(1, Math.round(samples));
  const points = Array.from({ length: count }, (_, i) => {
    const um = fromUm + ((toUm - fromUm) * (i + 0.5)) / count;
    return { um, weight: sensorResponse(um) };
  });
  const total = points.reduce((sum, point) => sum + point.weight, 0);
  return points.map((point) => ({ um: point.um, weight: point.weight / total }));
}

/**
 * The same by Gauss and Legendre's rule: moments of a band that the air spreads come out right to the third, which equal steps miss by
 * far (three of them give a faintly skewed star the wrong sense).
 */
export function gaussWavelengths(filter: FilterName, count: number): WavelengthSample[] {
  const { fromUm, toUm } = BANDS[filter];
  if (fromUm === toUm) return wavelengths(filter, 1);
  const points = gaussLegendre(count).map(({ place, weight }) => {
    const um = (fromUm + toUm + (toUm - fromUm) * place) / 2;
    return { um, weight: weight * sensorResponse(um) };
  });
  const total = points.reduce((sum, point) => sum + point.weight, 0);
  return points.map(({ um, weight }) => ({ um, weight: weight / total }));
}
