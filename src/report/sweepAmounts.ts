import type { Setup } from '../diagnosis/setup.ts';
import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import { median } from '../numeric/statistics.ts';
import { shadowPerRadius } from '../sweep/donut.ts';
import type { FocusFit, Uncertain2 } from '../sweep/focusFit.ts';
import { readingAt, type SweepMeasurement } from '../sweep/measureSweep.ts';
import type { Screen } from './screen.ts';
import type { SweepContext } from './sweepContext.ts';
import type { SweepRecord } from './sweepRecord.ts';

export interface Lengths {
  /** um towards larger readings for each t; null where steps have no length. */
  readonly um: number | null;
  /** Half diagonal, mm; null without pixel size. */
  readonly halfMm: number | null;
  readonly halfPx: number;
}

export function lengthsOf(focus: FocusFit, setup: Setup, umPerStep: number | null): Lengths {
  const halfPx = 0.5 * Math.hypot(setup.width, setup.height);
  return {
    um: umPerStep === null ? null : umPerStep * focus.scale.half,
    halfMm: setup.pixelUm.value === null ? null : (halfPx * setup.pixelUm.value) / 1000,
    halfPx,
  };
}

/** What is left uncertain of the response of holes to coma. */
const HOLE_SHARE = 0.08;
const DETECT_SIGMAS = 3;
/** FWHM of a star over sqrt(<r^2>) within the aperture, focused. */
const FWHM_PER_RMS = 1.65;
const CORNERS = ['top left', 'top right', 'bottom left', 'bottom right'] as const;

export const errorAt = (fit: FocusFit, j: number): number => Math.sqrt(fit.covariance[j * 4 + j]);

export function focusOf(measurement: SweepMeasurement, fit: FocusFit, context: SweepContext): SweepRecord['focus'] {
  const { half } = fit.scale;
  const c = fit.covariance;
  // Mean of u^2 + v^2 over the frame is 1/3 in half-diagonals.
  const third = 1 / 3;
  const compromise = Math.sqrt(c[0] + 2 * third * c[3] + third * third * c[15]);
  const sharp = measurement.used.flatMap(({ measured }) => measured.fwhm ?? []).sort((a, b) => a.value - b.value)[0];
  const floor = median(fit.floors.map((f) => f.value));
  const byFloor = FWHM_PER_RMS * Math.sqrt(floor);
  const spread = fit.floors.map((f) => FWHM_PER_RMS * Math.sqrt(f.value));
  const fwhmPx = {
    value: sharp ? Math.min(sharp.value, 1.1 * byFloor) : byFloor,
    error: Math.max(0.01, half3(spread)),
  };
  const { pixelUm, focalLengthMm, apertureMm } = context.setup;
  const known = pixelUm.value !== null && focalLengthMm.value !== null && apertureMm.value !== null;
  return {
    middleReading: { value: readingAt(fit, fit.best[0]), error: errorAt(fit, 0) * half },
    compromiseReading: { value: readingAt(fit, fit.best[0] + third * fit.best[3]), error: compromise * half },
    fwhmPx,
    zoneUm: known
      ? focusZoneUm(fwhmPx.value, pixelUm.value ?? 0, focalLengthMm.value ?? 1, apertureMm.value ?? 1)
      : null,
  };
}

/** Half the range that two thirds of the values span. */
function half3(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const at = (q: number): number => sorted[Math.round(q * (sorted.length - 1))];
  return (at(0.84) - at(0.16)) / 2;
}

/** Seeing-limited critical focus zone, full width, 10 % widening (Goldman & Megdal, Sky & Telescope, August 2010). */
function focusZoneUm(fwhmPx: number, pixelUm: number, focalMm: number, apertureMm: number): number {
  const seeing = (206.264806 * fwhmPx * pixelUm) / focalMm;
  return 0.00225 * seeing * Math.sqrt(10) * apertureMm * (focalMm / apertureMm) ** 2;
}

export function tiltOf(fit: FocusFit, lengths: Lengths, screen: Screen, context: SweepContext): SweepRecord['tilt'] {
  const { setup, largerReadings } = context;
  const [u, v] = [fit.best[1], fit.best[2]];
  const length = Math.hypot(u, v);
  const error = Math.sqrt((errorAt(fit, 1) ** 2 + errorAt(fit, 2) ** 2) / 2);
  const angle = Math.atan2(v, u);
  const significance = length / error;
  const seen = significance >= DETECT_SIGMAS;
  // Edge to edge along a direction, in half-diagonals.
  const extent = (a: number): number =>
    (setup.width * Math.abs(Math.cos(a)) + setup.height * Math.abs(Math.sin(a))) / lengths.halfPx;
  const across = length * extent(angle);
  const acrossError = error * extent(angle);
  const largerDeg = seen ? screen.directionDeg(angle) : null;
  const { um, halfMm } = lengths;
  const perMm = um === null || halfMm === null ? null : um / halfMm;
  const toward = screen.vector({ x: u, y: v, error });
  return {
    gradient: perMm === null ? null : { x: toward.x * perMm, y: toward.y * perMm, error: error * perMm },
    umAcross: um === null ? null : { value: across * um, error: acrossError * um },
    upperLimitUm: seen || um === null ? null : (across + 2 * error * extent(angle)) * um,
    readingsAcross: { value: across * fit.scale.half, error: acrossError * fit.scale.half },
    arcmin:
      perMm === null
        ? null
        : { value: ((length * perMm) / 1000) * ARCMIN_PER_RAD, error: ((error * perMm) / 1000) * ARCMIN_PER_RAD },
    significance,
    largerDeg,
    nearMirrorDeg:
      largerDeg === null || largerReadings === null
        ? null
        : largerReadings === 'out'
          ? largerDeg
          : (largerDeg + 180) % 360,
    directionErrorDeg: seen ? Math.min(90, ((error / length) * 180) / Math.PI) : null,
    corners: um === null ? [] : cornersOf(toward, error, setup, lengths.halfPx, um),
  };
}

