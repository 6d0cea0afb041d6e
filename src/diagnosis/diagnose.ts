import type { Field } from '../field/fitField.ts';
import type { FrameStars } from '../field/frameStars.ts';
import { type Amounts, measureAmounts } from './amounts.ts';
import { directionIsOpen, turnOf } from './comaBesideSmear.ts';
import { CAUSES, type Cause, DETECT_SIGMAS, type Finding, NO_DIRECTION } from './finding.ts';
import { correctorSpacing, sensorTilt } from './focalPlane.ts';
import { comaTolerance, hangsOnFocus, mirrorTiltArcmin, miscollimation } from './miscollimation.ts';
import { defocus, dispersion, tracking, trackingOrAstigmatism } from './motionFindings.ts';
import { fittedDirection } from './refined.ts';
import type { Setup } from './setup.ts';
import { astigmatism, pinchedOptics } from './strain.ts';
import { directionWords, plain, type ScreenY } from './words.ts';

export type Verdict = 'good' | 'adjust' | 'inconclusive';

export interface Diagnosis {
  readonly verdict: Verdict;
  readonly headline: string;
  /** What would make an inconclusive answer conclusive. */
  readonly needs: string | null;
  /** Every cause looked for: faults first, then by how much it widens the stars. */
  readonly findings: readonly Finding[];
  /** Null where the stars are too few for any field. */
  readonly amounts: Amounts | null;
}

/** Fewer usable stars than this in all subs together, and no verdict is given. */
export const MIN_VERDICT_STARS = 30;
/** Below this FWHM, pixels, coma and elongation are not measurable; a mosaic's green pixels stand wider apart. */
export const MIN_FWHM = { mono: 2.0, mosaic: 2.4 } as const;

export function diagnose(frames: readonly FrameStars[], field: Field, setup: Setup, screenY: ScreenY): Diagnosis {
  return weigh(measureAmounts(frames, field, setup), frames, field, setup, screenY);
}

/** Weighs the amounts against the tolerances; again, once the whole-field fit knows them better. */
export function weigh(
  measured: Amounts | null,
  frames: readonly FrameStars[],
  field: Field,
  setup: Setup,
  screenY: ScreenY,
): Diagnosis {
  const amounts = measured && { ...measured, comaTurn: turnOf(measured, setup, fittedDirection(measured)) };
  const fwhm = field.fwhm ?? 0;
  const limit = setup.mosaic ? MIN_FWHM.mosaic : MIN_FWHM.mono;
  if (amounts === null || field.stars < MIN_VERDICT_STARS) {
    const missing = MIN_VERDICT_STARS - field.stars;
    return cannotTell(
      amounts,
      `Cannot tell: only ${field.stars} usable star${field.stars === 1 ? '' : 's'}.`,
      `at least ${MIN_VERDICT_STARS} usable stars (${Math.max(1, missing)} more): longer subs, more subs together, or a richer field`,
      'too few stars',
    );
  }
  if (fwhm < limit) {
    return cannotTell(
      amounts,
      `Cannot tell: the stars are ${fwhm.toFixed(1)} px wide, too sharp for these pixels to show their shape.`,
      `stars at least ${limit.toFixed(1)} px wide: a sub taken slightly out of focus, or without binning`,
      `undersampled: FWHM ${fwhm.toFixed(2)} px, below ${limit.toFixed(1)} px`,
    );
  }
  if (tooSoft(amounts)) {
    const arcsec = (amounts.response?.seeingArcsec ?? 0).toFixed(0);
    return cannotTell(
      amounts,
      `Cannot tell: the stars are ${arcsec}″ wide, softer than seeing makes them.`,
      'sharper stars: focus first; if they stay as wide, look for dew, thin cloud or wind',
      `stars ${arcsec}″ wide, most likely far out of focus`,
    );
  }
  const coma = miscollimation(amounts, frames, setup, screenY);
  const comaFault = coma.status === 'fault';
  const spacing = correctorSpacing(amounts);
  const turning = trackingOrAstigmatism(amounts, setup);
  const findings = [
    coma,
    sensorTilt(amounts, setup, screenY, comaFault),
    spacing,
    pinchedOptics(amounts, screenY),
    astigmatism(amounts, spacing.status === 'fault', turning),
    tracking(amounts, setup, fwhm, screenY, turning),
    dispersion(amounts, setup, fwhm, screenY),
    defocus(amounts, comaFault),
  ].sort(byWeight);
  return conclude(findings, amounts, setup, screenY);
}

/** Seeing that no site has when anybody images, arcseconds (common practice, no source). */
const SOFTEST_ARCSEC = 7;

/**
 * Such stars are out of focus, whatever they look like: far out of focus an offset shadow passes for coma. Where tilt or curvature
 * bring a part of the field to focus, its sharpest stars count.
 */
export function tooSoft({ physical, response, size, fwhm, optics }: Amounts): boolean {
  if (!physical || response === null) return false;
  // A bare mirror's own curvature is given to the surface, not found.
  const varies =
    size !== null && Math.max(size.tiltSignificance, optics.bare ? 0 : size.curvatureSignificance) >= DETECT_SIGMAS;
  const sharpest = varies ? Math.min(1, Math.min(...size.floor) / fwhm) : 1;
  return response.seeingArcsec * sharpest > SOFTEST_ARCSEC;
}

