import { defocusUmAt } from '../../diagnosis/focalSurface.ts';
import { ALL_PARTS, type ModelParts, modelStars, seeingAt } from '../../diagnosis/modelStar.ts';
import { fieldPosition } from '../../field/frameStars.ts';
import type { Measurement } from '../../measure.ts';
import { median } from '../../numeric/statistics.ts';
import type { PlacePortrait } from './collect.ts';
import { addStar, noSamples, type Portrait, stackStars } from './stack.ts';

/** The main finding held against the stars: the measured portrait of one place beside drawn ones. */
export interface Comparison {
  /** Index of the place among the portraits. */
  readonly place: number;
  readonly seeingArcsec: number;
  readonly fitted: Portrait;
  /** Root mean square difference from the measured portrait where the star is bright, share of the peak. */
  readonly fittedDiffers: number;
  /** The same state without the cause; null where there is no cause to leave out. */
  readonly without: Portrait | null;
  readonly withoutDiffers: number | null;
}

/** Stars drawn for one portrait: as many phases as fill the pixel. */
const DRAWN_STARS = 30;
/** Points of either portrait above this share of the peak are compared. */
const BRIGHT = 0.05;
/** Places of which the nearest to the frame's centre is taken have at least this share of the fullest one's stars. */
const FULL_ENOUGH = 0.5;

/** What each cause adds to a drawn star; causes that are not listed draw nothing of their own. */
const PART_OF: Readonly<Record<string, keyof ModelParts>> = {
  miscollimation: 'coma',
  'sensor-tilt': 'defocus',
  'corrector-spacing': 'defocus',
  defocus: 'defocus',
  'pinched-optics': 'trefoil',
  tracking: 'smear',
};

/** Null where there is no portrait or no model of the telescope. */
export function compareWithModel(
  { diagnosis, setup, frames }: Measurement,
  portraits: readonly PlacePortrait[],
  cause: string | null,
): Comparison | null {
  const { amounts } = diagnosis;
  const [frame] = frames;
  if (amounts === null || frame === undefined || portraits.length === 0) return null;
  const at = portraits.map((p) => fieldPosition(frame.stars, p.x, p.y));
  const part = cause === null ? undefined : PART_OF[cause];
  if (cause !== null && part === undefined) return null;
  const fullest = Math.max(...portraits.map((p) => p.portrait.stars));
  const usable = portraits.map((p) => p.portrait.stars >= FULL_ENOUGH * fullest);
  const blur = at.map((place) => defocusUmAt(amounts, setup, place));
  const central = at.map(({ u, v }) => Math.hypot(u, v));
  const sharpest = best(blur, usable, -1);
  const shown = part === 'defocus' ? best(blur, usable, 1) : best(central, usable, -1);
  const reference = portraits[sharpest];
  const measured = portraits[shown];
  if (!reference || !measured) return null;
  const fwhm = median(reference.shapes.map((s) => s.fwhm));
  const seeing = seeingAt(amounts, setup, at[sharpest], fwhm);
  if (seeing === null) return null;
  const drawn = (parts: ModelParts): Portrait | null => {
    const samples = noSamples();
    const reach = measured.portrait.fwhm;
    for (const star of modelStars(amounts, setup, at[shown], seeing, parts, DRAWN_STARS))
      addStar(samples, star.source, star.shape, reach);
    return stackStars(samples, reach);
  };
  const fitted = drawn(ALL_PARTS);
  if (fitted === null) return null;
  const without = part === undefined ? null : drawn({ ...ALL_PARTS, [part]: false });
  return {
    place: shown,
    seeingArcsec: seeing,
    fitted,
    fittedDiffers: difference(measured.portrait, fitted),
    without,
    withoutDiffers: without && difference(measured.portrait, without),
  };
}

function best(values: readonly number[], usable: readonly boolean[], sign: 1 | -1): number {
  let at = -1;
  values.forEach((value, i) => {
    if (usable[i] && (at < 0 || sign * value > sign * values[at])) at = i;
  });
  return at;
}

function difference(a: Portrait, b: Portrait): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < a.image.length; i++) {
    if (Math.max(a.image[i], b.image[i]) < BRIGHT) continue;
    sum += (a.image[i] - b.image[i]) ** 2;
    count++;
  }
  return Math.sqrt(sum / Math.max(1, count));
}
