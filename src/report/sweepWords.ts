import { COMA_TOLERANCE_UM } from '../diagnosis/tolerances.ts';
import { fixed, plusMinus } from './amounts.ts';
import type { SweepRecord } from './sweepRecord.ts';
import { capital, directionWords } from './wording.ts';

/** The sentences of a sweep: one place for terminal, text and page. */

const FAULT_SIGMAS = 5;
const SEEN_SIGMAS = 3;

type Tilt = NonNullable<SweepRecord['tilt']>;

/** Whether tilt is both sure and larger than the zone in which focus passes for the same. */
export function tiltIsFault({ tilt, focus }: SweepRecord): boolean {
  return isBeyond(tilt?.umAcross?.value ?? null, tilt?.significance ?? 0, focus?.zoneUm ?? null);
}

/** The same for the corners against the middle. */
export function curvatureIsFault({ curvature, focus }: SweepRecord): boolean {
  return isBeyond(curvature?.um?.value ?? null, curvature?.significance ?? 0, focus?.zoneUm ?? null);
}

export function comaIsFault({ coma }: SweepRecord): boolean {
  if (coma === null || coma.significance < FAULT_SIGMAS) return false;
  return Math.hypot(coma.waveUm.x, coma.waveUm.y) > COMA_TOLERANCE_UM;
}

function isBeyond(um: number | null, significance: number, zone: number | null): boolean {
  if (um === null || significance < FAULT_SIGMAS) return false;
  return Math.abs(um) > (zone ?? 0);
}

/** 'The upper right side stands too near the mirror', or what is known without the focuser's sense. */
export function sideWords(tilt: Tilt): string {
  if (tilt.nearMirrorDeg !== null)
    return `the ${directionWords(tilt.nearMirrorDeg)} of the picture stands too near the mirror`;
  if (tilt.largerDeg !== null)
    return `the ${directionWords(tilt.largerDeg)} of the picture reaches focus at larger readings`;
  return 'no direction is seen';
}

export function sweepWords(record: SweepRecord): { readonly headline: string; readonly next: string } {
  if (record.focus === null)
    return { headline: 'Cannot tell: the run shows no best focus.', next: `Needed: ${record.needs ?? 'another run'}.` };
  return { headline: headlineOf(record), next: nextOf(record) };
}

function headlineOf(record: SweepRecord): string {
  const { tilt, curvature } = record;
  if (tilt !== null && tilt.umAcross === null) {
    const amount = `${plusMinus(tilt.readingsAcross)} ${record.focuser.unit}`;
    return tilt.significance >= FAULT_SIGMAS
      ? `Best focus changes by ${amount} edge to edge; ${sideWords(tilt)}.`
      : `No sure tilt: best focus is the same edge to edge within ${amount}.`;
  }
  const parts: string[] = [];
  if (tilt?.umAcross && tiltIsFault(record))
    parts.push(`best focus changes by ${plusMinus(tilt.umAcross)} µm edge to edge; ${sideWords(tilt)}`);
  if (curvature?.um && curvatureIsFault(record))
    parts.push(
      `${parts.length > 0 ? 'and ' : ''}the corners reach focus ${plusMinus(magnitude(curvature.um))} µm ${curvatureSide(record)}`,
    );
  if (parts.length > 0) return capital(`${parts.join(', ')}.`);
  const zone = record.focus?.zoneUm;
  const limit = tilt?.umAcross
    ? `best focus changes by ${tilt.significance >= SEEN_SIGMAS ? plusMinus(tilt.umAcross) : `less than ${fixed(Math.max(1, tilt.upperLimitUm ?? tilt.umAcross.value), 0)}`} µm edge to edge`
    : 'no tilt is seen';
  return `Within tolerance: ${limit}${zone == null ? '' : `, the focus zone is ${fixed(zone, 0)} µm`}.`;
}

const magnitude = ({ value, error }: { value: number; error: number }): { value: number; error: number } => ({
  value: Math.abs(value),
  error,
});

/** Where the corners' focus lies against the middle's. */
export function curvatureSide({ curvature }: SweepRecord): string {
  if (curvature === null) return '';
  if (curvature.towards === 'mirror') return 'nearer the mirror than the middle';
  if (curvature.towards === 'camera') return 'further from the mirror than the middle';
  return (curvature.um?.value ?? curvature.readings.value) > 0
    ? 'at larger readings than the middle'
    : 'at smaller readings than the middle';
}

function nextOf(record: SweepRecord): string {
  const { tilt, coma, focus } = record;
  if (comaIsFault(record) && coma !== null) {
    const amount = coma.primaryTiltArcmin ? ` (primary off by ${plusMinus(coma.primaryTiltArcmin)}′)` : '';
    return `Collimate first${amount}: run check on a sub near focus, follow its arrow, then sweep again before touching the camera.`;
  }
  if (tilt !== null && (tiltIsFault(record) || (tilt.umAcross === null && tilt.significance >= FAULT_SIGMAS)))
    return tiltMove(record, tilt);
  if (focus !== null && curvatureIsFault(record))
    return `${spacingWords(record)} Until then focus at reading ${plusMinus(focus.compromiseReading)}, the best for the whole field.`;
  return focus === null
    ? ''
    : `Nothing to square. Focus at reading ${plusMinus(focus.compromiseReading)} for the whole field.`;
}

