import type { Against } from './againstRecord.ts';
import type { Report } from './record.ts';

/** What of two reports may be held against each other. */
export interface Comparability {
  readonly comparable: Against['comparable'];
  /** Degrees counter-clockwise on the screen, with its error; null where it is not known. */
  readonly turned: { readonly deg: number; readonly errorDeg: number } | null;
  /** Stars are equally large within this: shapes answer alike to the same fault. */
  readonly alike: boolean;
  readonly caveats: readonly string[];
}

/** Lengths that differ by more are another telescope, not another way to measure the same one. */
const SAME_LENGTH = 0.02;
/** Star sizes within this share: the coma of a star then stands for the same tilt, if focus was alike too. */
const ALIKE_SIZE = 0.1;
/** Rotators come back to their place within this, degrees; spikes are measured to a fraction of it. */
const SAME_ANGLE_DEG = 2;

export function comparabilityOf(before: Report, after: Report, toldTurnDeg: number | null): Comparability {
  const other = otherTelescope(before, after);
  if (other !== null) return { comparable: 'nothing', turned: null, alike: false, caveats: [other] };
  const caveats = [...setupCaveats(before, after)];
  const turn = turnOf(before, after, toldTurnDeg);
  const [one, two] = [sizeOf(before), sizeOf(after)];
  const scaled = (before.scale.arcsecPerPx === null) === (after.scale.arcsecPerPx === null);
  const alike = scaled && one !== null && two !== null && one > 0 && Math.abs(two / one - 1) <= ALIKE_SIZE;
  if (!alike)
    caveats.push(
      'Seeing or focus differ between the two, and the stars’ shapes answer to that too: only amounts in arcminutes and micrometres are compared.',
    );
  if (turn.caveat !== '') caveats.push(turn.caveat);
  return { comparable: turn.turned === null ? 'amounts' : 'directions', turned: turn.turned, alike, caveats };
}

/**
 * Mean star size over the zones less what the coma itself adds, arcseconds, or pixels where the scale is not known: what seeing
 * and focus made of the stars.
 */
function sizeOf(report: Report): number | null {
  const sizes = report.zones.flatMap((zone) => zone.fwhmPx?.value ?? []);
  if (sizes.length === 0) return null;
  const mean = sizes.reduce((a, b) => a + b, 0) / sizes.length;
  const coma = report.findings.find(({ cause }) => cause === 'miscollimation')?.widensPx ?? 0;
  return Math.sqrt(Math.max(0, mean * mean - coma * coma)) * (report.scale.arcsecPerPx ?? 1);
}

function otherTelescope(before: Report, after: Report): string | null {
  const lengths = [
    ['aperture', before.scale.apertureMm, after.scale.apertureMm],
    ['focal length of the primary', before.scale.primaryFocalLengthMm, after.scale.primaryFocalLengthMm],
  ] as const;
  for (const [name, one, two] of lengths)
    if (one !== null && two !== null && Math.abs(two / one - 1) > SAME_LENGTH)
      return `The earlier report is of another telescope: its ${name} is ${one} mm, here it is ${two} mm.`;
  return null;
}

function setupCaveats(before: Report, after: Report): string[] {
  const told = (report: Report, name: 'camera' | 'filter'): string | null =>
    report.frames.find((frame) => frame.used && frame[name] !== null)?.[name] ?? null;
  const differs = <T>(one: T | null, two: T | null): boolean => one !== null && two !== null && one !== two;
  return [
    differs(told(before, 'camera'), told(after, 'camera'))
      ? 'The cameras differ: their own tilt is part of the change.'
      : '',
    differs(told(before, 'filter'), told(after, 'filter'))
      ? 'The filters differ: colour changes star sizes and dispersion.'
      : '',
    differs(before.scale.focalLengthMm, after.scale.focalLengthMm)
      ? 'The focal lengths differ (corrector or reducer changed): a part of the change is theirs.'
      : '',
    differs(pierSideOf(before), pierSideOf(after))
      ? 'The mount stood on the other side of the pier: what sags under its own weight is part of the change.'
      : '',
  ].filter((text) => text !== '');
}

const pierSideOf = (report: Report): string | null =>
  report.frames.find((frame) => frame.used && frame.pierSide !== null)?.pierSide ?? null;

