import { isSteady } from '../field/combine.ts';
import { type UncertainVector, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { SIGMA_TO_FWHM } from '../shapes/shape.ts';
import { airIsSuspect } from './air.ts';
import { type Amounts, smearWidth, widthOf, withDistortionFloor } from './amounts.ts';
import { DETECT_SIGMAS, FAULT_SIGMAS, type Finding, NO_DIRECTION, shareOf, statusOf } from './finding.ts';
import { APART_UM, astigmatismTold, isSeen, smearsOf } from './refined.ts';
import { astigmatismSigmas, MEAN_R2 } from './retrieved.ts';
import type { Setup } from './setup.ts';
import { axialDifference } from './skew.ts';
import { distortionOf, elongationFrom, focusZoneUm, ROUND_ELONGATION, widenedBy } from './tolerances.ts';
import { axisWords, plain, type ScreenY } from './words.ts';

/**
 * A Gaussian weight sees the core of a star, narrower than its second moment: a drift lengthens it so much more, the long one yet
 * more (drawn stars, 0.2 to 2.2 FWHM of seeing long, in focus and 0.5 um off); from star to star this is known to the share below.
 */
const DRIFT_ANSWER = { short: 1.02, byDistortion: 0.24 } as const;
const DRIFT_SHARE = 0.021;
/** A bare mirror's coma widens the stars that the length is told by, and its own astigmatism lengthens them. */
const BARE_DRIFT_SHARE = 0.12;

/** Length of a steady drift that makes this distortion of a star of that width: a2 - b2 = L^2/12 along one axis. */
export function driftLength(distortion: number, fwhm: number): number {
  const e = Math.min(0.95, Math.abs(distortion));
  // b of the geometric mean: sigma^2 = a b, a/b = sqrt((1 + e)/(1 - e)).
  const sigma2 = (fwhm / SIGMA_TO_FWHM) ** 2;
  const ratio = Math.sqrt((1 + e) / (1 - e));
  return Math.sqrt(12 * sigma2 * (ratio - 1 / ratio)) / (DRIFT_ANSWER.short + DRIFT_ANSWER.byDistortion * e);
}

/** Length and error, pixels, of the drift that makes this of stars of that width. */
export function driftOf(smear: UncertainVector, fwhm: number, bare: boolean): { value: number; error: number } {
  const length = vectorLength(smear);
  const value = driftLength(length, fwhm);
  const noise = driftLength(length + smear.error, fwhm) - value;
  return { value, error: Math.hypot(noise, (bare ? BARE_DRIFT_SHARE : DRIFT_SHARE) * value) };
}

/** `turning`: see `trackingOrAstigmatism`. */
export function tracking(amounts: Amounts, setup: Setup, fwhm: number, screenY: ScreenY, turning: boolean): Finding {
  const persistent = amounts.smear;
  const frames = smearsOf(amounts);
  const mean = meanLength(frames);
  const air = airIsSuspect(amounts, setup);
  const worst = frames.reduce<(typeof frames)[number] | null>(
    (best, f) => (best === null || vectorLength(f.distortion) > vectorLength(best.distortion) ? f : best),
    null,
  );
  const significance = Math.max(
    vectorSignificance(persistent),
    worst === null ? 0 : vectorSignificance(worst.distortion) / Math.sqrt(frames.length),
  );
  const vector = vectorLength(persistent) >= 0.5 * mean || worst === null ? persistent : worst.distortion;
  const amount = Math.max(vectorLength(persistent), mean);
  const limit = distortionOf(ROUND_ELONGATION);
  const status = air || turning ? 'not-measurable' : statusOf(amount, persistent.error, significance, limit);
  const axis = 0.5 * Math.atan2(vector.y, vector.x);
  const seen = significance >= DETECT_SIGMAS;
  const same = frames.length > 1 && isSteady(amounts.steady);
  const lengths = frames.map(({ frame, distortion }) => driftLength(vectorLength(distortion), widthOf(amounts, frame)));
  const driftPx = same
    ? driftLength(vectorLength(persistent), smearWidth(amounts))
    : lengths.reduce((sum, px) => sum + px, 0) / Math.max(1, lengths.length);
  return {
    cause: 'tracking',
    status,
    significance,
    tolerance: `elongation below ${ROUND_ELONGATION} (common practice, no source)`,
    share: shareOf(limit, amount, amount - persistent.error, amount + persistent.error),
    widens: widenedBy(amount, fwhm),
    direction: null,
    directionError: null,
    axis: seen ? axis : null,
    axisError: seen ? axisErrorOf(vector) : null,
    starShift: null,
    because: !seen
      ? 'no smear common to all stars'
      : `all stars are long the same way, ${axisWords(axis, screenY)}, elongation ${elongationFrom(amount).toFixed(2)} (as a drift of ${plain(driftPx)} px)${
          turning || air ? '' : jumpWords(amounts)
        }${frames.length < 2 ? '' : same ? '; the same in every sub' : '; it changes from sub to sub'}${
          turning
            ? same
              ? ', as astigmatism would from one focus'
              : ', as astigmatism would on the two sides of focus'
            : ''
        }`,
    advice:
      status === 'fault'
        ? `Look at guiding, balance, cables, wind and polar alignment. Tracking grows with exposure time: a 10 s sub settles it. ${
            !isSkewed(amounts)
              ? 'If short subs show it as well, it is astigmatism out of focus (it turns by 90 deg through focus) or dispersion low in the sky.'
              : 'Look for backlash and for a dither that had not settled.'
          }`
        : turning
          ? 'Tracking or astigmatism: a 10 s sub settles it. Tracking is gone in it, astigmatism stays and turns by 90 deg through focus.'
          : 'Nothing to do.',
  };
}

const meanLength = (frames: ReturnType<typeof smearsOf>): number =>
  frames.reduce((sum, f) => sum + vectorLength(f.distortion), 0) / Math.max(1, frames.length);

/** Whether the stars' common elongation may be either, as far as these subs tell. */
export function trackingOrAstigmatism(amounts: Amounts, setup: Setup): boolean {
  const amount = Math.max(vectorLength(amounts.smear), meanLength(smearsOf(amounts)));
  return !airIsSuspect(amounts, setup) && turnsPerhaps(amounts, amount);
}

/** Coma, trefoil and focus together make a little of (e1, e2) as well, which turns a small smear, per component (drawn stars). */
const TURNED_BY = 0.0015;

const axisErrorOf = (smear: UncertainVector): number =>
  Math.min(Math.PI / 4, Math.hypot(smear.error, TURNED_BY) / (2 * Math.max(vectorLength(smear), 1e-12)));

/** Skewed stars, or the air's, make the fit see astigmatism at fewer sigma than this. */
const BESIDE_SMEAR_SIGMAS = 10;

/** Whether half of it and more may be astigmatism: the fit sees it, but not surely enough to take it off, or the stars turn. */
function turnsPerhaps(amounts: Amounts, amount: number): boolean {
  const { retrieved, optics, smeared, smooth } = amounts;
  if (retrieved === null || optics.bare || smooth.perFrame.length < 2 || astigmatismTold(amounts, retrieved))
    return false;
  if (retrieved.longBy !== null) return retrieved.longBy === 'either';
  const made = Math.max(...retrieved.perSub.map(({ astigmatic }) => Math.hypot(astigmatic.x, astigmatic.y)));
  const least = smeared ? BESIDE_SMEAR_SIGMAS : DETECT_SIGMAS;
  if (astigmatismSigmas(retrieved) >= least && made >= 0.5 * amount && isSeen(amounts, retrieved)) return true;
  // What is known for a jump is none of it.
  if (amounts.skew !== null) return false;
  return turnedThroughFocus(
    smearsOf(amounts)
      .filter(({ frame }) => !amounts.jumped.has(frame))
      .map(({ frame, distortion }) => ({
        focusUm: retrieved.perSub[frame]?.focusUm.value ?? Number.NaN,
        distortion: withDistortionFloor(distortion),
      })),
    0.5 * amount,
  );
}

/** Axes this far apart, radians, are turned as astigmatism's are from one side of focus to the other, give or take a smear. */
const TURNED = Math.PI / 3;

/**
 * Whether stars are long another way, each time by `least` or more, in a sub on the other side of focus: tracking may change so,
 * astigmatism must.
 */
export function turnedThroughFocus(
  subs: readonly { readonly focusUm: number; readonly distortion: UncertainVector }[],
  least: number,
): boolean {
  const long = subs.filter(
    ({ distortion }) => vectorLength(distortion) >= least && vectorSignificance(distortion) >= FAULT_SIGMAS,
  );
  const axis = ({ x, y }: UncertainVector): number => 0.5 * Math.atan2(y, x);
  return long.some((a, i) =>
    long
      .slice(i + 1)
      .some(
        (b) =>
          a.focusUm * b.focusUm < 0 &&
          Math.abs(a.focusUm - b.focusUm) > APART_UM &&
          Math.abs(axialDifference(axis(a.distortion), axis(b.distortion))) > TURNED,
      ),
  );
}

/** Subs, by index, whose smear is seen to be skewed; null where that of all is. */
function skewedAmong({ jumped, retrieved, smooth }: Amounts): readonly number[] | null {
  if (jumped.size > 0) return [...jumped.keys()];
  const skews = retrieved?.skews ?? [];
  const some = skews.flatMap((skew, frame) => (vectorSignificance(skew) >= DETECT_SIGMAS ? [frame] : []));
  return some.length === smooth.perFrame.length ? null : some;
}

const isSkewed = ({ skew, jumped, retrieved }: Amounts): boolean =>
  skew !== null || jumped.size > 0 || (retrieved?.skews ?? []).some((s) => vectorSignificance(s) >= DETECT_SIGMAS);

function jumpWords(amounts: Amounts): string {
  if (!isSkewed(amounts)) return '';
  const some = amounts.skew === null ? skewedAmong(amounts) : null;
  const where = some === null ? '' : ` in sub ${some.map((frame) => frame + 1).join(', ')}`;
  return `, and skewed to one side${where}: a jump part-way rather than a steady drift`;
}

export function dispersion(amounts: Amounts, setup: Setup, fwhm: number, screenY: ScreenY): Finding {
  const air = airIsSuspect(amounts, setup);
  const { skew } = amounts;
  const persistent = amounts.smear;
  const amount = vectorLength(persistent);
  const altitude = setup.altitudeDeg;
  const significance = air
    ? vectorSignificance(persistent)
    : skew === null
      ? 0
      : vectorSignificance(amounts.smooth.trefoil.uniform);
  const limit = distortionOf(ROUND_ELONGATION);
  const axis = skew?.direction ?? 0.5 * Math.atan2(persistent.y, persistent.x);
  return {
    cause: 'dispersion',
    status: air
      ? statusOf(amount, persistent.error, significance, limit)
      : skew === null
        ? 'not-detected'
        : altitude === null
          ? 'not-measurable'
          : 'not-detected',
    significance,
    tolerance: `elongation below ${ROUND_ELONGATION} (common practice, no source)`,
    share: air ? shareOf(limit, amount, amount - persistent.error, amount + persistent.error) : null,
    widens: air ? widenedBy(amount, fwhm) : 0,
    direction: null,
    directionError: null,
    axis: air ? axis : null,
    axisError: air ? axisErrorOf(persistent) : null,
    starShift: null,
    because: air
      ? `all stars are ${skew === null ? 'long' : 'skewed to one side'} ${axisWords(axis, screenY)}, elongation ${elongationFrom(amount).toFixed(2)}, as the air makes them at ${(altitude ?? 0).toFixed(0)} deg altitude through this filter${amounts.air === null ? '' : ` (expected ${elongationFrom(amounts.air.distortion).toFixed(2)})`}`
      : skew !== null && altitude === null
        ? 'the stars are skewed alike; without the altitude the air cannot be told from a jump in tracking'
        : 'no skew that the air would make',
    advice: air
      ? 'The air spreads the colours towards the zenith. Point above 60 deg, or use a green or narrow filter, before judging the collimation.'
      : 'Nothing to do.',
  };
}

interface FocusError {
  readonly um: number;
  readonly errorUm: number;
  readonly significance: number;
  /** Pixels of FWHM. */
  readonly blur: number;
}

/** The sub farthest from its best compromise focus. */
function farthestFocus({ size, response, retrieved, smeared }: Amounts): FocusError {
  if (retrieved !== null && response !== null && !smeared) {
    const subs = retrieved.perSub.map(({ compromiseUm: { value, low, high } }) => ({
      um: value,
      errorUm: (high - low) / 2,
    }));
    const worst = subs.reduce((a, b) => (b.um > a.um ? b : a));
    return { ...worst, significance: worst.um / Math.max(worst.errorUm, 1e-9), blur: response.blurPx(worst.um) };
  }
  const offsets = size === null ? [] : size.centre.map((c) => Math.abs(c + MEAN_R2 * size.curvature.value));
  const blur = Math.max(0, ...offsets);
  const error = size === null ? Infinity : (size.centreError[offsets.indexOf(blur)] ?? Infinity);
  const um = response?.defocusUm(blur) ?? 0;
  const errorUm = response === null || !Number.isFinite(error) ? Infinity : response.defocusUm(blur + error) - um;
  return { um, errorUm, significance: error > 0 && Number.isFinite(error) ? blur / error : 0, blur };
}

export function defocus(amounts: Amounts, comaFault: boolean): Finding {
  const { size, response, optics } = amounts;
  // A bare paraboloid's own coma widens the stars more than focus does while its node stands off the centre.
  const drowned = optics.bare && comaFault;
  const zone = focusZoneUm(amounts);
  const tolerance = `best compromise focus within ${amounts.physical ? `±${(zone / 2).toFixed(0)} µm, ` : ''}half the seeing-limited critical focus zone (Goldman & Megdal 2010)`;
  const { um, errorUm, significance, blur } = farthestFocus(amounts);
  const status =
    size === null || response === null || drowned ? 'not-measurable' : statusOf(um, errorUm, significance, zone / 2);
  return {
    cause: 'defocus',
    status,
    significance,
    tolerance,
    share: Number.isFinite(errorUm) ? shareOf(zone / 2, um, um - errorUm, um + errorUm) : null,
    widens: status === 'not-measurable' ? null : blur,
    ...NO_DIRECTION,
    because: drowned
      ? 'the mirror’s own coma hides it: collimate first'
      : status === 'not-measurable'
        ? 'with one focus and a flat field, defocus cannot be told from seeing'
        : significance < DETECT_SIGMAS
          ? 'no defocus seen against the shape of the field'
          : `the field stands off its best compromise focus by ${amounts.physical ? `${um.toFixed(0)} ± ${errorUm.toFixed(0)} µm` : `${plain(blur)} px of blur`}`,
    advice: status === 'fault' ? 'Refocus; the side is not in one frame.' : 'Nothing to do.',
  };
}
