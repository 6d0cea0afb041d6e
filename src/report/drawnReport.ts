import type { CheckRow } from '../history/row.ts';
import { parseReport, type Report } from './record.ts';
import { REPORT_FORMAT, REPORT_VERSION } from './reportFormat.ts';

/** The report that a drawn check would have made: what history keeps of it is the check again. For demonstrations. */
export function drawnReport(check: CheckRow): Report {
  const { coma3, comaUm, mirrorTilt, sensorTilt, fwhmFloorPx, fwhmFloorArcsec, elongation, spikeAngle } = check;
  const exposure = check.exposureS ?? 0;
  const given = check.focalLengthMm === null ? 'unknown' : 'header';
  return parseReport({
    format: REPORT_FORMAT,
    version: REPORT_VERSION,
    created: check.created,
    verdict: check.verdict,
    headline: check.headline,
    needs: null,
    rig: check.rig,
    frames: [
      {
        file: `drawn-${check.id}.fits`,
        used: true,
        whyNot: null,
        width: check.widthPx,
        height: check.heightPx,
        dateObs: new Date(Date.parse(check.time) - 500 * exposure).toISOString(),
        exposureS: check.exposureS,
        filter: check.filter,
        starsFound: check.stars,
        starsFitted: check.stars,
        leftOut: {},
        fwhmPx: fwhmFloorPx?.value ?? null,
        elongation: elongation?.value ?? null,
        camera: check.camera,
        telescope: check.telescope,
        focusPosition: check.focuserPosition,
        altitudeDeg: check.altitudeDeg,
        azimuthDeg: check.azimuthDeg,
        pierSide: check.pierSide,
        temperatureC: check.temperatureC,
        temperatureFrom: check.temperatureFrom,
        rotatorDeg: check.rotatorAngleDeg,
        sha256: check.sha256[0] ?? null,
      },
    ],
    scale: {
      pixelUm: check.pixelUm,
      focalLengthMm: check.focalLengthMm,
      primaryFocalLengthMm: check.primaryFocalLengthMm,
      apertureMm: check.apertureMm,
      arcsecPerPx: check.arcsecPerPx,
      corrector: { present: 'unknown', magnification: null },
      from: {
        pixelUm: given,
        focalLengthMm: given,
        primaryFocalLengthMm: given,
        apertureMm: given,
        corrector: 'unknown',
      },
    },
    cameraAngle: check.cameraAngle,
    orientation: {
      rowOrder: 'TOP-DOWN',
      assumed: false,
      spikes: spikeAngle && {
        angleDeg: spikeAngle.deg,
        errorDeg: spikeAngle.errorDeg,
        periodDeg: spikeAngle.moduloDeg,
        stars: 12,
      },
    },
    zones: Array.from({ length: 9 }, (_, i) => ({
      row: Math.floor(i / 3),
      column: i % 3,
      stars: Math.floor(check.stars / 9),
      fwhmPx: fwhmFloorPx,
      fwhmArcsec: fwhmFloorArcsec,
      elongation,
      axisDeg: null,
      axisErrorDeg: null,
      coma3: null,
      trefoil3: null,
    })),
    field: {
      coma: { uniform3: coma3, linear3PerMm: null, uniformUm: comaUm, node: null, mirrorTilt },
      defocus: {
        centreUm: null,
        tiltUm: sensorTilt?.um ?? null,
        tiltUpperLimitUm: null,
        axisDeg: null,
        axisErrorDeg: null,
        signKnown: false,
        curvatureUm: check.curvatureUm,
      },
      smear: { px: null, axisDeg: null, axisErrorDeg: null, skewRatio: null, perFrame: [] },
      dispersion: null,
      astigmatism: { uniform: null, linearPerMm: null, radial: null },
      trefoil: { uniform3: null, directionDeg: null, directionErrorDeg: null },
    },
    findings: [],
  });
}
