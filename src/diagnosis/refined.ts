import { persistentVector } from '../field/combine.ts';
import { type UncertainVector, vectorLength } from '../field/frameStars.ts';
import { median } from '../numeric/statistics.ts';
import { type Amounts, COMA_FLOOR, filterName, withDistortionFloor, without } from './amounts.ts';
import { nodeFromFit } from './bareMirror.ts';
import { FAULT_SIGMAS } from './finding.ts';
import { type Response, responseAt } from './response.ts';
import { astigmatismSigmas, type Retrieved } from './retrieved.ts';
import type { KnownOptics, Setup } from './setup.ts';

/**
 * The same with what the whole-field fit found: amounts in um from it, what was seen and how surely from the stars; what they
 * widen, and the tolerances that follow seeing, by the seeing it found.
 */
export function refinedBy(amounts: Amounts, retrieved: Retrieved, setup: Setup): Amounts {
  const seeing = median(retrieved.perSub.map((sub) => sub.seeingArcsec.value));
  const response = responseAt(amounts.optics, filterName(setup.filter, setup.mosaic), seeing) ?? amounts.response;
  const refined = { ...amounts, retrieved, response, comaUm: withScale(retrieved.comaUm, amounts.coma, response) };
  const node = amounts.node === null ? null : nodeFromFit(retrieved);
  const smears = smearsOf(refined).map(({ distortion }) => distortion);
  return { ...refined, node, smear: withDistortionFloor(persistentVector(smears)) };
}

/** How well the drawn optics stand for the telescope's, as a share of the coma: what pairs of drawn foci leave beyond the fit's error. */
const SCALE_SHARE = 0.02;

/** The fit's interval with what averaging does not take away: the scale of the drawn stars, and the floor of coma3. */
function withScale(
  { value, low, high }: Retrieved['comaUm'],
  coma: UncertainVector,
  response: Response | null,
): NonNullable<Amounts['comaUm']> {
  const length = vectorLength(coma);
  const floor = response === null ? 0 : response.comaUm(length + COMA_FLOOR) - response.comaUm(length);
  const beyond = Math.hypot(SCALE_SHARE * value, floor);
  const below = Math.hypot(value - low, beyond);
  const above = Math.hypot(high - value, beyond);
  return { value, low: Math.max(0, value - below), high: value + above, error: (below + above) / 2 };
}

/** Foci of two subs this far apart, um along the axis, show which elongation turns through focus. */
const APART_UM = 30;

/** Behind a corrector a tilted or curved field shows it too; a bare mirror's own astigmatism hides it there. */
function turnsShown({ perSub }: Retrieved, { bare }: KnownOptics): boolean {
  const foci = perSub.map(({ focusUm }) => focusUm.value);
  return !bare || Math.max(...foci) - Math.min(...foci) > APART_UM;
}

/**
 * Smear of each sub: the uniform part of its distortion that its coma does not make; after the whole-field fit, where that tells
 * astigmatism from smear, what it found, for to it the mixed answers of coma, trefoil and focus are known.
 */
export function smearsOf({
  smooth,
  comaDistortion,
  retrieved,
  optics,
}: Amounts): { frame: number; distortion: UncertainVector }[] {
  const told = retrieved !== null && astigmatismSigmas(retrieved) >= FAULT_SIGMAS && turnsShown(retrieved, optics);
  return smooth.perFrame.map(({ frame, fields }) => {
    const fitted = told ? retrieved.perSub[frame] : undefined;
    return { frame, distortion: fitted?.smear ?? without(fields.distortion.uniform, comaDistortion) };
  });
}
