import { add, type Complex, scale } from '../../src/optics/complex.ts';
import { dispersionShift } from '../../src/optics/dispersion.ts';
import { gaussWavelengths } from '../../src/optics/filter.ts';
import { maxHalfSize, stampAt, starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import type { Scene } from '../../src/optics/starField.ts';
import { type Coefficients, NO_ABERRATION } from '../../src/optics/wavefront.ts';
import { measureStar, windowRadius } from '../../src/shapes/measureStar.ts';
import type { Shape } from '../../src/shapes/shape.ts';

export interface DrawOptions {
  readonly smear?: boolean;
  readonly dispersion?: boolean;
  /** Wavelengths across the band; one does for a width or an elongation against a tolerance. */
  readonly samples?: number;
}

/** With dispersion at least so many: the colours lie apart, and skew the star. */
const DISPERSED_LIGHTS = 7;

/** A star of this sub without noise, measured through the weights that measured the frame; null where it cannot be. */
export function noiseFreeStar(
  scene: Scene,
  z: Complex,
  wavefront: Partial<Coefficients>,
  { smear = false, dispersion = false, samples = 1 }: DrawOptions = {},
): Shape | null {
  const { telescope, camera, atmosphere } = scene;
  const filter = camera.mosaic === null ? scene.filter : 'mosaic-green';
  const psf = starImage(
    telescope,
    { ...NO_ABERRATION, ...wavefront },
    {
      pixelUm: camera.pixelUm,
      filter,
      seeingArcsec: scene.seeingArcsec,
      smear: smear ? scene.smear : STEADY,
      recentred: true,
      samples,
      field: z,
      ...(dispersion && atmosphere !== null
        ? {
            shiftUm: dispersionShift(telescope, filter, atmosphere.altitudeDeg, atmosphere.zenith),
            lights: gaussWavelengths(filter, DISPERSED_LIGHTS),
          }
        : {}),
    },
  );
  const half = Math.min(48, maxHalfSize(psf));
  const width = 2 * half + 1;
  const data = Float32Array.from(stampAt(psf, 0, 0, half), (v) => v * 1e6);
  const peak = data.reduce((a, b) => Math.max(a, b), 0);
  const plane = { data, width, height: width, mask: null, greenParity: null };
  // A Gaussian's width for that share of its light in the brightest pixel, where it is a wide star.
  const fwhm = Math.max(3, Math.sqrt((4 * Math.LN2 * 1e6) / (Math.PI * peak)));
  const guess = { x: half, y: half, fwhm, peak, sky: 0, noise: peak * 1e-4, gainEPerAdu: 1e6 };
  const first = measureStar(plane, guess);
  if (first.status !== 'measured') return null;
  const again = measureStar(plane, { ...guess, fwhm: first.shape.fwhm }, windowRadius(first.shape.fwhm));
  return again.status === 'measured' ? again.shape : null;
}

/** Centres of the nine zones, mm. */
export function zoneCentres(scene: Scene): Complex[] {
  const { width, height, pixelUm } = scene.camera;
  return [-1, 0, 1].flatMap((j) =>
    [-1, 0, 1].map((i) => ({ x: (i * width * pixelUm) / 3000, y: (j * height * pixelUm) / 3000 })),
  );
}

export const meanOf = (vectors: readonly Complex[]): Complex => scale(add(...vectors), 1 / Math.max(1, vectors.length));
