import { isSteady, persistentDirection, persistentVector } from '../field/combine.ts';
import { type UncertainVector, vectorLength } from '../field/frameStars.ts';
import { median } from '../numeric/statistics.ts';
import { angle, dot, polar, subtract } from '../optics/complex.ts';
import { toDefocus } from '../optics/wavefront.ts';
import { SKEW_TREFOIL } from '../retrieval/model.ts';
import { type Air, airIsSuspect, expectedAir } from './air.ts';
import { less, toldAir } from './airSkew.ts';
import {
  type Amounts,
  COMA_FLOOR,
  comaInterval,
  filterName,
  SKEW_ERROR,
  steadySmear,
  withDistortionFloor,
  without,
} from './amounts.ts';
import { comaFromNode, comaVectorFromNode, nodeFromFit } from './bareMirror.ts';
import { turned } from './comaBesideSmear.ts';
import { telescopeFor } from './drawnStar.ts';
import { FAULT_SIGMAS } from './finding.ts';
import { type Response, responseAt } from './response.ts';
import { astigmatismSigmas, type Retrieved } from './retrieved.ts';
import type { KnownOptics, Setup } from './setup.ts';
import { distortionOf, ROUND_ELONGATION } from './tolerances.ts';

/**
 * The same with what the whole-field fit found: amounts in um from it, what was seen and how surely from the stars; what they
 * widen, and the tolerances that follow seeing, by the seeing it found.
 */
export function refinedBy(measured: Amounts, retrieved: Retrieved, setup: Setup): Amounts {
  const amounts = withAirAtFocus(withoutSkews(measured, retrieved), retrieved, setup);
  const seeing = median(retrieved.perSub.map((sub) => sub.seeingArcsec.value));
  const response = responseAt(amounts.optics, filterName(setup.filter, setup.mosaic), seeing) ?? amounts.response;
  const floor = floorUm(amounts, retrieved, response);
  const refined = {
    ...amounts,
    retrieved,
    response,
    comaUm: withScale(retrieved.comaUm, floor, scaleShare(retrieved, amounts.optics)),
    smeared:
      amounts.skew !== null ||
      (airIsSuspect(amounts, setup) && vectorLength(amounts.smear) > distortionOf(ROUND_ELONGATION)),
  };
  const node = amounts.node === null ? null : nodeFromFit(retrieved, hiddenUm({ ...amounts, response }));
  // Where the node stands is how far a bare mirror's axis is off, whatever the drawn stars answer.
  const fromNode = node === null ? null : comaFromNode(node, amounts.halfDiagonalMm, amounts.optics);
  const smears = smearsOf(refined);
  const steady = steadySmear(amounts.sigma2, smears);
  const smear = withDistortionFloor(
    isSteady(steady) && !astigmatismTold(refined, retrieved)
      ? steady
      : persistentVector(smears.map(({ distortion }) => distortion)),
  );
  return { ...refined, node, comaUm: fromNode ?? refined.comaUm, steady, smear };
}

/**
 * What is taken off for the air is what it makes of stars in focus; by how much it differs at the subs' foci (coma3 the more, trefoil3
 * the less of both) stays in the errors.
 */
function withAirAtFocus(amounts: Amounts, { perSub }: Retrieved, setup: Setup): Amounts {
  const { air, airSkew, optics } = amounts;
  if (air === null || airSkew === null || optics.bare) return amounts;
  const telescope = telescopeFor(optics);
  const filter = filterName(setup.filter, setup.mosaic);
  const there = perSub.flatMap(
    ({ seeingArcsec, focusUm }) =>
      expectedAir(optics, filter, seeingArcsec.value, setup, toDefocus(telescope, Math.abs(focusUm.value))) ?? [],
  );
  if (there.length === 0) return amounts;
  const off = (of: (one: Air) => number): number =>
    there.reduce((sum, one) => sum + Math.abs(of(one) - of(air)), 0) / there.length / Math.SQRT2;
  const wider = (vector: UncertainVector, by: number): UncertainVector => ({
    ...vector,
    error: Math.hypot(vector.error, by),
  });
  const [coma, trefoil] = [off(({ coma3 }) => coma3), off(({ trefoil3 }) => trefoil3)];
  return {
    ...amounts,
    coma: wider(amounts.coma, coma),
    trefoil: wider(amounts.trefoil, trefoil),
    airSkew: { ...airSkew, coma3: wider(airSkew.coma3, coma), trefoil3: wider(airSkew.trefoil3, trefoil) },
  };
}

