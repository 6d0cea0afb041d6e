import { plateMoves } from '../sweep/plate.ts';
import { calibrateSpacing } from '../sweep/spacing.ts';
import { splitTilt } from '../sweep/turned.ts';
import type { SweepContext } from './sweepContext.ts';
import type { SweepRecord } from './sweepRecord.ts';

export function spacingOf(record: SweepRecord, { calibration }: SweepContext): SweepRecord['spacing'] {
  const { curvature } = record;
  if (curvature?.um == null) return null;
  const known = calibration.flatMap(({ record: other }) =>
    other.spacingMm === null || other.curvature?.um == null
      ? []
      : [
          {
            spacingMm: other.spacingMm,
            curvatureUm: inSense(record, other, other.curvature.um.value),
            errorUm: other.curvature.um.error,
          },
        ],
  );
  const own =
    record.spacingMm === null
      ? []
      : [{ spacingMm: record.spacingMm, curvatureUm: curvature.um.value, errorUm: curvature.um.error }];
  const line = calibrateSpacing([...known, ...own]);
  if (line === null) return { status: 'relative', umPerMm: null, changeMm: null };
  const { value, error } = curvature.um;
  return {
    status: 'calibrated',
    umPerMm: { value: line.umPerMm, error: line.error },
    changeMm: {
      value: -value / line.umPerMm,
      error: Math.hypot(error / line.umPerMm, (value * line.error) / line.umPerMm ** 2),
    },
  };
}

/** A value along the focuser of another record in this one's sense of the readings. */
function inSense(record: SweepRecord, other: SweepRecord, value: number): number {
  const [own, theirs] = [record.focuser.largerReadings, other.focuser.largerReadings];
  return own !== null && theirs !== null && own !== theirs ? -value : value;
}

export function plateOf(record: SweepRecord, { plate }: SweepContext): SweepRecord['plate'] {
  const gradient = record.tilt?.gradient;
  if (plate === null || gradient == null) return null;
  return {
    radiusMm: plate.radiusMm,
    pitchMm: plate.pitchMm,
    screws: plateMoves(plate, gradient, record.focuser.largerReadings).map(
      ({ directionDeg, travelUm, errorUm, turns, shimUm }) => ({
        directionDeg,
        travelUm: { value: travelUm, error: errorUm },
        turns,
        shimUm,
      }),
    ),
  };
}

export function turnedOf(record: SweepRecord, { turned }: SweepContext): SweepRecord['turned'] {
  const all = [record, ...turned.map((t) => t.record)];
  const tilts = all.flatMap((r) =>
    r.cameraAngleDeg === null || r.tilt?.gradient == null
      ? []
      : [
          {
            angleDeg: r.cameraAngleDeg,
            x: inSense(record, r, r.tilt.gradient.x),
            y: inSense(record, r, r.tilt.gradient.y),
            error: r.tilt.gradient.error,
          },
        ],
  );
  const split = splitTilt(tilts);
  const { pixelUm } = record.scale;
  if (split === null || pixelUm === null) return null;
  const of = ({
    x,
    y,
    error,
  }: {
    x: number;
    y: number;
    error: number;
  }): { umAcross: number; error: number; directionDeg: number } => {
    const angle = Math.atan2(y, x);
    const mm =
      ((record.widthPx * Math.abs(Math.cos(angle)) + record.heightPx * Math.abs(Math.sin(angle))) * pixelUm) / 1000;
    return {
      umAcross: Math.hypot(x, y) * mm,
      error: error * mm,
      directionDeg: ((((angle * 180) / Math.PI) % 360) + 360) % 360,
    };
  };
  return {
    camera: of(split.camera),
    tube: of(split.tube),
    angles: split.angles,
    sense: split.sense === 1 ? 'counter-clockwise' : 'clockwise',
    senseSeen: split.senseSeen,
    widened: split.angles < 3,
    misfitSigma: split.misfitSigma,
  };
}

export function againstOf(record: SweepRecord, { against }: SweepContext): SweepRecord['against'] {
  if (against === null) return null;
  const { file, record: before } = against;
  const [now, then] = [record.tilt?.gradient ?? null, before.tilt?.gradient ?? null];
  const turned =
    then === null ? null : { ...then, x: inSense(record, before, then.x), y: inSense(record, before, then.y) };
  const change =
    now === null || turned === null
      ? null
      : { x: now.x - turned.x, y: now.y - turned.y, error: Math.hypot(now.error, turned.error) };
  const [c, b] = [record.curvature?.um ?? null, before.curvature?.um ?? null];
  const beforeCurvature = b === null ? null : { value: inSense(record, before, b.value), error: b.error };
  return {
    file,
    created: before.created,
    tiltBeforeUm: before.tilt?.umAcross ?? null,
    tiltChange: change,
    tiltChangeSigma: change === null ? null : Math.hypot(change.x, change.y) / change.error,
    curvatureBeforeUm: beforeCurvature,
    curvatureChangeUm:
      c === null || beforeCurvature === null
        ? null
        : { value: c.value - beforeCurvature.value, error: Math.hypot(c.error, beforeCurvature.error) },
    gradientBefore: turned,
  };
}
