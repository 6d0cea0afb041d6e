import { pxPerArcmin } from '../diagnosis/starShift.ts';
import { COMA_TOLERANCE_UM, tiltForComa } from '../diagnosis/tolerances.ts';
import type { Report } from '../report/record.ts';
import type { Vector2 } from './gaussian.ts';

/**
 * What a report says of the primary: how far off it is, as a vector along the coma tail on the screen (arcminutes of tilt,
 * x right, y up). The move that nulls it carries the stars along it.
 */
export interface Sight {
  readonly at: string;
  readonly verdict: Report['verdict'];
  readonly status: 'fault' | 'within-tolerance' | 'not-detected' | 'not-measurable';
  /** Null where the optics are not known or nothing could be measured. */
  readonly tilt: Vector2 | null;
  /** 1 sigma of each component, noise only. */
  readonly errorArcmin: number;
  /** 1 sigma of the length as a share: one focus leaves the amount open. */
  readonly scaleError: number;
  /** 1 sigma of the direction beside the noise, radians: drawn-out stars tell it badly. */
  readonly directionError: number;
  readonly toleranceArcmin: number | null;
  /** Travel of a star while the primary tilts by one arcminute, pixels. */
  readonly pxPerArcmin: number | null;
  readonly rowOrder: 'TOP-DOWN' | 'BOTTOM-UP';
  readonly needs: string | null;
}

/** Noise below which no measured tilt is believed, arcminutes a component. */
const LEAST_ERROR = 0.08;
/** An interval shorter than this share of its amount is taken for one so wide. */
const LEAST_SCALE_ERROR = 0.05;

const DEG = Math.PI / 180;

/** What is left of an error without the part that is known to be in it. */
const beside = (error: number, part: number): number => Math.sqrt(Math.max(0, error ** 2 - part ** 2));

export function sightOf(report: Report): Sight {
  const { coma } = report.field;
  const finding = report.findings.find(({ cause }) => cause === 'miscollimation');
  const { mirrorTilt, uniform3 } = coma;
  const length = uniform3 === null ? 0 : Math.hypot(uniform3.x, uniform3.y);
  const known = mirrorTilt !== null && uniform3 !== null;
  const scale = known && length > 0 ? mirrorTilt.arcmin / length : 0;
  return {
    at: report.created,
    verdict: report.verdict,
    status: finding?.status ?? 'not-measurable',
    tilt: known ? { x: uniform3.x * scale, y: uniform3.y * scale } : null,
    errorArcmin: known ? Math.max(LEAST_ERROR, uniform3.error * scale) : 0,
    scaleError:
      known && mirrorTilt.arcmin > 0
        ? Math.min(0.5, Math.max(LEAST_SCALE_ERROR, (mirrorTilt.minus + mirrorTilt.plus) / (2 * mirrorTilt.arcmin)))
        : LEAST_SCALE_ERROR,
    directionError: known && length > 0 ? beside((finding?.directionErrorDeg ?? 0) * DEG, uniform3.error / length) : 0,
    toleranceArcmin: toleranceOf(report),
    pxPerArcmin: travelOf(report),
    rowOrder: report.orientation.rowOrder,
    needs: report.needs,
  };
}

function toleranceOf({ scale }: Report): number | null {
  const { apertureMm, primaryFocalLengthMm, focalLengthMm } = scale;
  const focal = primaryFocalLengthMm ?? focalLengthMm;
  if (apertureMm === null || focal === null) return null;
  return tiltForComa(COMA_TOLERANCE_UM, apertureMm, focal);
}

function travelOf({ scale }: Report): number | null {
  const { focalLengthMm, pixelUm } = scale;
  return focalLengthMm === null || pixelUm === null ? null : pxPerArcmin(focalLengthMm, pixelUm);
}