const trefoilOf = (skew: UncertainVector): UncertainVector => ({
  ...polar(SKEW_TREFOIL * vectorLength(skew), 3 * angle(skew)),
  error: SKEW_TREFOIL * skew.error,
});

/**
 * Coma and trefoil combined anew of the subs less each one's skew, where only the fit saw them. A skew answers to no focus: the coma is
 * not brought to that in focus.
 */
export function withoutSkews(amounts: Amounts, { skews }: Pick<Retrieved, 'skews'>): Amounts {
  if (skews === null) return amounts;
  const { perFrame } = amounts.smooth;
  const told = toldAir(amounts.airSkew);
  const lessSkew = (vector: UncertainVector, part: UncertainVector): UncertainVector => {
    const rest = without(vector, part, SKEW_ERROR);
    return { ...rest, error: Math.hypot(rest.error, part.error) };
  };
  const coma = persistentDirection(
    perFrame.map(({ frame, fields }) => lessSkew(less(fields.coma.uniform, told?.coma3), skews[frame])),
    'coma',
  );
  const trefoils = perFrame.map(({ fields }) => fields.trefoil.uniform);
  const seen = persistentDirection(trefoils, 'trefoil');
  const rest = persistentDirection(
    perFrame.map(({ frame, fields }) => lessSkew(fields.trefoil.uniform, trefoilOf(skews[frame]))),
    'trefoil',
  );
  return {
    ...amounts,
    coma: { ...coma, error: Math.hypot(coma.error, COMA_FLOOR, hiddenByAir(amounts)) },
    trefoil: {
      x: amounts.trefoil.x + rest.x - seen.x,
      y: amounts.trefoil.y + rest.y - seen.y,
      error: Math.hypot(amounts.trefoil.error, rest.error),
    },
  };
}

/** How well the drawn optics stand for the telescope's, as a share of the coma: what pairs of drawn foci leave beyond the fit's error. */
const SCALE_SHARE = 0.02;

/**
 * Disc of the sub nearest to focus, in FWHM of its seeing, from which on drawn nights scatter beyond that, and from where on by the share:
 * so far out stars are discs, and coma answers to what the fit cannot tell.
 */
const FAR_DISC = { from: 0.9, to: 1.5, share: 0.5 } as const;

export function farShare(
  { perSub }: Pick<Retrieved, 'perSub'>,
  { focalLengthMm, apertureMm }: Pick<KnownOptics, 'focalLengthMm' | 'apertureMm'>,
): number {
  const discs = perSub.map(({ focusUm, seeingArcsec }) => {
    const discUm = (Math.abs(focusUm.value) * apertureMm) / focalLengthMm;
    return (206.264806 * discUm) / focalLengthMm / seeingArcsec.value;
  });
  const { from, to, share } = FAR_DISC;
  return share * Math.min(1, Math.max(0, (Math.min(...discs) - from) / (to - from)));
}

const scaleShare = (retrieved: Retrieved, optics: KnownOptics): number =>
  Math.hypot(SCALE_SHARE, farShare(retrieved, optics));

/** The fit's interval with what averaging does not take away: a share, and the floor of coma3. */
function withScale(
  { value, low, high }: Retrieved['comaUm'],
  floor: number,
  share: number,
): NonNullable<Amounts['comaUm']> {
  const beyond = Math.hypot(share * value, floor);
  const below = Math.hypot(value - low, beyond);
  const above = Math.hypot(high - value, beyond);
  return { value, low: Math.max(0, value - below), high: value + above, error: (below + above) / 2 };
}

