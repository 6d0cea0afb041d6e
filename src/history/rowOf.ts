import { median } from '../numeric/statistics.ts';
import type { FrameRecord, Report, Zone } from '../report/record.ts';
import type { CheckRow, Measured } from './row.ts';

/** Raised when rowOf tells more or otherwise than before: kept rows are then made anew from their reports. */
export const ROW_VERSION = 2;

/** What history trends of one report; the id comes from the database. */
export function rowOf(report: Report): Omit<CheckRow, 'id'> {
  const used = report.frames.filter((frame) => frame.used);
  const first = used[0];
  const { coma, defocus, astigmatism, trefoil, smear } = report.field;
  const floor = sharpestOf(report.zones);
  return {
    ...timeOf(used, report.created),
    created: new Date(report.created).toISOString(),
    rig: report.rig,
    telescope: firstTold(used, 'telescope'),
    camera: firstTold(used, 'camera'),
    filter: firstTold(used, 'filter'),
    subs: used.length,
    exposureS: sumOf(used.map((frame) => frame.exposureS)),
    stars: used.reduce((sum, frame) => sum + frame.starsFitted, 0),
    widthPx: first?.width ?? null,
    heightPx: first?.height ?? null,
    altitudeDeg: meanOf(used.map((frame) => frame.altitudeDeg)),
    azimuthDeg: meanDirection(used.map((frame) => frame.azimuthDeg)),
    pierSide: sameOf(used.map((frame) => frame.pierSide)),
    ...temperatureOf(used),
    focuserPosition: meanOf(used.map((frame) => frame.focusPosition)),
    rotatorAngleDeg: meanDirection(used.map((frame) => frame.rotatorDeg)),
    cameraAngle: report.cameraAngle,
    spikeAngle: spikeAngleOf(report),
    pixelUm: report.scale.pixelUm,
    focalLengthMm: report.scale.focalLengthMm,
    primaryFocalLengthMm: report.scale.primaryFocalLengthMm,
    apertureMm: report.scale.apertureMm,
    arcsecPerPx: report.scale.arcsecPerPx,
    coma3: coma.uniform3,
    comaUm: coma.uniformUm,
    mirrorTilt: coma.mirrorTilt,
    sensorTilt:
      defocus.tiltUm === null
        ? null
        : {
            um: defocus.tiltUm,
            upperLimitUm: defocus.tiltUpperLimitUm,
            axisDeg: defocus.axisDeg,
            axisErrorDeg: defocus.axisErrorDeg,
          },
    curvatureUm: defocus.curvatureUm,
    astigmatism: astigmatism.uniform,
    astigmatismRadial: astigmatism.radial,
    trefoil3: trefoil.uniform3,
    smearPx: smear.px,
    smearAxisDeg: smear.axisDeg,
    fwhmFloorPx: floor?.fwhmPx ?? null,
    fwhmFloorArcsec: floor?.fwhmArcsec ?? null,
    elongation: medianOf(report.zones.flatMap((zone) => zone.elongation ?? [])),
    verdict: report.verdict,
    headline: report.headline,
    faults: report.findings.filter((finding) => finding.status === 'fault').map((finding) => finding.cause),
    sha256: used.flatMap((frame) => frame.sha256 ?? []).sort(),
    reportVersion: report.version,
  };
}

function spikeAngleOf({ orientation: { spikes } }: Report): CheckRow['spikeAngle'] {
  return spikes && { deg: spikes.angleDeg, errorDeg: spikes.errorDeg, moduloDeg: spikes.periodDeg };
}

/** DATE-OBS is UTC (FITS 4.0, sec. 9.2.2), with or without a Z. */
function millisecondsOf(dateObs: string): number {
  return Date.parse(dateObs.endsWith('Z') || !dateObs.includes('T') ? dateObs : `${dateObs}Z`);
}

function timeOf(used: readonly FrameRecord[], created: string): Pick<CheckRow, 'time' | 'timeFrom'> {
  const middles = used.flatMap(({ dateObs, exposureS }) => {
    const start = dateObs === null ? Number.NaN : millisecondsOf(dateObs);
    return Number.isNaN(start) ? [] : [start + 500 * (exposureS ?? 0)];
  });
  const [milliseconds, timeFrom] =
    middles.length > 0
      ? ([(Math.min(...middles) + Math.max(...middles)) / 2, 'subs'] as const)
      : ([created, 'report'] as const);
  return { time: new Date(milliseconds).toISOString(), timeFrom };
}

function temperatureOf(used: readonly FrameRecord[]): Pick<CheckRow, 'temperatureC' | 'temperatureFrom'> {
  // Air and focuser are not averaged: they differ by degrees.
  for (const from of ['ambient', 'focuser'] as const) {
    const mean = meanOf(used.map((frame) => (frame.temperatureFrom === from ? frame.temperatureC : null)));
    if (mean !== null) return { temperatureC: mean, temperatureFrom: from };
  }
  return { temperatureC: null, temperatureFrom: null };
}

function firstTold(used: readonly FrameRecord[], key: 'telescope' | 'camera' | 'filter'): string | null {
  return used.map((frame) => frame[key]).find((value) => value !== null) ?? null;
}

const told = (values: readonly (number | null)[]): number[] => values.flatMap((value) => value ?? []);

function sumOf(values: readonly (number | null)[]): number | null {
  const known = told(values);
  return known.length === 0 ? null : known.reduce((a, b) => a + b, 0);
}

function meanOf(values: readonly (number | null)[]): number | null {
  const sum = sumOf(values);
  return sum === null ? null : sum / told(values).length;
}

/** Mean of angles in degrees, 0..360: of 350 and 10 it is 0. */
function meanDirection(values: readonly (number | null)[]): number | null {
  const known = told(values);
  if (known.length === 0) return null;
  const radians = known.map((deg) => (deg * Math.PI) / 180);
  const x = radians.reduce((sum, angle) => sum + Math.cos(angle), 0);
  const y = radians.reduce((sum, angle) => sum + Math.sin(angle), 0);
  return ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360;
}

/** Null where the subs do not agree. */
function sameOf<T>(values: readonly (T | null)[]): T | null {
  const known = new Set(values.filter((value) => value !== null));
  const [only] = known;
  return known.size === 1 ? (only ?? null) : null;
}

function sharpestOf(zones: readonly Zone[]): Zone | null {
  return zones.reduce<Zone | null>((best, zone) => {
    if (zone.fwhmPx === null) return best;
    return best?.fwhmPx == null || zone.fwhmPx.value < best.fwhmPx.value ? zone : best;
  }, null);
}

/** Median of measured values; its error is sqrt(pi/2) that of the mean (large samples of a normal distribution). */
function medianOf(values: readonly Measured[]): Measured | null {
  if (values.length === 0) return null;
  const ofMean = Math.sqrt(values.reduce((sum, { error }) => sum + error * error, 0)) / values.length;
  return {
    value: median(values.map(({ value }) => value)),
    error: (values.length > 2 ? Math.sqrt(Math.PI / 2) : 1) * ofMean,
  };
}
