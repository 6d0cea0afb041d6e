import { vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { SKEW_TREFOIL } from '../retrieval/model.ts';
import type { Amounts } from './amounts.ts';
import { DETECT_SIGMAS, type Finding, NO_DIRECTION, shareOf, statusOf, unlessOpen, unmeasurable } from './finding.ts';
import { astigmatismTold } from './refined.ts';
import type { Response } from './response.ts';
import { astigmatismSigmas } from './retrieved.ts';
import { distortionOf, elongationFrom, MARECHAL_UM, ROUND_ELONGATION, widenedBy } from './tolerances.ts';
import { directionWords, type ScreenY } from './words.ts';

/**
 * The near end of a fault's interval must still hold this share of the tolerance; more of it for a bare mirror without the
 * whole-field fit, whose stars answer through their coma as well.
 */
const SURE_SHARE = { usual: 0.8, bareQuick: 2 } as const;

interface TrefoilAmount {
  /** um RMS. */
  readonly rms: number;
  readonly low: number;
  readonly error: number;
}

/** One focus cannot tell uniform defocus from seeing, and trefoil answers to both, as coma does. */
function trefoilAmount(
  trefoil3: number,
  statistical: number,
  response: Response,
  { retrieved, airSkew }: Pick<Amounts, 'retrieved' | 'airSkew'>,
): TrefoilAmount {
  if (retrieved !== null) {
    const { value, low, high } = retrieved.trefoilRmsUm;
    // The fit takes the air's part as told.
    const air = response.trefoilRmsUm(airSkew?.trefoil3.error ?? 0);
    return {
      rms: value,
      low: Math.max(0, value - Math.hypot(value - low, air)),
      error: Math.hypot((high - low) / 2, air),
    };
  }
  const focused = response.trefoilRmsUm(trefoil3);
  const low = Math.min(focused, response.trefoilRmsUmDefocused(trefoil3));
  const noise = response.trefoilRmsUm(trefoil3 + statistical) - focused;
  return { rms: focused - 0.25 * (focused - low), low, error: Math.max(noise, (focused - low) / 2) };
}

/** Phase error, radians, beyond which the fit tells no direction of a trefoil. */
const TOLD_PHASE = 1;

/**
 * Phase of the trefoil, three times its direction, and its error; radians, stored axes. The fit knows how focus and a smear turn what
 * the stars show; of a smear skewed in all subs it does not know enough.
 */
export function trefoilPhase(amounts: Amounts): { readonly phase: number; readonly phaseError: number } {
  const { retrieved, skew, trefoil } = amounts;
  const seen = trefoil.error / Math.max(vectorLength(trefoil), 1e-12);
  const fitted = retrieved === null || skew !== null ? null : retrieved;
  const shown = fitted !== null && fitted.trefoilAngleError < TOLD_PHASE ? fitted.trefoil : trefoil;
  // A jump's may stand at any angle to it.
  const turned = Math.asin(shareOfJump(amounts));
  return {
    phase: Math.atan2(shown.y, shown.x),
    phaseError: Math.hypot(Math.max(seen, fitted?.trefoilAngleError ?? 0), turned),
  };
}

/** The trefoil of a jump, that the coma of the one sub may be, as a share of the one seen. */
const shareOfJump = ({ coma, perhapsJump, trefoil }: Amounts): number =>
  perhapsJump ? Math.min(1, (SKEW_TREFOIL * vectorLength(coma)) / Math.max(vectorLength(trefoil), 1e-12)) : 0;

/**
 * Whether a skewed smear of the only sub may have made the trefoil, or hidden it: all of it is then given to the smear. Beside one that
 * the coma only may be, a trefoil is told that is a fault without the smear's share.
 */
export function trefoilIsHidden(amounts: Amounts): boolean {
  const { perhapsJump, response, skew, smooth, trefoil } = amounts;
  if (response === null) return false;
  if (skew !== null) return smooth.perFrame.length < 2;
  const { low } = trefoilAmount(vectorLength(trefoil), trefoil.error, response, amounts);
  return perhapsJump && low * (1 - shareOfJump(amounts)) <= sureShare(amounts) * MARECHAL_UM;
}

const sureShare = ({ optics, retrieved }: Amounts): number =>
  optics.bare && retrieved === null ? SURE_SHARE.bareQuick : SURE_SHARE.usual;

export function pinchedOptics(amounts: Amounts, screenY: ScreenY): Finding {
  const { response, trefoil } = amounts;
  const length = vectorLength(trefoil);
  const significance = vectorSignificance(trefoil);
  const tolerance = `trefoil below ${(1000 * MARECHAL_UM).toFixed(0)} nm RMS, Marechal’s lambda/14`;
  if (response === null) return unmeasurable('pinched-optics', tolerance);
  const { rms, low, error } = trefoilAmount(length, trefoil.error, response, amounts);
  const { phase, phaseError } = trefoilPhase(amounts);
  const direction = phase / 3;
  const seen = significance >= DETECT_SIGMAS;
  // Out of focus a small trefoil looks large: where a usual defocus would bring it well within, it is no fault yet.
  const measured = statusOf(rms, error, significance, MARECHAL_UM);
  const left = low * (1 - shareOfJump(amounts));
  const hidden = trefoilIsHidden(amounts);
  const status = hidden ? 'not-measurable' : unlessOpen(measured, left, sureShare(amounts) * MARECHAL_UM);
  const told = seen && !hidden;
  return {
    cause: 'pinched-optics',
    status,
    significance,
    tolerance,
    share: hidden ? null : shareOf(MARECHAL_UM, rms, left, rms + error),
    widens: hidden ? null : response.trefoilBlurPx(rms),
    direction: told ? direction : null,
    directionError: told ? Math.min(Math.PI / 6, phaseError / 3) : null,
    axis: null,
    axisError: null,
    starShift: null,
    because: hidden
      ? 'a smear to one side makes the stars triangular as well, or hides that they are'
      : seen
        ? `stars are triangular alike all over the field, one corner ${directionWords(direction, screenY)}; |trefoil3| ${length.toFixed(4)}${amounts.physical ? `, ${(1000 * rms).toFixed(0)} nm RMS` : ''}`
        : `no triangular stars: |trefoil3| ${length.toFixed(4)}, error ${trefoil.error.toFixed(4)}`,
    advice:
      status === 'fault'
        ? 'Loosen the primary’s clips until a sheet of paper slides under them, and look at the corrector’s retaining ring and at cables or screws that press. Let the mirror settle to the night’s temperature before judging. Follow the maker’s instructions; the tube level, tools tethered.'
        : 'Leave the mirror’s support as it is.',
  };
}

interface Astigmatic {
  /** |(e1, e2)| where it is largest: in the corner zones, or of the sub farthest from focus. */
  readonly amount: number;
  readonly sigmas: number;
  readonly words: string;
}

/** Forms that misalignment and strain give it (Shack & Thompson 1980), the strongest first. */
function astigmaticForms(amounts: Amounts): Astigmatic[] {
  const {
    smooth: { distortion },
    retrieved,
  } = amounts;
  // At the centre of a corner zone: 2/3 of the way to the corner.
  const reach = 2 / 3;
  const { radial, linear, linearError } = distortion;
  const slope = Math.hypot(...linear);
  const forms: Astigmatic[] = [
    {
      amount: Math.abs(radial.value) * reach * reach,
      sigmas: Math.abs(radial.value) / Math.max(radial.error, 1e-12),
      words: `in the outer zones, ${radial.value > 0 ? 'radial' : 'tangential'}`,
    },
    {
      amount: (slope / Math.SQRT2) * reach,
      sigmas: slope / (2 * Math.max(linearError, 1e-12)),
      words: 'in the outer zones, growing from side to side',
    },
  ];
  if (retrieved !== null && astigmatismTold(amounts, retrieved))
    forms.push({
      amount: Math.max(...retrieved.perSub.map(({ astigmatic: { x, y } }) => Math.hypot(x, y))),
      sigmas: astigmatismSigmas(retrieved),
      words: 'out of focus, the same all over the field, and turning by 90 deg through focus',
    });
  return forms.sort((a, b) => b.amount - a.amount);
}

/** `open`: the stars' common elongation may be astigmatism or tracking. */
export function astigmatism(amounts: Amounts, curvatureFault: boolean, open: boolean): Finding {
  const tolerance = `elongation below ${ROUND_ELONGATION} in the outer zones (common practice, no source)`;
  const [{ amount, sigmas, words }] = astigmaticForms(amounts);
  const error = amount / Math.max(sigmas, 1e-12);
  const limit = distortionOf(ROUND_ELONGATION);
  const own = amounts.optics.bare || curvatureFault;
  const measured = statusOf(amount, error, sigmas, limit);
  const kept = own && measured === 'fault' ? 'within-tolerance' : measured;
  const either = open && kept !== 'fault';
  const status = either ? 'not-measurable' : kept;
  const fwhm = amounts.response?.focusedFwhmPx ?? null;
  return {
    cause: 'astigmatism',
    status,
    significance: sigmas,
    tolerance,
    share: own || either ? null : shareOf(limit, amount, amount - error, amount + error),
    widens: fwhm === null || either ? null : widenedBy(amount, fwhm),
    ...NO_DIRECTION,
    because: either
      ? 'what makes all stars long may be this, or tracking'
      : sigmas < DETECT_SIGMAS
        ? 'no elongation that grows over the field'
        : `elongation ${elongationFrom(amount).toFixed(2)} ${words}${own ? (amounts.optics.bare ? ', a bare mirror’s own' : ', together with the field curvature') : ''}`,
    advice:
      status === 'fault'
        ? 'A change of focus turns astigmatism by 90 deg and leaves tracking as it is: one sub on each side of focus settles it. Then look at the corrector’s seat and centring, and at the mirrors’ supports.'
        : either
          ? 'A 10 s sub settles it: tracking is gone in it, astigmatism stays.'
          : 'Nothing to do.',
  };
}