/** Foci of two subs this far apart, um along the axis, show which elongation turns through focus. */
export const APART_UM = 30;

/** Of the elongation that uniform astigmatism makes so much is seen: a smear that undoes the most of it would be chance. */
const LEAST_SEEN = 0.3;

/**
 * Whether the fit tells uniform astigmatism from a smear: not of a single sub, in which any misfit of a smear passes for it, and whose
 * elongation nobody weighs.
 */
export function astigmatismTold(amounts: Amounts, retrieved: Retrieved): boolean {
  if (astigmatismSigmas(retrieved) < FAULT_SIGMAS) return false;
  if (retrieved.longBy !== null) return retrieved.longBy === 'astigmatism';
  return (
    retrieved.perSub.length > 1 &&
    !amounts.smeared &&
    turnsShown(retrieved, amounts.optics) &&
    isSeen(amounts, retrieved)
  );
}

/** Whether the stars of the sub that astigmatism would make the longest are long its way. */
export function isSeen({ smooth, optics }: Amounts, { perSub }: Retrieved): boolean {
  const { frame, astigmatic, comatic } = perSub.reduce((a, b) =>
    vectorLength(b.astigmatic) > vectorLength(a.astigmatic) ? b : a,
  );
  const sub = smooth.perFrame.find((one) => one.frame === frame);
  if (optics.bare || sub === undefined) return true;
  const own = subtract(sub.fields.distortion.uniform, comatic);
  return dot(own, astigmatic) >= LEAST_SEEN * dot(astigmatic, astigmatic);
}

/** Behind a corrector a tilted or curved field shows it too; a bare mirror's own astigmatism hides it there. */
function turnsShown({ perSub }: Retrieved, { bare }: KnownOptics): boolean {
  const foci = perSub.map(({ focusUm }) => focusUm.value);
  return !bare || Math.max(...foci) - Math.min(...foci) > APART_UM;
}

/** coma3, per component, that the air's part leaves uncertain. */
const hiddenByAir = ({ airSkew }: Pick<Amounts, 'airSkew'>): number => airSkew?.coma3.error ?? 0;

/** Stars with coma of their own, as those about a bare mirror's node, answer less to the air's (drawn stars). */
const ANSWER_NEAR_NODE = 0.35;

/** Coma, um, that the air may have made: what the fit of a bare mirror, near its node, cannot know. */
export const hiddenUm = (amounts: Amounts): number =>
  amounts.skew === null && amounts.response !== null
    ? ANSWER_NEAR_NODE * amounts.response.comaUm(hiddenByAir(amounts))
    : 0;

/** What the fit's own errors do not hold of the floor of coma3 (drawn frames). */
const FITTED_FLOOR = 0.2 * COMA_FLOOR;
/** Nor of what the air leaves open: less of it, for a part of that is the focus, which the fit knows (1200 drawn nights). */
const FITTED_AIR = 0.8;

/**
 * What neither averaging nor the fit takes from the coma, um: the floor of coma3, and what the air may hide. Out of focus the same
 * coma3 is less coma.
 */
function floorUm(amounts: Amounts, retrieved: Retrieved, response: Response | null): number {
  if (response === null) return 0;
  const { coma, skew } = amounts;
  const length = vectorLength(coma);
  const floor = Math.hypot(
    FITTED_FLOOR,
    skew === null ? FITTED_AIR * hiddenByAir(amounts) : 0,
    SKEW_ERROR * Math.max(0, ...(retrieved.skews ?? []).map(vectorLength)),
  );
  const gain = response.comaGain(Math.min(...retrieved.perSub.map(({ focusUm }) => Math.abs(focusUm.value))));
  return (response.comaUm(length + floor) - response.comaUm(length)) / Math.max(1, gain);
}

