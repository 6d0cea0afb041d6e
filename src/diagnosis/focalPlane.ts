import { vectorLength } from '../field/frameStars.ts';
import type { SizeField } from '../field/sizeField.ts';
import { airIsSuspect } from './air.ts';
import type { Amounts } from './amounts.ts';
import { sigmasForBareTilt } from './bareTilt.ts';
import {
  DETECT_SIGMAS,
  directionError,
  type Finding,
  NO_DIRECTION,
  shareOf,
  statusOf,
  unmeasurable,
} from './finding.ts';
import type { Setup } from './setup.ts';
import { focusZoneUm } from './tolerances.ts';
import { axisWords, plain, type ScreenY } from './words.ts';

/** Edge-to-edge extent of the frame along a direction, half-diagonals. */
function extentAlong(setup: Setup, x: number, y: number): number {
  const length = Math.hypot(x, y);
  if (length === 0) return 0;
  const half = 0.5 * Math.hypot(setup.width, setup.height);
  return (setup.width * Math.abs(x) + setup.height * Math.abs(y)) / (half * length);
}

/**
 * How well widths are turned into focus, as a share: by the seeing of a star in focus, by the whole-field fit, by that fit where a
 * bare mirror's coma widens the same stars (drawn stars); and a floor, um.
 */
const SCALE_SHARE = { quick: 0.1, fitted: 0.01, bare: 0.15 } as const;
/** The same of the curvature: without the fit less well, for the corners tell it, whose stars are the widest. */
const CURVATURE_SHARE = { quick: 0.13, fitted: 0.01 } as const;
const FOCUS_FLOOR_UM = 2;

const withScale = (um: number, error: number, share: number): number => Math.hypot(error, share * um, FOCUS_FLOOR_UM);

export interface TiltAmount {
  readonly um: number;
  readonly error: number;
  readonly upperLimit: number;
}

/** Focal-plane tilt edge to edge, um of focus. */
export function tiltAmount(amounts: Amounts, setup: Setup): TiltAmount | null {
  const { size, response, retrieved, optics } = amounts;
  if (size === null || response === null) return null;
  if (retrieved !== null) {
    const { value, low, high } = retrieved.tiltUm;
    // 95 % of a normal distribution lie within 1.64 sigma above.
    const error = withScale(value, (high - low) / 2, optics.bare ? SCALE_SHARE.bare : SCALE_SHARE.fitted);
    return { um: value, error, upperLimit: value + 1.64 * error };
  }
  const { x, y, error } = size.tilt;
  const extent = extentAlong(setup, x, y) / 2;
  const length = Math.hypot(x, y);
  const um = 2 * response.defocusUm(length * extent);
  const high = 2 * response.defocusUm((length + error) * extent);
  const low = 2 * response.defocusUm(Math.max(0, length - error) * extent);
  const widest = extentAlong(setup, setup.width, setup.height) / 2;
  return {
    um,
    error: withScale(um, Math.max((high - low) / 2, high - um), SCALE_SHARE.quick),
    upperLimit: 2 * response.defocusUm(size.tiltUpperLimit * Math.max(extent, 0.8 * widest)),
  };
}

/** Steepest change of focus, radians, stored axes. */
export function tiltAxis(amounts: Amounts, { tilt }: SizeField): { readonly angle: number; readonly error: number } {
  const { retrieved } = amounts;
  if (retrieved !== null) return { angle: retrieved.tiltAxis, error: retrieved.tiltAxisError };
  return { angle: Math.atan2(tilt.y, tilt.x), error: directionError(vectorLength(tilt), tilt.error) };
}

/**
 * Sigma at which the tilt differs from none: the less sure of what the widths show and what the whole-field fit leaves of it. A bare
 * mirror's coma and astigmatism widen the same stars, and only the fit tells them apart.
 */
export function tiltSignificance({ retrieved, optics }: Amounts, size: SizeField): number {
  if (retrieved === null) return size.tiltSignificance;
  return optics.bare ? retrieved.tiltSignificance : Math.min(size.tiltSignificance, retrieved.tiltSignificance);
}

/** Tilt put up with, um from edge to edge, and in words: what the rig's owner wishes where the optics are known. */
function tiltTolerance(amounts: Amounts, { wishes }: Setup): { readonly um: number; readonly words: string } {
  const zone = focusZoneUm(amounts);
  const um = zone.toFixed(0);
  if (!amounts.physical)
    return {
      um: zone,
      words:
        'focus equal within the seeing-limited critical focus zone (Goldman & Megdal 2010; optics unknown, judged as for 200 mm f/4)',
    };
  if (wishes.sensorTiltUm === undefined)
    return {
      um: zone,
      words: `focus equal edge to edge within ${um} µm, the seeing-limited critical focus zone (Goldman & Megdal 2010)`,
    };
  return {
    um: wishes.sensorTiltUm,
    words: `focus equal edge to edge within ${plain(wishes.sensorTiltUm)} µm, your rig’s own wish (the seeing-limited critical focus zone is ${um} µm)`,
  };
}

