import { isSteady } from '../field/combine.ts';
import { vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { dispersionShift } from '../optics/dispersion.ts';
import { type FilterName, gaussWavelengths } from '../optics/filter.ts';
import { starImage } from '../optics/psf.ts';
import { NO_ABERRATION } from '../optics/wavefront.ts';
import type { Amounts } from './amounts.ts';
import { measureDrawn, telescopeFor } from './drawnStar.ts';
import { FAULT_SIGMAS } from './finding.ts';
import type { KnownOptics, Setup } from './setup.ts';

/** What the air alone should make of a round star at the subs' altitude through their filter. */
export interface Air {
  /** |(e1, e2)| along the zenith's axis. */
  readonly distortion: number;
  /** coma3 along the same axis, positive towards the zenith. */
  readonly coma3: number;
  /** |trefoil3|, whose corner lies there. */
  readonly trefoil3: number;
}

/** Higher than this the air spreads less than a tenth of an arcsecond through any filter. */
const HIGHEST_DEG = 75;
/** Wavelengths across the band: the skew lies in its ends. */
const LIGHTS = 7;
/** A line filter spreads nothing. */
const NARROW: readonly FilterName[] = ['Ha', 'mono'];

/** `defocus`: um of d. Null where the altitude is not told, or the air has nothing to say. */
export function expectedAir(
  optics: KnownOptics,
  filter: FilterName,
  seeingArcsec: number,
  { altitudeDeg }: Setup,
  defocus = 0,
): Air | null {
  if (altitudeDeg === null || altitudeDeg > HIGHEST_DEG || altitudeDeg < 5 || NARROW.includes(filter)) return null;
  const telescope = telescopeFor(optics);
  const shape = measureDrawn(
    starImage(
      telescope,
      { ...NO_ABERRATION, d: defocus },
      {
        pixelUm: optics.pixelUm,
        filter,
        seeingArcsec,
        lights: gaussWavelengths(filter, LIGHTS),
        shiftUm: dispersionShift(telescope, filter, altitudeDeg, { x: 1, y: 0 }),
      },
    ),
  );
  return shape === null
    ? null
    : { distortion: Math.abs(shape.e1), coma3: shape.coma3.x, trefoil3: Math.abs(shape.trefoil3.x) };
}

/** The air's elongation is expected to so much of its value: the star's colour and the pass band's ends are not known. */
export const LIKE_AIR = { from: 0.55, to: 1.5 } as const;

/** A skewed smear longer than so many times what the air makes is a jump. */
const MOST_OF_AIR = 2.5;
/**
 * And one with so many times the air's trefoil, its faint skew told to within the least: as long as is like the air, stars have 1.8 times
 * as much, and jumps 7 times and more.
 */
const MOST_SKEW = { ofAir: 2.5, least: 0.015 } as const;

/**
 * Whether the smear is the air's: it stays over the subs, low in the sky, through a broad band, and is either skewed as only
 * spread colours or a jump are and not far beyond what the air should make, or as long as that.
 */
export function airIsSuspect(amounts: Amounts, setup: Setup): boolean {
  const narrow = /^(h|s-?ii|o-?iii|n-?ii|s2|o3|g\b|green)/i.test(setup.filter?.trim() ?? '');
  const low = setup.altitudeDeg !== null && setup.altitudeDeg < 60;
  const { coma } = amounts.smooth;
  const { air, skew, smear, steady } = amounts;
  if (skew !== null) {
    const tooLong = air !== null && vectorLength(smear) > MOST_OF_AIR * air.distortion;
    const skewed = Math.hypot(skew.coma3.x, skew.coma3.y);
    const tooSkewed = air !== null && skewed > Math.max(MOST_SKEW.ofAir * air.trefoil3, MOST_SKEW.least);
    return low && !narrow && !tooLong && !tooSkewed && coma.uniform.changing < 0.5 * vectorLength(coma.uniform);
  }
  if (air === null || vectorSignificance(steady) < FAULT_SIGMAS) return false;
  const length = vectorLength(smear);
  const share = length / Math.max(air.distortion, 1e-9);
  return share > LIKE_AIR.from && share < LIKE_AIR.to && isSteady(steady);
}