/** Direction of the coma by the whole-field fit behind a corrector, and its error; radians. */
export function fittedDirection(amounts: Amounts): { readonly angle: number; readonly error: number } | null {
  const fitted = fittedComa(amounts);
  const { response, retrieved } = amounts;
  if (fitted === null || retrieved === null) return null;
  const floor = floorUm(amounts, retrieved, response) / Math.max(vectorLength(fitted), 1e-12);
  return {
    angle: Math.atan2(fitted.y, fitted.x),
    error: Math.min(Math.PI / 2, Math.hypot(retrieved.comaAngleError, floor)),
  };
}

/** W131 along the tail by the whole-field fit behind a corrector, um, error a component; the scale's is left out. */
function fittedComa(amounts: Amounts): UncertainVector | null {
  const { optics, physical, response, retrieved } = amounts;
  if (!physical || retrieved === null || optics.bare) return null;
  const { x, y, error } = retrieved.coma;
  return { x, y, error: Math.hypot(error, floorUm(amounts, retrieved, response)) };
}

/**
 * W131 along the tail, um, error a component: unlike the length it is not made shorter by its noise, so that many of them average
 * to the truth. Null without known optics.
 */
export function comaVectorUm(amounts: Amounts): UncertainVector | null {
  const { comaTurn, comaUm, halfDiagonalMm, node, optics, physical, response } = amounts;
  const coma = turned(amounts.coma, comaTurn);
  if (!physical || comaUm === null || response === null) return null;
  if (node !== null) return comaVectorFromNode(node, halfDiagonalMm, optics);
  const length = vectorLength(coma);
  const fitted = fittedComa(amounts);
  if (fitted !== null) {
    const fittedLength = vectorLength(fitted);
    const scale = amounts.retrieved === null ? SCALE_SHARE : scaleShare(amounts.retrieved, optics);
    const vector = { ...fitted, error: Math.hypot(fitted.error, (scale * fittedLength) / Math.SQRT2) };
    if (amounts.skew === null) return vector;
    // What a skew leaves has the direction that the finding tells.
    const share = fittedLength / Math.max(length, 1e-12);
    return { ...vector, x: share * coma.x, y: share * coma.y };
  }
  const um = optics.bare ? comaUm.value : comaInterval(length, coma.error, response).value;
  const perUnit = length === 0 ? 0 : um / length;
  // The amount's error lies along it, the noise of its direction across.
  return {
    x: coma.x * perUnit,
    y: coma.y * perUnit,
    error: Math.hypot(comaUm.error, coma.error * perUnit) / Math.SQRT2,
  };
}

/** How well the fit knows what its coma and trefoil make of (e1, e2), as a share: no better, and no worse than without it. */
const MADE_SHARE = { least: 0.1, most: 0.3 } as const;

/**
 * Smear of each sub: the uniform part of its distortion that its coma does not make, nor its trefoil; after the whole-field fit, where
 * that tells astigmatism from smear, what it found, for to it the mixed answers of coma, trefoil and focus are known.
 */
export function smearsOf(amounts: Amounts): { frame: number; distortion: UncertainVector }[] {
  const { smooth, comaDistortion, optics, perhapsJump, retrieved, skew } = amounts;
  const told = retrieved !== null && astigmatismTold(amounts, retrieved);
  return smooth.perFrame.map(({ frame, fields }) => {
    const { uniform } = fields.distortion;
    const fitted = retrieved?.perSub[frame];
    if (told && fitted !== undefined) return { frame, distortion: fitted.smear };
    // Where all subs are skewed, or the one may be, what the fit takes for coma need not be.
    if (retrieved === null || fitted === undefined || optics.bare || skew !== null || perhapsJump)
      return { frame, distortion: without(uniform, comaDistortion) };
    const { value, low, high } = retrieved.comaUm;
    const share = Math.max(MADE_SHARE.least, (high - low) / Math.max(value, 1e-12));
    return { frame, distortion: without(uniform, fitted.comatic, Math.min(MADE_SHARE.most, share)) };
  });
}