export function sensorTilt(amounts: Amounts, setup: Setup, screenY: ScreenY, comaFault: boolean): Finding {
  const { size, response, optics } = amounts;
  const tilt = tiltAmount(amounts, setup);
  const tolerance = tiltTolerance(amounts, setup);
  if (size === null || tilt === null || response === null) return unmeasurable('sensor-tilt', tolerance.words);
  const significance = tiltSignificance(amounts, size);
  // A bare paraboloid's own coma and curvature drown the plane while its node stands off the centre.
  const drowned = optics.bare && comaFault;
  const measured = statusOf(tilt.um, tilt.error, significance, tolerance.um);
  // Its own astigmatism leans on the widths as a tilt does: without the whole-field fit they show only that there may be one.
  const { retrieved } = amounts;
  const told =
    retrieved !== null &&
    significance >=
      sigmasForBareTilt(
        retrieved,
        airIsSuspect(amounts, setup),
        focusZoneUm(amounts),
        Math.hypot(amounts.node?.u ?? 0, amounts.node?.v ?? 0),
      );
  const leaning = optics.bare && !told && measured === 'fault';
  const status = drowned || leaning ? 'not-measurable' : measured;
  const { angle: axis, error: axisError } = tiltAxis(amounts, size);
  const seen = significance >= DETECT_SIGMAS && !drowned;
  const length = vectorLength(size.tilt);
  const what = optics.bare ? 'focal-plane tilt' : 'tilt between corrector and sensor';
  const amount = amounts.physical
    ? `${tilt.um.toFixed(0)} ± ${tilt.error.toFixed(0)} µm edge to edge`
    : `${plain(length)} px of blur a half-diagonal`;
  return {
    cause: 'sensor-tilt',
    status,
    significance,
    tolerance: tolerance.words,
    share: shareOf(tolerance.um, tilt.um, tilt.um - tilt.error, tilt.um + tilt.error),
    // The centre of the outermost zone along it stands a third of the way from edge to edge off the middle.
    widens: amounts.retrieved === null ? zoneBlur(length, setup, axis) : response.blurPx(tilt.um / 3),
    direction: null,
    directionError: null,
    axis: seen ? axis : null,
    axisError: seen ? axisError : null,
    starShift: null,
    because: drowned
      ? 'the mirror’s own coma hides it: collimate first'
      : seen
        ? `best focus changes ${axisWords(axis, screenY)}, ${amount}`
        : amounts.physical
          ? `no tilt seen; at most ${tilt.upperLimit.toFixed(0)} µm edge to edge (95 %)`
          : 'no tilt seen',
    advice:
      status === 'fault'
        ? `${comaFault ? 'Leave this until the coma is gone. Then: ' : ''}A ${what}. One focus does not tell which side is too near the mirror: refocus by 40 µm, take another sub, and see which side sharpens; ${
            optics.bare
              ? 'the flat or a decentred primary makes it as well as the camera'
              : 'look at the camera, its tilt plate and adapters, and the corrector’s seat'
          }.`
        : drowned || status === 'not-measurable'
          ? `Nothing to do on this measurement; ${leaning ? 'a through-focus series (starplumb sweep)' : 'more stars or subs at another focus'} would settle it.`
          : 'Leave the camera as it is.',
  };
}

/** Blur a linear defocus makes in the centre of the outermost zone along it, pixels of FWHM. */
function zoneBlur(perHalfDiagonal: number, setup: Setup, axis: number): number {
  return (perHalfDiagonal * extentAlong(setup, Math.cos(axis), Math.sin(axis))) / 3;
}

export interface CurvatureAmount {
  readonly um: number;
  readonly error: number;
}

/** Best focus at the corner against the centre, um; its sign is not in one focus. */
export function curvatureAmount(amounts: Amounts): CurvatureAmount | null {
  const { size, response, retrieved } = amounts;
  if (size === null || response === null) return null;
  if (retrieved !== null) {
    const { value, low, high } = retrieved.bendUm;
    return { um: value, error: withScale(value, (high - low) / 2, CURVATURE_SHARE.fitted) };
  }
  const um = response.defocusUm(Math.abs(size.curvature.value));
  const statistical = response.defocusUm(Math.abs(size.curvature.value) + size.curvature.error) - um;
  return { um, error: withScale(um, statistical, CURVATURE_SHARE.quick) };
}

export function correctorSpacing(amounts: Amounts): Finding {
  const { size, optics } = amounts;
  const zone = focusZoneUm(amounts);
  const tolerance = `corner and centre in focus within ${amounts.physical ? `${zone.toFixed(0)} µm, ` : ''}the seeing-limited critical focus zone (Goldman & Megdal 2010)`;
  const curvature = curvatureAmount(amounts);
  if (size === null || curvature === null) return unmeasurable('corrector-spacing', tolerance);
  const own = amounts.retrieved === null ? Number.POSITIVE_INFINITY : curvature.um / Math.max(curvature.error, 1e-9);
  const significance = Math.min(size.curvatureSignificance, own);
  const status = optics.bare
    ? significance >= DETECT_SIGMAS
      ? 'within-tolerance'
      : 'not-detected'
    : statusOf(curvature.um, curvature.error, significance, zone);
  const radial = amounts.smooth.distortion.radial;
  // Zero mean over the field: r^2 of a corner zone's centre is 4/9, of the field's mean 1/3 (half-diagonals).
  const widens =
    amounts.retrieved === null || amounts.response === null
      ? Math.abs(size.curvature.value) / 3
      : amounts.response.blurPx(curvature.um / 3);
  return {
    cause: 'corrector-spacing',
    status,
    significance,
    tolerance,
    share: optics.bare
      ? null
      : shareOf(zone, curvature.um, curvature.um - curvature.error, curvature.um + curvature.error),
    widens,
    ...NO_DIRECTION,
    because:
      significance < DETECT_SIGMAS
        ? 'no field curvature seen'
        : `best focus of the corners differs from the centre’s by ${amounts.physical ? `${curvature.um.toFixed(0)} ± ${curvature.error.toFixed(0)} µm` : `${plain(Math.abs(size.curvature.value))} px of blur`}, alike in all corners; ${
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