function tiltMove(record: SweepRecord, tilt: Tilt): string {
  const { plate } = record;
  const side = directionWords(tilt.largerDeg ?? 0);
  const amount = tilt.umAcross
    ? `${plusMinus(tilt.umAcross)} µm`
    : `${plusMinus(tilt.readingsAcross)} ${record.focuser.unit}`;
  if (plate !== null) return `${plateWords(record)} Then take another run: one change at a time.`;
  const way = { out: 'away from the mirror', in: 'towards the mirror' };
  const known = record.focuser.largerReadings;
  const where = known === null ? 'the way the focuser moves the camera for larger readings' : way[known];
  const sense = known === null ? ' (--larger-readings out or in says which way that is)' : '';
  return (
    `At the plate or with shims, move the side of the sensor that makes the ${side} of the picture ${where}${sense}, ` +
    `until both edges differ by ${amount} less; --plate RADIUS,PITCH gives turns for each screw. Then take another run.`
  );
}

/** What each screw of the plate has to do. */
export function plateWords({ plate, focuser }: SweepRecord): string {
  if (plate === null) return '';
  const way = focuser.largerReadings;
  const words = plate.screws.map(({ directionDeg, travelUm, turns, shimUm }) => {
    const value = way === 'in' ? -travelUm.value : travelUm.value;
    const size = `${plusMinus({ value: Math.abs(value), error: travelUm.error })} µm`;
    const outward =
      way === null ? (value >= 0 ? 'towards larger readings' : 'towards smaller readings') : value >= 0 ? 'out' : 'in';
    const turning = turns === null ? '' : ` (${fixed(Math.abs(turns), 2)} turns)`;
    const shim = plate.pitchMm === null && shimUm !== null ? `, shim ${fixed(shimUm, 0)} µm` : '';
    return `at ${fixed(directionDeg, 0)}° ${size} ${outward}${turning}${shim}`;
  });
  return `Screws by their place in the picture: ${words.join('; ')}.`;
}

export function spacingWords({ spacing, curvature }: SweepRecord): string {
  if (spacing === null || curvature === null) return '';
  if (spacing.changeMm !== null) {
    const { value, error } = spacing.changeMm;
    return `Corrector spacing, calibrated on known spacings: ${value > 0 ? 'add' : 'take out'} ${plusMinus({ value: Math.abs(value), error })} mm between corrector and sensor for a flat field.`;
  }
  return 'Whether the corrector stands too near or too far does not follow from one spacing: sweep at two known ones (--spacing MM, then --calibration with their records).';
}

/** Which part of the tilt turns with the camera. */
export function turnedWords({ turned }: SweepRecord): string {
  if (turned === null) return '';
  const { camera, tube, angles, widened, sense, senseSeen, misfitSigma } = turned;
  const amount = (part: { umAcross: number; error: number; directionDeg: number }): string =>
    part.umAcross < 2 * part.error
      ? `${fixed(part.umAcross, 0)} ± ${fixed(part.error, 0)} µm (not sure)`
      : `${plusMinus({ value: part.umAcross, error: part.error })} µm towards ${fixed(part.directionDeg, 0)}°`;
  const doubt = widened
    ? ' Two camera angles leave nothing to check this by: errors are doubled, a third angle is wanted.'
    : misfitSigma !== null && misfitSigma > 3
      ? ` The angles do not agree (${fixed(misfitSigma, 1)} times their errors): something else moved.`
      : '';
  const counted = senseSeen ? '' : ` Camera angles taken as counter-clockwise in the picture.`;
  return `From ${angles} camera angles (${sense}): ${amount(camera)} edge to edge turns with the camera, ${amount(tube)} stays with the tube.${doubt}${widened || senseSeen ? '' : counted}`;
}

/** Before and after. */
export function againstWords({ against, tilt, curvature }: SweepRecord): string {
  if (against === null) return '';
  const parts: string[] = [];
  if (against.tiltBeforeUm && tilt?.umAcross) {
    const sure = (against.tiltChangeSigma ?? 0) >= SEEN_SIGMAS;
    const helped = tilt.umAcross.value < against.tiltBeforeUm.value;
    parts.push(
      `tilt was ${plusMinus(against.tiltBeforeUm)} µm, now ${plusMinus(tilt.umAcross)} µm edge to edge: ` +
        (sure ? (helped ? 'the change helped' : 'the change made it worse') : 'no sure change'),
    );
  }
  if (against.curvatureBeforeUm && curvature?.um && curvature.significance >= SEEN_SIGMAS)
    parts.push(
      `corners were ${plusMinus(against.curvatureBeforeUm)} µm off the middle, now ${plusMinus(curvature.um)} µm`,
    );
  return parts.length === 0 ? '' : `${capital(parts.join('; '))}.`;
}
