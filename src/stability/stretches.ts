import type { CheckRow } from '../history/row.ts';

/** How the camera stood in the tube at one check, against the end of its stretch. */
export interface Placed {
  /** Number of the stretch; null where the camera's angle is not known at all. */
  readonly stretch: number | null;
  /** Turns the check's vectors on the screen into those of the stretch's last check, radians counter-clockwise. */
  readonly turn: number;
}

/** Why a stretch begins: the trend of vectors is broken there. */
export interface StretchStart {
  /** Index of the stretch's first check. */
  readonly first: number;
  readonly why: 'first' | 'turned' | 'sources disagree' | 'sense unknown' | 'nothing in common';
}

/** Angles that differ by less are the same, degrees: rotators and told angles; spikes besides their errors. */
const SAME_DEG = 1;
const SAME_SPIKES_DEG = 1.5;
const SPIKE_SIGMAS = 4;

interface Known {
  readonly angles: Angles;
  /** The camera's angle then, degrees from the stretch's first check. */
  readonly at: number;
}

interface Angles {
  readonly told: CheckRow['cameraAngle'];
  readonly rotator: number | null;
  readonly spikes: CheckRow['spikeAngle'];
}

const anglesOf = (check: CheckRow): Angles => {
  const told = check.cameraAngle;
  return {
    told: told !== null && told.moduloDeg >= 360 ? told : null,
    rotator: check.rotatorAngleDeg,
    spikes:
      check.spikeAngle ??
      (told !== null && told.moduloDeg < 360
        ? { deg: told.deg, errorDeg: told.errorDeg, moduloDeg: told.moduloDeg }
        : null),
  };
};

/** Degrees from `to` to `from`, within half a period. */
function apart(from: number, to: number, period: number): number {
  const d = (from - to) % period;
  return d > period / 2 ? d - period : d < -period / 2 ? d + period : d;
}

type Step = { readonly turnedDeg: number } | { readonly why: StretchStart['why'] };

/**
 * Vectors of different checks can only be compared in the frame of the tube. A turn of the camera is taken from what was
 * told (rig, rotator of known sense), or from a rotator whose unknown sense the spikes settle; spikes alone repeat after a
 * right angle, so they only say that nothing was turned. Everything else breaks the trend. A check without any angle
 * belongs to no stretch, unless the next one that has an angle stands as before: then only that check is left out.
 */
export function stretchesOf(checks: readonly CheckRow[]): {
  readonly placed: readonly Placed[];
  readonly starts: readonly StretchStart[];
} {
  const angle: (number | null)[] = checks.map(() => null);
  const stretch: (number | null)[] = checks.map(() => null);
  const starts: StretchStart[] = [];
  /** Last value of each source within the stretch, with the camera's angle then. */
  let last: readonly Known[] = [];
  let now = 0;
  checks.forEach((check, i) => {
    const angles = anglesOf(check);
    if (angles.told === null && angles.rotator === null && angles.spikes === null) return;
    const step: Step = starts.length === 0 ? { why: 'first' } : stepFrom(last, angles, now);
    if ('why' in step) {
      starts.push({ first: i, why: step.why });
      now = 0;
      last = [];
    } else now += step.turnedDeg;
    angle[i] = now;
    stretch[i] = starts.length - 1;
    last = remember(last, angles, now);
  });
  const end = new Map<number, number>();
  stretch.forEach((s, i) => {
    if (s !== null) end.set(s, angle[i] ?? 0);
  });
  const placed = stretch.map((s, i): Placed => {
    const turnDeg = s === null ? 0 : (end.get(s) ?? 0) - (angle[i] ?? 0);
    return { stretch: s, turn: (turnDeg * Math.PI) / 180 };
  });
  return { placed, starts };
}

/** Keeps for every source the latest check that had it. */
function remember(last: readonly Known[], angles: Angles, at: number): Known[] {
  const has = (a: Angles): string =>
    `${a.told?.from ?? ''},${a.rotator === null ? '' : 'r'},${a.spikes?.moduloDeg ?? ''}`;
  return [{ angles, at }, ...last.filter((entry) => has(entry.angles) !== has(angles))].slice(0, 4);
}

function stepFrom(last: readonly Known[], angles: Angles, now: number): Step {
  for (const { angles: before, at } of last) {
    const step = between(before, angles);
    if (step === null) continue;
    return 'why' in step ? step : { turnedDeg: at + step.turnedDeg - now };
  }
  return { why: 'nothing in common' };
}

/** Null where the two checks have no source in common. */
function between(before: Angles, after: Angles): Step | null {
  const spikes = spikeStep(before, after);
  const agrees = (turnedDeg: number): boolean =>
    spikes === null || Math.abs(apart(spikes.deg, turnedDeg, spikes.period)) < spikes.same;
  if (before.told !== null && after.told !== null && before.told.from === after.told.from) {
    const turnedDeg = apart(after.told.deg, before.told.deg, 360);
    return agrees(turnedDeg)
      ? { turnedDeg: Math.abs(turnedDeg) < SAME_DEG ? 0 : turnedDeg }
      : { why: 'sources disagree' };
  }
  if (before.rotator !== null && after.rotator !== null) {
    const moved = apart(after.rotator, before.rotator, 360);
    if (Math.abs(moved) < SAME_DEG) return agrees(0) ? { turnedDeg: 0 } : { why: 'sources disagree' };
    const senses = [moved, -moved].filter(agrees);
    const [only] = senses;
    if (spikes === null || senses.length === 2) return { why: 'sense unknown' };
    return only === undefined ? { why: 'sources disagree' } : { turnedDeg: only };
  }
  if (spikes !== null) return agrees(0) ? { turnedDeg: 0 } : { why: 'turned' };
  return null;
}

function spikeStep(before: Angles, after: Angles): { deg: number; period: number; same: number } | null {
  const [a, b] = [before.spikes, after.spikes];
  if (a === null || b === null || a.moduloDeg !== b.moduloDeg) return null;
  return {
    deg: apart(b.deg, a.deg, a.moduloDeg),
    period: a.moduloDeg,
    same: SAME_SPIKES_DEG + SPIKE_SIGMAS * Math.hypot(a.errorDeg, b.errorDeg),
  };
}

/** Turns a vector by `turn` radians counter-clockwise. */
export function turned<T extends { readonly x: number; readonly y: number }>(v: T, turn: number): T {
  if (turn === 0) return v;
  const c = Math.cos(turn);
  const s = Math.sin(turn);
  return { ...v, x: c * v.x - s * v.y, y: s * v.x + c * v.y };
}
