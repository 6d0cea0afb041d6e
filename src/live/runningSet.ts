import type { SubRecord } from './subRecord.ts';

/** What divides one running set from the next. */
export type SetCause = 'start' | 'focus' | 'pointing' | 'pause' | 'set-up' | 'nudge' | 'key';

/** Why a sub does not belong with the ones before it, in words for the terminal and the page. */
export interface Break {
  readonly cause: SetCause;
  readonly words: string;
}

/**
 * From which difference on two subs no longer stand for the same telescope. Common practice, no source: autofocus between
 * filters and temperature compensation stay well below, refocusing after a screw was turned goes beyond.
 */
export const JUMPS = {
  /** Where the header tells the focuser's step. */
  focusUm: 150,
  /** Where it does not. */
  focusSteps: 150,
  /** On the sky beyond what the sky itself turns in the time between (15 degrees an hour). */
  pointingDeg: 4,
  skyDegPerMin: 0.25,
  /** A new night, or a long break in which anything may have been touched. */
  pauseMin: 150,
} as const;

/** Null while `next` belongs with `previous`, the last sub of the running set. */
export function breakBetween(previous: SubRecord, next: SubRecord): Break | null {
  const a = previous.facts;
  const b = next.facts;
  if (previous.width !== next.width || previous.height !== next.height || a.mosaic !== b.mosaic)
    return { cause: 'set-up', words: `another frame size or colour layout` };
  if (a.camera !== null && b.camera !== null && a.camera !== b.camera)
    return { cause: 'set-up', words: 'another camera' };
  const minutes = minutesBetween(previous, next);
  if (minutes > JUMPS.pauseMin) return { cause: 'pause', words: `${Math.round(minutes / 60)} h without a sub` };
  if (a.pierSide !== null && b.pierSide !== null && a.pierSide !== b.pierSide)
    return { cause: 'pointing', words: 'the mount changed sides' };
  const turned = separationDeg(a, b);
  if (turned !== null && turned > JUMPS.pointingDeg + JUMPS.skyDegPerMin * minutes)
    return { cause: 'pointing', words: `the telescope points ${turned.toFixed(0)}° away` };
  if (a.object !== null && b.object !== null && a.object !== b.object && turned === null)
    return { cause: 'pointing', words: 'another object' };
  return focusBreak(previous, next);
}

function focusBreak(previous: SubRecord, next: SubRecord): Break | null {
  const [from, to] = [previous.facts.focusPosition, next.facts.focusPosition];
  if (from === null || to === null || previous.facts.filter !== next.facts.filter) return null;
  const steps = Math.abs(to - from);
  const stepUm = next.facts.focusStepUm ?? previous.facts.focusStepUm;
  const jump = stepUm === null ? steps > JUMPS.focusSteps : steps * stepUm > JUMPS.focusUm;
  return jump ? { cause: 'focus', words: `the focuser moved by ${Math.round(steps)} steps` } : null;
}

/** From the header's times, else from the files'. */
function minutesBetween(previous: SubRecord, next: SubRecord): number {
  const time = (sub: SubRecord): number | null => {
    const { dateObs } = sub.facts;
    return dateObs === null
      ? null
      : Date.parse(dateObs.length > 10 && !dateObs.endsWith('Z') ? `${dateObs}Z` : dateObs);
  };
  const [a, b] = [time(previous), time(next)];
  const ms = a !== null && b !== null ? b - a : next.mtimeMs - previous.mtimeMs;
  return Math.abs(ms) / 60_000;
}

const RAD = Math.PI / 180;

/** Angle on the sky between two pointings in altitude and azimuth, degrees. */
function separationDeg(
  a: { altitudeDeg: number | null; azimuthDeg: number | null },
  b: { altitudeDeg: number | null; azimuthDeg: number | null },
): number | null {
  if (a.altitudeDeg === null || b.altitudeDeg === null || a.azimuthDeg === null || b.azimuthDeg === null) return null;
  const [h1, h2, turn] = [a.altitudeDeg * RAD, b.altitudeDeg * RAD, (b.azimuthDeg - a.azimuthDeg) * RAD];
  const cosine = Math.sin(h1) * Math.sin(h2) + Math.cos(h1) * Math.cos(h2) * Math.cos(turn);
  return Math.acos(Math.max(-1, Math.min(1, cosine))) / RAD;
}
