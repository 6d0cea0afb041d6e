import { dispersionShift } from '../optics/dispersion.ts';
import type { FilterName } from '../optics/filter.ts';
import { starImage } from '../optics/psf.ts';
import { NO_ABERRATION } from '../optics/wavefront.ts';
import { measureDrawn, telescopeFor } from './drawnStar.ts';
import type { KnownOptics, Setup } from './setup.ts';

/** What the air alone should make of a round star at the subs' altitude through their filter. */
export interface Air {
  /** |(e1, e2)| along the zenith's axis. */
  readonly distortion: number;
  /** |coma3| along the same axis; its sense is that of the band's uneven ends. */
  readonly coma3: number;
}

/** Higher than this the air spreads less than a tenth of an arcsecond through any filter. */
const HIGHEST_DEG = 75;
/** Wavelengths across the band: the skew lies in its ends. */
const LIGHTS = 7;
/** A line filter spreads nothing. */
const NARROW: readonly FilterName[] = ['Ha', 'mono'];

/** Null where the altitude is not told, or the air has nothing to say. */
export function expectedAir(
  optics: KnownOptics,
  filter: FilterName,
  seeingArcsec: number,
  { altitudeDeg }: Setup,
): Air | null {
  if (altitudeDeg === null || altitudeDeg > HIGHEST_DEG || altitudeDeg < 5 || NARROW.includes(filter)) return null;
  const telescope = telescopeFor(optics);
  const shape = measureDrawn(
    starImage(telescope, NO_ABERRATION, {
      pixelUm: optics.pixelUm,
      filter,
      seeingArcsec,
      samples: LIGHTS,
      shiftUm: dispersionShift(telescope, filter, altitudeDeg, { x: 1, y: 0 }),
    }),
  );
  return shape === null ? null : { distortion: Math.abs(shape.e1), coma3: Math.abs(shape.coma3.x) };
}
