import { kernels } from '../kernels/kernels.ts';
import { maxHalfSize, type Psf, stampAt } from '../optics/psf.ts';
import { EXAMPLE_TELESCOPE, type Telescope, USUAL_OBSTRUCTION } from '../optics/telescope.ts';
import { measureStar } from '../shapes/measureStar.ts';
import type { Shape } from '../shapes/shape.ts';
import type { KnownOptics } from './setup.ts';

/** The telescope whose stars are drawn for comparison: told lengths and obstruction (the usual one where nothing is told), usual vanes. */
export function telescopeFor(optics: KnownOptics): Telescope {
  return {
    ...EXAMPLE_TELESCOPE,
    apertureMm: optics.apertureMm,
    primaryFocalLengthMm: optics.primaryFocalLengthMm,
    effectiveFocalLengthMm: optics.focalLengthMm,
    obstruction: optics.obstruction ?? USUAL_OBSTRUCTION,
    corrector: optics.bare ? null : EXAMPLE_TELESCOPE.corrector,
  };
}

/** Farther from the middle nothing of a star is looked at, pixels. */
export const FARTHEST_PX = 40;
const BRIGHT = 1e6;

/** A drawn star through the weights that measure the sub's, without noise; null where it is not measurable. */
export function measureDrawn(psf: Psf): Shape | null {
  const half = Math.min(FARTHEST_PX, maxHalfSize(psf));
  return measurePixels({ half, pixels: stampAt(psf, 0, 0, half) });
}

/** The same of its (2 half + 1)^2 pixels, the star in the middle one: shares of its light. */
export function measurePixels({
  half,
  pixels,
}: {
  readonly half: number;
  readonly pixels: Float64Array;
}): Shape | null {
  const width = 2 * half + 1;
  const data = kernels()?.small.subarray(0, pixels.length) ?? new Float32Array(pixels.length);
  let peak = 0;
  for (let k = 0; k < data.length; k++) {
    data[k] = BRIGHT * pixels[k];
    peak = Math.max(peak, data[k]);
  }
  const measured = measureStar(
    { data, width, height: width, mask: null, greenParity: null },
    { x: half, y: half, fwhm: widthOf(peak / BRIGHT), peak, sky: 0, noise: 1e-4 * peak, gainEPerAdu: BRIGHT },
  );
  return measured.status === 'measured' ? measured.shape : null;
}

const SMALLEST_FWHM = 3;

/** FWHM, pixels, of the Gaussian with that share of its light in its brightest pixel: pi/(4 ln 2) FWHM^2 peak = 1. */
const widthOf = (peakShare: number): number =>
  Math.max(SMALLEST_FWHM, Math.sqrt((4 * Math.LN2) / (Math.PI * peakShare)));
