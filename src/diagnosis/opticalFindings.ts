import { type FrameStars, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import type { Amounts } from './amounts.ts';
import { DETECT_SIGMAS, FAULT_SIGMAS, type Finding, statusOf } from './finding.ts';
import type { Setup } from './setup.ts';
import { starShift } from './starShift.ts';
import {
  COMA_TOLERANCE_UM,
  distortionOf,
  elongationFrom,
  focusZoneUm,
  MARECHAL_UM,
  ROUND_ELONGATION,
} from './tolerances.ts';
import { axisWords, directionWords, plain, type ScreenY } from './words.ts';

const ARCMIN_PER_RAD = 10800 / Math.PI;

/** Tilt of the primary that makes a W131 of that many um: c = tau D/(32 N^2), N the primary's own focal ratio. */
export function mirrorTiltArcmin(comaUm: number, amounts: Amounts): number {
  const { apertureMm, primaryFocalLengthMm } = amounts.optics;
  const ratio = primaryFocalLengthMm / apertureMm;
  return ((comaUm / 1000) * 32 * ratio * ratio * ARCMIN_PER_RAD) / apertureMm;
}

/** Error of a vector's direction, radians; at most a quarter turn. */
const directionError = (length: number, error: number): number =>
  Math.min(Math.PI / 2, error / Math.max(length, 1e-12));

const MOVE = [
  'How: tracking on, guiding off (a guider would pull the star back), short loops of 1 to 5 s.',
  'Work from behind the closed cell with nothing above the mirror. Release the lock screws, turn one screw at a time by',
  'little: each moves the star along one line, so use two in turn until star A stands on target B. Lock again and look once',
  'more (locking shifts it), re-centre with the mount, refocus, take new subs.',
  'If star A is elsewhere on your screen than in our picture, your screen is flipped or turned: follow the stars, not the words.',
].join(' ');

export function miscollimation(
  amounts: Amounts,
  frames: readonly FrameStars[],
  setup: Setup,
  screenY: ScreenY,
): Finding {
  const { coma, response, comaUm, optics, skew } = amounts;
  const length = vectorLength(coma);
  const significance = vectorSignificance(coma);
  const direction = Math.atan2(coma.y, coma.x);
  const toleranceArcmin = mirrorTiltArcmin(COMA_TOLERANCE_UM, amounts);
  const um = comaUm?.value ?? 0;
  const error = comaUm?.error ?? 0;
  const hidden = skew !== null && length < Math.hypot(skew.coma3.x, skew.coma3.y);
  const status =
    response === null || hidden
      ? 'not-measurable'
      : statusOf(um, um === 0 ? error : (error * um) / Math.max(um, error), significance, COMA_TOLERANCE_UM);
  const arcmin = mirrorTiltArcmin(um, amounts);
  const low = mirrorTiltArcmin(comaUm?.low ?? 0, amounts);
  const high = mirrorTiltArcmin(comaUm?.high ?? 0, amounts);
  const shiftPx = (tilt: number): number =>
    (2 * optics.focalLengthMm * 1000 * (tilt / ARCMIN_PER_RAD)) / optics.pixelUm;
  const reference = frames.find((frame) => frame.shapes.length > 0);
  const shift =
    status === 'fault' && amounts.physical && reference !== undefined
      ? starShift(reference, direction, shiftPx(arcmin), shiftPx((high - low) / 2))
      : null;
  const tails = `coma tails point ${directionWords(direction, screenY)}`;
  const size = amounts.physical
    ? `like a primary tilted by ${plain(arcmin)}' (${plain(low)}' to ${plain(high)}')`
    : `|coma3| ${length.toFixed(4)}`;
  const interval = comaUm !== null && comaUm.high > 1.3 * comaUm.low;
  return {
    cause: 'miscollimation',
    status,
    significance,
    tolerance: amounts.physical
      ? `primary axis within 0.005 N^3 mm of the centre, here ${plain(toleranceArcmin)}' (trade tolerance)`
      : 'primary axis within 0.005 N^3 mm of the centre (trade tolerance; optics unknown, judged as for 200 mm f/4)',
    widens: response === null ? null : response.comaBlurPx(um),
    direction: significance >= DETECT_SIGMAS ? direction : null,
    directionError: significance >= DETECT_SIGMAS ? directionError(length, coma.error) : null,
    axis: null,
    axisError: null,
    starShift: shift,
    because: hidden
      ? `stars are smeared to one side by more than the coma that is left (${length.toFixed(4)}): the two cannot be told apart`
      : significance < DETECT_SIGMAS
        ? `no uniform coma: |coma3| ${length.toFixed(4)}, error ${coma.error.toFixed(4)}`
        : `${tails}, the same all over the field, ${size}; |coma3| ${length.toFixed(4)} +- ${coma.error.toFixed(4)}`,
    advice: adviceFor(status, shift !== null, interval, direction, screenY, setup, hidden),
  };
}

function adviceFor(
  status: Finding['status'],
  hasShift: boolean,
  interval: boolean,
  direction: number,
  screenY: ScreenY,
  setup: Setup,
  hidden: boolean,
): string {
  if (status === 'fault') {
    const first =
      'First make sure the flat stands right by geometry; then tilt the primary so that every star moves on your screen ' +
      `${directionWords(direction, screenY)}, as from star A to target B.`;
    const half = interval
      ? ' Go half the arrow, take new subs and measure again: one focus gives the direction safely, the amount only within its interval. A sub on each side of focus (60 to 80 um) would narrow it.'
      : ' Go the arrow, take new subs and measure again.';
    const scaleNote = hasShift ? '' : scaleAdvice(setup);
    return `${first}${half}${scaleNote} ${MOVE}`;
  }
  if (status === 'not-measurable') {
    return hidden
      ? 'Take subs above 60 deg altitude or through a green or narrow filter, with steady tracking, then measure again.'
      : 'More subs, or longer ones: do not turn anything on this measurement.';
  }
  return 'Leave the primary alone.';
}

function scaleAdvice(setup: Setup): string {
  const missing = [
    setup.focalLengthMm.value === null ? '--focal MM' : '',
    setup.apertureMm.value === null ? '--aperture MM' : '',
    setup.pixelUm.value === null ? '--pixel UM' : '',
  ].filter((name) => name !== '');
  return missing.length > 0 ? ` For the way in pixels give ${missing.join(' ')}.` : '';
}

/** Edge-to-edge extent of the frame along a direction, half-diagonals. */
function extentAlong(setup: Setup, x: number, y: number): number {
  const length = Math.hypot(x, y);
  if (length === 0) return 0;
  const half = 0.5 * Math.hypot(setup.width, setup.height);
  return (setup.width * Math.abs(x) + setup.height * Math.abs(y)) / (half * length);
}

export interface TiltAmount {
  readonly um: number;
  readonly error: number;
  readonly upperLimit: number;
}

/** Focal-plane tilt edge to edge, um of focus. */
export function tiltAmount(amounts: Amounts, setup: Setup): TiltAmount | null {
  const { size, response } = amounts;
  if (size === null || response === null) return null;
  const { x, y, error } = size.tilt;
  const extent = extentAlong(setup, x, y) / 2;
  const length = Math.hypot(x, y);
  const um = 2 * response.defocusUm(length * extent);
  const high = 2 * response.defocusUm((length + error) * extent);
  const low = 2 * response.defocusUm(Math.max(0, length - error) * extent);
  const widest = extentAlong(setup, setup.width, setup.height) / 2;
  return {
    um,
    error: Math.max((high - low) / 2, high - um),
    upperLimit: 2 * response.defocusUm(size.tiltUpperLimit * Math.max(extent, 0.8 * widest)),
  };
}

export function sensorTilt(amounts: Amounts, setup: Setup, screenY: ScreenY, comaFault: boolean): Finding {
  const { size, response, optics } = amounts;
  const zone = focusZoneUm(amounts);
  const tilt = tiltAmount(amounts, setup);
  const tolerance = amounts.physical
    ? `focus equal edge to edge within ${zone.toFixed(0)} um, the seeing-limited critical focus zone (Goldman & Megdal 2010)`
    : 'focus equal within the seeing-limited critical focus zone (Goldman & Megdal 2010; optics unknown, judged as for 200 mm f/4)';
  if (size === null || tilt === null || response === null) return unmeasurable('sensor-tilt', tolerance);
  const significance = size.tiltSignificance;
  // A bare paraboloid's own coma and curvature drown the plane while its node stands off the centre.
  const drowned = optics.bare && comaFault;
  const status = drowned ? 'not-measurable' : statusOf(tilt.um, tilt.error, significance, zone);
  const axis = Math.atan2(size.tilt.y, size.tilt.x);
  const seen = significance >= DETECT_SIGMAS && !drowned;
  const length = vectorLength(size.tilt);
  const what = optics.bare ? 'focal-plane tilt' : 'tilt between corrector and sensor';
  const amount = amounts.physical
    ? `${tilt.um.toFixed(0)} +- ${tilt.error.toFixed(0)} um edge to edge`
    : `${plain(length)} px of blur a half-diagonal`;
  return {
    cause: 'sensor-tilt',
    status,
    significance,
    tolerance,
    widens: zoneBlur(length, setup, axis),
    direction: null,
    directionError: null,
    axis: seen ? axis : null,
    axisError: seen ? directionError(length, size.tilt.error) : null,
    starShift: null,
    because: drowned
      ? 'the mirror’s own coma hides it: collimate first'
      : seen
        ? `best focus changes ${axisWords(axis, screenY)}, ${amount}`
        : amounts.physical
          ? `no tilt seen; at most ${tilt.upperLimit.toFixed(0)} um edge to edge (95 %)`
          : 'no tilt seen',
    advice:
      status === 'fault'
        ? `${comaFault ? 'Leave this until the coma is gone. Then: ' : ''}${what}. One focus does not tell which side is too near the mirror: refocus by 40 um, take another sub, and see which side sharpens; ${
            optics.bare
              ? 'the flat or a decentred primary makes it as well as the camera'
              : 'look at the camera, its tilt plate and adapters, and the corrector’s seat'
          }.`
        : drowned || status === 'not-measurable'
          ? 'Nothing to do on this measurement; more stars or subs at another focus would settle it.'
          : 'Leave the camera as it is.',
  };
}

/** Blur a linear defocus makes in the centre of the outermost zone along it, pixels of FWHM. */
function zoneBlur(perHalfDiagonal: number, setup: Setup, axis: number): number {
  return (perHalfDiagonal * extentAlong(setup, Math.cos(axis), Math.sin(axis))) / 3;
}

function unmeasurable(cause: Finding['cause'], tolerance: string): Finding {
  return {
    cause,
    status: 'not-measurable',
    significance: null,
    tolerance,
    widens: null,
    direction: null,
    directionError: null,
    axis: null,
    axisError: null,
    starShift: null,
    because: 'too few stars over the field',
    advice: 'More stars: longer subs, more subs, or a richer field.',
  };
}

export interface CurvatureAmount {
  readonly um: number;
  readonly error: number;
}

/** Best focus at the corner against the centre, um; its sign is not in one focus. */
export function curvatureAmount(amounts: Amounts): CurvatureAmount | null {
  const { size, response } = amounts;
  if (size === null || response === null) return null;
  const um = response.defocusUm(Math.abs(size.curvature.value));
  return { um, error: Math.max(response.defocusUm(Math.abs(size.curvature.value) + size.curvature.error) - um, 1e-3) };
}

export function correctorSpacing(amounts: Amounts): Finding {
  const { size, optics } = amounts;
  const zone = focusZoneUm(amounts);
  const tolerance = `corner and centre in focus within ${amounts.physical ? `${zone.toFixed(0)} um, ` : ''}the seeing-limited critical focus zone (Goldman & Megdal 2010)`;
  const curvature = curvatureAmount(amounts);
  if (size === null || curvature === null) return unmeasurable('corrector-spacing', tolerance);
  const significance = size.curvatureSignificance;
  const status = optics.bare
    ? significance >= DETECT_SIGMAS
      ? 'within-tolerance'
      : 'not-detected'
    : statusOf(curvature.um, curvature.error, significance, zone);
  const radial = amounts.smooth.distortion.radial;
  // Zero mean over the field: r^2 of a corner zone's centre is 4/9, of the field's mean 1/3 (half-diagonals).
  const widens = Math.abs(size.curvature.value) / 3;
  return {
    cause: 'corrector-spacing',
    status,
    significance,
    tolerance,
    widens,
    direction: null,
    directionError: null,
    axis: null,
    axisError: null,
    starShift: null,
    because:
      significance < DETECT_SIGMAS
        ? 'no field curvature seen'
        : `best focus of the corners differs from the centre’s by ${amounts.physical ? `${curvature.um.toFixed(0)} +- ${curvature.error.toFixed(0)} um` : `${plain(Math.abs(size.curvature.value))} px of blur`}, alike in all corners; ${
            Math.abs(radial.value) > DETECT_SIGMAS * radial.error
              ? `corner stars are long ${radial.value > 0 ? 'towards the centre' : 'across the direction to the centre'}`
              : 'corner stars are round'
          }${optics.bare ? '; a bare mirror’s own curvature' : ''}`,
    advice:
      status === 'fault'
        ? 'The distance from corrector to sensor does not suit. One focus does not tell too near from too far: change it by 0.5 mm, or take a through-focus series, and keep what makes corners and centre sharp together.'
        : 'Leave the spacing as it is.',
  };
}

export function pinchedOptics(amounts: Amounts, screenY: ScreenY): Finding {
  const { trefoil, response } = amounts;
  const length = vectorLength(trefoil);
  const significance = vectorSignificance(trefoil);
  const rms = response?.trefoilRmsUm(length) ?? 0;
  const tolerance = `trefoil below ${(1000 * MARECHAL_UM).toFixed(0)} nm RMS, Marechal’s lambda/14`;
  if (response === null) return unmeasurable('pinched-optics', tolerance);
  const error = response.trefoilRmsUm(length + trefoil.error) - rms;
  const direction = Math.atan2(trefoil.y, trefoil.x) / 3;
  const seen = significance >= DETECT_SIGMAS;
  const status = statusOf(rms, error, significance, MARECHAL_UM);
  return {
    cause: 'pinched-optics',
    status,
    significance,
    tolerance,
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
    widens: fwhm === null ? null : widenedBy(amount, fwhm),
    direction: null,
    directionError: null,
    axis: null,
    axisError: null,
    starShift: null,
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

/** Extra width of a star drawn out along one axis: e = (a2 - b2)/(a2 + b2) at unchanged b; geometric mean, in quadrature. */
export function widenedBy(distortion: number, fwhm: number): number {
  const e = Math.min(0.95, distortion);
  const ratio = Math.sqrt((1 + e) / (1 - e));
  return fwhm * Math.sqrt(Math.max(0, ratio - 1));
}

export { FAULT_SIGMAS };