function cornersOf(
  toward: Uncertain2,
  error: number,
  setup: Setup,
  halfPx: number,
  um: number,
): { corner: string; um: number; error: number }[] {
  const [x, y] = [setup.width / 2 / halfPx, setup.height / 2 / halfPx];
  const places = [
    [-x, y],
    [x, y],
    [-x, -y],
    [x, -y],
  ] as const;
  return places.map(([px, py], i) => ({
    corner: CORNERS[i],
    um: (toward.x * px + toward.y * py) * um,
    error: error * Math.hypot(px, py) * um,
  }));
}

export function curvatureOf(fit: FocusFit, lengths: Lengths, context: SweepContext): SweepRecord['curvature'] {
  const value = fit.best[3];
  const error = errorAt(fit, 3);
  const { um, halfMm } = lengths;
  const significance = Math.abs(value) / error;
  const seen = significance >= DETECT_SIGMAS;
  const { largerReadings } = context;
  return {
    um: um === null ? null : { value: value * um, error: error * um },
    readings: { value: value * fit.scale.half, error: error * fit.scale.half },
    significance,
    // Sag of the corner r^2/(2 R).
    radiusMm: !seen || um === null || halfMm === null ? null : (halfMm * halfMm * 1000) / (2 * Math.abs(value * um)),
    towards: !seen || largerReadings === null ? null : value > 0 === (largerReadings === 'out') ? 'camera' : 'mirror',
  };
}

export function astigmatismOf(
  measurement: SweepMeasurement,
  lengths: Lengths | null,
  screen: Screen,
  { setup }: SweepContext,
): SweepRecord['astigmatism'] {
  const { astigmatism } = measurement;
  if (astigmatism === null || lengths === null) return null;
  const { uniform, linear, radial, smear } = astigmatism;
  const { um, halfMm } = lengths;
  const scaled = (v: Uncertain2, by: number): Uncertain2 => {
    const turned = screen.vector(v);
    return { x: turned.x * by, y: turned.y * by, error: turned.error * by };
  };
  const size = Math.hypot(uniform.x, uniform.y);
  const [focal, aperture] = [setup.focalLengthMm.value, setup.apertureMm.value];
  const n = focal === null || aperture === null ? null : focal / aperture;
  const seen = size / uniform.error >= DETECT_SIGMAS;
  return {
    uniformFocusUm: um === null ? null : scaled(uniform, um),
    uniformWaveUm:
      um === null || n === null
        ? null
        : { value: (size * um) / (8 * n * n), error: (uniform.error * um) / (8 * n * n) },
    significance: size / uniform.error,
    longAtLargerDeg: seen ? screen.axisDeg(0.5 * Math.atan2(uniform.y, uniform.x)) : null,
    linearFocusUmPerMm: um === null || halfMm === null ? null : scaled(linear, um / halfMm),
    linearSignificance: Math.hypot(linear.x, linear.y) / linear.error,
    radialFocusUm: um === null ? null : { value: radial.value * um, error: radial.error * um },
    radialSignificance: Math.abs(radial.value) / radial.error,
    smearPx: Math.sqrt(12 * Math.hypot(smear.x, smear.y)),
  };
}

export function comaOf(measurement: SweepMeasurement, screen: Screen, { setup }: SweepContext): SweepRecord['coma'] {
  const { donuts, focus, optics } = measurement;
  if (donuts === null || focus === null || optics === null) return null;
  const n = optics.focalLengthMm / optics.apertureMm;
  // The hole moves towards the head, the tail points the other way.
  const toWave = -optics.pixelUm / (6 * n * (1 - optics.obstruction ** 2));
  const c = { x: donuts.even.x * toWave, y: donuts.even.y * toWave };
  const length = Math.hypot(c.x, c.y);
  const statistical = donuts.even.error * Math.abs(toWave);
  const waveUm = screen.vector({ ...c, error: Math.hypot(statistical, HOLE_SHARE * length) });
  const significance = length / statistical;
  const seen = significance >= DETECT_SIGMAS;
  const primary = setup.primaryFocalLengthMm.value;
  // c = tau D/(32 N^2) with the primary's own focal ratio.
  const perUm =
    primary === null ? null : (32 * (primary / optics.apertureMm) ** 2 * ARCMIN_PER_RAD) / (1000 * optics.apertureMm);
  const shadow = 1 / shadowPerRadius(focus, optics);
  const offset = screen.vector({
    x: donuts.odd.x * shadow,
    y: donuts.odd.y * shadow,
    error: donuts.odd.error * shadow,
  });
  return {
    waveUm,
    significance,
    tailDeg: seen ? screen.directionDeg(Math.atan2(c.y, c.x)) : null,
    tailErrorDeg: seen ? ((statistical / length) * 180) / Math.PI : null,
    primaryTiltArcmin: perUm === null ? null : { value: length * perUm, error: waveUm.error * perUm },
    shadowOffset: offset,
    discs: donuts.discs,
    bothSides: Math.min(...donuts.sides) > 0,
  };
}
