import type { SweepKnowledge } from '../sweep/knowledge.ts';
import type { SweepRecord } from './sweepRecord.ts';

/** What a sweep settled, turned to 'inside focus' (nearer the mirror positive). */
export function sweepKnowledge(record: SweepRecord): SweepKnowledge {
  const { focuser, focus, tilt, curvature, astigmatism, coma, scale } = record;
  const { largerReadings } = focuser;
  // What reaches focus further out stands inside focus at a common reading.
  const out = largerReadings === 'in' ? -1 : 1;
  const times = record.frames.flatMap((f) => f.dateObs ?? []).sort();
  const n = scale.focalLengthMm === null || scale.apertureMm === null ? null : scale.focalLengthMm / scale.apertureMm;
  const uniform = astigmatism?.uniformFocusUm ?? null;
  // Moving out makes d smaller: a = -A/(8 N^2) for A towards larger readings that move out.
  const toWave = n === null ? null : -out / (8 * n * n);
  return {
    created: record.created,
    camera: record.camera,
    width: record.widthPx,
    height: record.heightPx,
    pixelUm: scale.pixelUm,
    cameraAngleDeg: record.cameraAngleDeg,
    from: times[0] ?? null,
    to: times.at(-1) ?? null,
    umPerStep: focuser.umPerStep,
    largerReadings,
    bestReading: focus?.middleReading ?? null,
    compromiseReading: focus?.compromiseReading ?? null,
    seeingFwhmPx: focus?.fwhmPx ?? null,
    tilt: tilt?.gradient ? { x: out * tilt.gradient.x, y: out * tilt.gradient.y, error: tilt.gradient.error } : null,
    curvatureUm: curvature?.um ? { value: out * curvature.um.value, error: curvature.um.error } : null,
    astigmatismUm:
      uniform === null || toWave === null
        ? null
        : { x: toWave * uniform.x, y: toWave * uniform.y, error: Math.abs(toWave) * uniform.error },
    comaUm: coma?.waveUm ?? null,
    primaryTiltArcmin: coma?.primaryTiltArcmin ?? null,
    signKnown: largerReadings !== null,
  };
}
