import { type UncertainVector, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { type Amounts, without } from './amounts.ts';
import { DETECT_SIGMAS, type Finding, NO_DIRECTION, statusOf } from './finding.ts';
import type { Setup } from './setup.ts';
import { distortionOf, elongationFrom, focusZoneUm, ROUND_ELONGATION, widenedBy } from './tolerances.ts';
import { axisWords, plain, type ScreenY } from './words.ts';

/** Smear of one sub: the uniform part of its distortion that its coma does not make. */
export interface FrameSmear {
  readonly frame: number;
  readonly distortion: UncertainVector;
}

export function smearOfFrames(amounts: Amounts): FrameSmear[] {
  return amounts.smooth.perFrame.map(({ frame, fields }) => ({
    frame,
    distortion: without(fields.distortion.uniform, amounts.comaDistortion),
  }));
}

/** Length of a steady drift that makes this distortion of a star of that width: a2 - b2 = L^2/12 along one axis. */
export function driftLength(distortion: number, fwhm: number): number {
  const e = Math.min(0.95, Math.abs(distortion));
  // b of the geometric mean: sigma^2 = a b, a/b = sqrt((1 + e)/(1 - e)).
  const sigma2 = (fwhm / 2.354820045) ** 2;
  const ratio = Math.sqrt((1 + e) / (1 - e));
  return Math.sqrt(12 * sigma2 * (ratio - 1 / ratio));
}

/** Whether the skewed smear is the air's: it stays over the subs, low in the sky, through a broad band. */
export function airIsSuspect(amounts: Amounts, setup: Setup): boolean {
  const narrow = /^(h|s-?ii|o-?iii|n-?ii|s2|o3|g\b|green)/i.test(setup.filter?.trim() ?? '');
  const low = setup.altitudeDeg !== null && setup.altitudeDeg < 60;
  const steady = amounts.smooth.coma.uniform.changing < 0.5 * vectorLength(amounts.smooth.coma.uniform);
  return amounts.skew !== null && low && !narrow && steady;
}

export function tracking(amounts: Amounts, setup: Setup, fwhm: number, screenY: ScreenY): Finding {
  const persistent = amounts.smear;
  const { changing } = amounts.smooth.distortion.uniform;
  const frames = smearOfFrames(amounts);
  const mean = frames.reduce((sum, f) => sum + vectorLength(f.distortion), 0) / Math.max(1, frames.length);
  const air = airIsSuspect(amounts, setup);
  const worst = frames.reduce<FrameSmear | null>(
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
  const status = air ? 'not-measurable' : statusOf(amount, persistent.error, significance, limit);
  const axis = 0.5 * Math.atan2(vector.y, vector.x);
  const seen = significance >= DETECT_SIGMAS;
  const same = frames.length > 1 && changing < 0.3 * vectorLength(persistent);
  return {
    cause: 'tracking',
    status,
    significance,
    tolerance: `elongation below ${ROUND_ELONGATION} (common practice, no source)`,
    widens: widenedBy(amount, fwhm),
    direction: null,
    directionError: null,
    axis: seen ? axis : null,
    axisError: seen ? Math.min(Math.PI / 4, vector.error / (2 * Math.max(vectorLength(vector), 1e-12))) : null,
    starShift: null,
    because: !seen
      ? 'no smear common to all stars'
      : `all stars are long the same way, ${axisWords(axis, screenY)}, elongation ${elongationFrom(amount).toFixed(2)} (as a drift of ${plain(driftLength(amount, fwhm))} px)${
          amounts.skew === null ? '' : ', and skewed to one side: a jump part-way rather than a steady drift'
        }${frames.length < 2 ? '' : same ? '; the same in every sub' : '; it changes from sub to sub'}`,
    advice:
      status === 'fault'
        ? `Look at guiding, balance, cables, wind and polar alignment. Tracking grows with exposure time: a 10 s sub settles it. ${
            amounts.skew === null
              ? 'If short subs show it as well, it is astigmatism out of focus (it turns by 90 deg through focus) or dispersion low in the sky.'
              : 'Look for backlash and for a dither that had not settled.'
          }`
        : 'Nothing to do.',
  };
}

export function dispersion(amounts: Amounts, setup: Setup, fwhm: number, screenY: ScreenY): Finding {
  const air = airIsSuspect(amounts, setup);
  const { skew } = amounts;
  const persistent = amounts.smear;
  const amount = vectorLength(persistent);
  const altitude = setup.altitudeDeg;
  return {
    cause: 'dispersion',
    status: air ? 'fault' : skew === null ? 'not-detected' : altitude === null ? 'not-measurable' : 'not-detected',
    significance: skew === null ? 0 : vectorSignificance(amounts.smooth.trefoil.uniform),
    tolerance: `elongation below ${ROUND_ELONGATION} (common practice, no source)`,
    widens: air ? widenedBy(amount, fwhm) : 0,
    direction: null,
    directionError: null,
    axis: air && skew !== null ? skew.direction : null,
    axisError: air ? Math.min(Math.PI / 4, persistent.error / (2 * Math.max(amount, 1e-12))) : null,
    starShift: null,
    because: air
      ? `all stars are skewed to one side ${skew === null ? '' : axisWords(skew.direction, screenY)} in every sub, at ${(altitude ?? 0).toFixed(0)} deg altitude through a broad filter`
      : skew !== null && altitude === null
        ? 'the stars are skewed alike; without the altitude the air cannot be told from a jump in tracking'
        : 'no skew that the air would make',
    advice: air
      ? 'The air spreads the colours towards the zenith. Point above 60 deg, or use a green or narrow filter, before judging the collimation.'
      : 'Nothing to do.',
  };
}

export function defocus(amounts: Amounts): Finding {
  const { size, response } = amounts;
  const zone = focusZoneUm(amounts);
  const tolerance = `best compromise focus within ${amounts.physical ? `±${(zone / 2).toFixed(0)} µm, ` : ''}half the seeing-limited critical focus zone (Goldman & Megdal 2010)`;
  // Mean of r^2 over the frame is 1/3 in half-diagonals, so the compromise focus is centre + curvature/3.
  const offsets = size === null ? [] : size.centre.map((c) => Math.abs(c + size.curvature.value / 3));
  const worst = Math.max(0, ...offsets);
  const error = size === null ? Infinity : (size.centreError[offsets.indexOf(worst)] ?? Infinity);
  const um = response?.defocusUm(worst) ?? 0;
  const errorUm = response === null || !Number.isFinite(error) ? Infinity : response.defocusUm(worst + error) - um;
  const significance = error > 0 && Number.isFinite(error) ? worst / error : 0;
  const status = size === null || response === null ? 'not-measurable' : statusOf(um, errorUm, significance, zone / 2);
  return {
    cause: 'defocus',
    status,
    significance,
    tolerance,
    widens: status === 'not-measurable' ? null : worst,
    ...NO_DIRECTION,
    because:
      status === 'not-measurable'
        ? 'with one focus and a flat field, defocus cannot be told from seeing'
        : significance < DETECT_SIGMAS
          ? 'no defocus seen against the shape of the field'
          : `the field stands off its best compromise focus by ${amounts.physical ? `${um.toFixed(0)} ± ${errorUm.toFixed(0)} µm` : `${plain(worst)} px of blur`}`,
    advice: status === 'fault' ? 'Refocus; the side is not in one frame.' : 'Nothing to do.',
  };
}