function byWeight(a: Finding, b: Finding): number {
  const fault = (f: Finding): number => (f.status === 'fault' ? 1 : 0);
  return fault(b) - fault(a) || (b.widens ?? 0) - (a.widens ?? 0);
}

function conclude(findings: readonly Finding[], amounts: Amounts, setup: Setup, screenY: ScreenY): Diagnosis {
  const faults = findings.filter((f) => f.status === 'fault');
  const optical = faults.filter((f) => CAUSES[f.cause].optical);
  const others = faults.filter((f) => !CAUSES[f.cause].optical);
  const coma = findings.find((f) => f.cause === 'miscollimation');
  const also = others.length === 0 ? '' : ` Also: ${others.map((f) => CAUSES[f.cause].title).join(', ')}.`;
  // Whatever widens the stars most: tilt is not chased while the primary is off.
  const first = optical.find((f) => f.cause === 'miscollimation') ?? optical[0];
  if (first !== undefined) {
    const rest = optical.filter((f) => f !== first);
    const untold = coma?.status === 'not-measurable' ? ' Whether it is collimated is not told.' : '';
    const more = rest.length === 0 ? '' : ` Then: ${rest.map((f) => CAUSES[f.cause].title).join(', ')}.`;
    return {
      verdict: 'adjust',
      headline: `${faultLine(first, amounts, screenY)}${more}${also}${untold}`,
      needs: null,
      findings,
      amounts,
    };
  }
  if (coma?.status === 'not-measurable') {
    const { why, needs } = doubt(coma, amounts);
    return {
      verdict: 'inconclusive',
      headline: `Cannot tell whether it is collimated: ${why}.${also}`,
      needs,
      findings,
      amounts,
    };
  }
  const tilt = mirrorTiltArcmin(amounts.comaUm?.value ?? 0, amounts);
  const tolerance = mirrorTiltArcmin(comaTolerance(amounts, setup).um, amounts);
  const size = amounts.physical ? `: coma as of ${plain(tilt)}′ of mirror tilt, tolerance ${plain(tolerance)}′` : '';
  const open = findings.filter(
    (f) => CAUSES[f.cause].optical && f.status === 'not-measurable' && f.cause !== 'miscollimation',
  );
  const unsaid = open.length === 0 ? '' : ` Not settled: ${open.map((f) => CAUSES[f.cause].title).join(', ')}.`;
  return {
    verdict: 'good',
    headline: `Collimated${size}. Stop turning.${also}${unsaid}`,
    needs: null,
    findings,
    amounts,
  };
}

/** Why a coma was not told, and what would tell it. */
function doubt(coma: Finding, amounts: Amounts): { readonly why: string; readonly needs: string } {
  if (amounts.skew !== null)
    return {
      why: 'a smear to one side hides the coma',
      needs: 'steady subs above 60 deg altitude, or through a green or narrow filter',
    };
  if (amounts.perhapsJump)
    return {
      why: 'a jump of the stars during the exposure would look the same',
      needs: 'two subs more, with steady tracking, measured together with this one',
    };
  if (hangsOnFocus(coma))
    return {
      why: 'there is coma, but from one focus it may be within the tolerance or beyond',
      needs: 'a sub 60 to 80 µm to the other side of focus, measured together with this one',
    };
  return { why: 'the errors are wider than the tolerance', needs: 'more stars: longer subs, or more subs together' };
}

function faultLine(finding: Finding, amounts: Amounts, screenY: ScreenY): string {
  switch (finding.cause) {
    case 'miscollimation': {
      const { comaUm } = amounts;
      const size =
        comaUm === null || !amounts.physical
          ? ''
          : ` by about ${plain(mirrorTiltArcmin(comaUm.value, amounts))}′ (${plain(mirrorTiltArcmin(comaUm.low, amounts))}′ to ${plain(mirrorTiltArcmin(comaUm.high, amounts))}′)`;
      return directionIsOpen(amounts)
        ? `The primary is off${size}; which way, a sub with rounder stars will tell.`
        : `The primary is off${size}: move the stars ${directionWords(finding.direction ?? 0, screenY)}.`;
    }
    case 'sensor-tilt':
      return `The focal plane is tilted: ${finding.because}.`;
    case 'corrector-spacing':
      return 'The field is curved: corners and centre do not come to focus together.';
    case 'pinched-optics':
      return 'Something pinches the optics: the stars are triangular all over the field.';
    case 'astigmatism':
      return `Astigmatism: ${finding.because}.`;
    default:
      return `${CAUSES[finding.cause].title}: ${finding.because}.`;
  }
}

function cannotTell(amounts: Amounts | null, headline: string, needs: string, because: string): Diagnosis {
  const findings = (Object.keys(CAUSES) as Cause[]).map(
    (cause): Finding => ({
      cause,
      status: 'not-measurable',
      significance: null,
      tolerance: '',
      share: null,
      widens: null,
      ...NO_DIRECTION,
      because,
      advice: 'Do not turn anything on this measurement.',
    }),
  );
  return { verdict: 'inconclusive', headline, needs, findings, amounts };
}