interface Turn {
  readonly turned: Comparability['turned'];
  readonly caveat: string;
}

/** By how much the camera was turned, from what was told, from the camera angle, or from the rotator. */
function turnOf(before: Report, after: Report, toldDeg: number | null): Turn {
  if (toldDeg !== null) return { turned: { deg: toldDeg, errorDeg: 0 }, caveat: '' };
  const only = 'Amounts are compared, directions are not (--turned DEGREES tells the angle).';
  const shape = (report: Report): string | null => {
    const frame = report.frames.find(({ used }) => used);
    return frame === undefined || frame.width === null || frame.height === null
      ? null
      : frame.width > frame.height
        ? 'wide'
        : 'high';
  };
  if (
    before.orientation.rowOrder !== after.orientation.rowOrder &&
    (before.orientation.assumed || after.orientation.assumed)
  )
    return { turned: null, caveat: `One of the reports only assumed which way up its frames stand. ${only}` };
  const told = turnBetween(before.cameraAngle, after.cameraAngle);
  const spikes = turnBetween(spikesOf(before), spikesOf(after));
  if (told !== null && told.period >= 360) {
    const off = spikes === null ? 0 : nearestTurn(told.deg - spikes.deg, spikes.period);
    return Math.abs(off) <= sameWithin(spikes?.errorDeg ?? 0)
      ? { turned: told, caveat: '' }
      : {
          turned: null,
          caveat: `The spikes contradict the camera angle that was told, by ${Math.abs(off).toFixed(0)}°. ${only}`,
        };
  }
  const measured = told ?? spikes;
  if (measured !== null) {
    const { deg, errorDeg, period } = measured;
    return Math.abs(deg) <= sameWithin(errorDeg)
      ? {
          turned: { deg: 0, errorDeg },
          caveat: `The spikes stand as before: taken as not turned (a turn by ${period}° would look the same).`,
        }
      : { turned: null, caveat: `The camera was turned (by ${Math.round(deg)}° or ${period}° more or less). ${only}` };
  }
  if (shape(before) !== null && shape(after) !== null && shape(before) !== shape(after))
    return { turned: null, caveat: `The frames stand upright in one report and across in the other. ${only}` };
  const [from, to] = [rotatorOf(before), rotatorOf(after)];
  if (from !== null && to !== null) {
    const deg = nearestTurn(to - from, 360);
    return Math.abs(deg) <= SAME_ANGLE_DEG
      ? { turned: { deg: 0, errorDeg: 0 }, caveat: '' }
      : {
          turned: null,
          caveat: `The rotator was turned by ${Math.abs(deg).toFixed(0)}°, its sense is not known. ${only}`,
        };
  }
  return {
    turned: { deg: 0, errorDeg: 0 },
    caveat: 'Nothing tells whether the camera was turned: taken as it stood (--turned DEGREES if it was).',
  };
}

interface Mark {
  readonly deg: number;
  readonly errorDeg: number;
  readonly moduloDeg: number;
}

/** From one direction of the same mark on the tube to the other, the smallest of the turns that look the same. */
function turnBetween(one: Mark | null, two: Mark | null): { deg: number; errorDeg: number; period: number } | null {
  if (one === null || two === null) return null;
  const period = Math.min(one.moduloDeg, two.moduloDeg);
  return { deg: nearestTurn(two.deg - one.deg, period), errorDeg: Math.hypot(one.errorDeg, two.errorDeg), period };
}

function spikesOf({ orientation: { spikes } }: Report): Mark | null {
  return spikes === null ? null : { deg: spikes.angleDeg, errorDeg: spikes.errorDeg, moduloDeg: spikes.periodDeg };
}

const sameWithin = (errorDeg: number): number => Math.max(SAME_ANGLE_DEG, 3 * errorDeg);

const rotatorOf = (report: Report): number | null =>
  report.frames.find((frame) => frame.used && frame.rotatorDeg !== null)?.rotatorDeg ?? null;

/** The turn nearest to none, of those that look the same. */
function nearestTurn(deg: number, period: number): number {
  const turn = ((deg % period) + period) % period;
  return turn > period / 2 ? turn - period : turn;
}
