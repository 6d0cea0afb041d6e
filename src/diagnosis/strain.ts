import { vectorLength, vectorSignificance } from '../field/frameStars.ts';
import type { Amounts } from './amounts.ts';
import { DETECT_SIGMAS, type Finding, NO_DIRECTION, shareOf, statusOf, unmeasurable } from './finding.ts';
import type { Response } from './response.ts';
import type { Retrieved } from './retrieved.ts';
import { distortionOf, elongationFrom, MARECHAL_UM, ROUND_ELONGATION, widenedBy } from './tolerances.ts';
import { directionWords, type ScreenY } from './words.ts';

/** The far end of a fault's interval must still hold this share of the tolerance. */
const SURE_SHARE = 0.6;

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
  retrieved: Retrieved | null,
): TrefoilAmount {
  if (retrieved !== null) {
    const { value, low, high } = retrieved.trefoilRmsUm;
    return { rms: value, low, error: (high - low) / 2 };
  }
  const focused = response.trefoilRmsUm(trefoil3);
  const low = Math.min(focused, response.trefoilRmsUmDefocused(trefoil3));
  const noise = response.trefoilRmsUm(trefoil3 + statistical) - focused;
  return { rms: focused - 0.25 * (focused - low), low, error: Math.max(noise, (focused - low) / 2) };
}

export function pinchedOptics(amounts: Amounts, screenY: ScreenY): Finding {
  const { trefoil, response, retrieved } = amounts;
  const length = vectorLength(trefoil);
  const significance = vectorSignificance(trefoil);
  const tolerance = `trefoil below ${(1000 * MARECHAL_UM).toFixed(0)} nm RMS, Marechal’s lambda/14`;
  if (response === null) return unmeasurable('pinched-optics', tolerance);
  const { rms, low, error } = trefoilAmount(length, trefoil.error, response, retrieved);
  const direction = Math.atan2(trefoil.y, trefoil.x) / 3;
  const seen = significance >= DETECT_SIGMAS;
  // Out of focus a small trefoil looks large: where a usual defocus would bring it well within, it is no fault yet.
  const measured = statusOf(rms, error, significance, MARECHAL_UM);
  const status = measured === 'fault' && low <= SURE_SHARE * MARECHAL_UM ? 'not-measurable' : measured;
  return {
    cause: 'pinched-optics',
    status,
    significance,
    tolerance,
    share: shareOf(MARECHAL_UM, rms, low, rms + error),
    widens: response.trefoilBlurPx(rms),
    direction: seen ? direction : null,
    directionError: seen ? Math.min(Math.PI / 6, trefoil.error / (3 * length)) : null,
    axis: null,
    axisError: null,
    starShift: null,
    because: seen
      ? `stars are triangular alike all over the field, one corner ${directionWords(direction, screenY)}; |trefoil3| ${length.toFixed(4)}${amounts.physical ? `, ${(1000 * rms).toFixed(0)} nm RMS` : ''}`
      : `no triangular stars: |trefoil3| ${length.toFixed(4)}, error ${trefoil.error.toFixed(4)}`,
    advice:
      status === 'fault'
        ? 'Loosen the primary’s clips until a sheet of paper slides under them, and look at the corrector’s retaining ring and at cables or screws that press. Let the mirror settle to the night’s temperature before judging. Follow the maker’s instructions; the tube level, tools tethered.'
        : 'Leave the mirror’s support as it is.',
  };
}

export function astigmatism(amounts: Amounts, curvatureFault: boolean): Finding {
  const { distortion } = amounts.smooth;
  const tolerance = `elongation below ${ROUND_ELONGATION} in the outer zones (common practice, no source)`;
  // At the centre of a corner zone: 2/3 of the way to the corner.
  const reach = 2 / 3;
  const radial = Math.abs(distortion.radial.value) * reach * reach;
  const radialSigma = Math.abs(distortion.radial.value) / Math.max(distortion.radial.error, 1e-12);
  const linear = (Math.hypot(...distortion.linear) / Math.SQRT2) * reach;
  const linearSigma = Math.hypot(...distortion.linear) / (2 * Math.max(distortion.linearError, 1e-12));
  const amount = Math.max(radial, linear);
  const significance = radial >= linear ? radialSigma : linearSigma;
  const error = amount / Math.max(significance, 1e-12);
  const limit = distortionOf(ROUND_ELONGATION);
  const own = amounts.optics.bare || curvatureFault;
  const measured = statusOf(amount, error, significance, limit);
  const status = own && measured === 'fault' ? 'within-tolerance' : measured;
  const fwhm = amounts.response?.focusedFwhmPx ?? null;
  const kind = radial >= linear ? (distortion.radial.value > 0 ? 'radial' : 'tangential') : 'growing from side to side';
  return {
    cause: 'astigmatism',
    status,
    significance,
    tolerance,
    share: own ? null : shareOf(limit, amount, amount - error, amount + error),
    widens: fwhm === null ? null : widenedBy(amount, fwhm),
    ...NO_DIRECTION,
    because:
      significance < DETECT_SIGMAS
        ? 'no elongation that grows over the field'
        : `elongation ${elongationFrom(amount).toFixed(2)} in the outer zones, ${kind}${own ? (amounts.optics.bare ? ', a bare mirror’s own' : ', together with the field curvature') : ''}`,
    advice:
      status === 'fault'
        ? 'A change of focus turns astigmatism by 90 deg and leaves tracking as it is: take one sub on each side of focus. If it turns, look at the corrector’s seat and centring, then at the mirrors’ supports.'
        : 'Nothing to do.',
  };
}
