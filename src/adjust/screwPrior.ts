import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import type { RigValues } from '../rig/rig.ts';
import { pitchOf } from '../rig/thread.ts';
import type { Vector2 } from './gaussian.ts';

/** Screws as the rig tells them. */
export type RigScrews = NonNullable<RigValues['screws']>;

/** One way the screws may stand and turn: the effect of each, arcminutes of the tilt vector a turn clockwise. */
export interface Layout {
  readonly weight: number;
  readonly effects: readonly Vector2[];
  /** What all share, 1 sigma: their size as a share, their direction in radians. */
  readonly sizeError: number;
  readonly turnError: number;
  /** What each has of its own, 1 sigma of each component, arcminutes a turn. */
  readonly ownError: readonly number[];
}

/** Where nothing is known of the screws: effects a turn, arcminutes, and how likely each (M4 to M8 on 70 to 150 mm). */
const USUAL_EFFECTS = [
  [9, 0.15],
  [15, 0.3],
  [25, 0.35],
  [40, 0.2],
] as const;
/** A thread that is not what was told: measured pitches of bought screws and of inch screws taken for metric ones. */
const THREAD_ERROR = 0.2;
const USUAL_ERROR = 0.28;
/** Screws are not placed exactly; a mirror on springs does not tilt exactly about the line through the others. */
const OWN_ERROR = 0.1;
/** Directions are tried at this many places round the circle. */
const DIRECTIONS = 24;
/** Where the rig tells the directions, clockwise moves the star that way; or the other, by this chance. */
const REVERSED = 0.2;
const TOLD_ERROR = 0.15;

/**
 * Tilt of the primary by one turn of one screw, arcminutes: pitch over 1.5 times the radius for three screws evenly spaced, for
 * more by least squares 2/n of pitch over radius (small angles). Two screws stand against a fixed point, as two of three.
 */
export function effectOf({ number, circleRadiusMm, thread, pitchMm }: RigScrews): number | null {
  const pitch = pitchMm ?? (thread === undefined ? null : pitchOf(thread));
  if (pitch === null) return null;
  return ((2 * pitch) / (Math.max(3, number) * circleRadiusMm)) * ARCMIN_PER_RAD;
}

/**
 * All the ways `count` screws may stand, weights summing to 1. The rig's screws come first; one beyond them, or one of more than
 * three where no rig tells of them, may do anything.
 */
export function layoutsOf(count: number, rig: RigScrews | null): readonly Layout[] {
  const placed = rig?.number ?? (count <= 3 ? count : 0);
  const size = rig === null ? null : effectOf(rig);
  const sizes = size === null ? USUAL_EFFECTS : ([[size, 1]] as const);
  const sizeError = size === null ? USUAL_ERROR : THREAD_ERROR;
  const free = Array.from({ length: count - placed }, () => null);
  const layouts = placesOf(placed, rig?.anglesDeg ?? null).flatMap(({ angles, weight, turnError }) =>
    sizes.map(([effect, chance]) => ({
      weight: weight * chance,
      effects: [
        ...angles.map((angle) => ({ x: effect * Math.cos(angle), y: effect * Math.sin(angle) })),
        ...free.map(() => ({ x: 0, y: 0 })),
      ],
      sizeError,
      turnError,
      ownError: [...angles.map(() => OWN_ERROR * effect), ...free.map(() => effect)],
    })),
  );
  const total = layouts.reduce((sum, { weight }) => sum + weight, 0);
  return layouts.map((layout) => ({ ...layout, weight: layout.weight / total }));
}

interface Places {
  readonly angles: readonly number[];
  readonly weight: number;
  readonly turnError: number;
}

function placesOf(count: number, anglesDeg: readonly number[] | null): Places[] {
  if (anglesDeg !== null && anglesDeg.length === count) {
    // The star moves against the change of the tilt vector.
    const angles = anglesDeg.map((deg) => (deg * Math.PI) / 180 + Math.PI);
    return [
      { angles, weight: 1 - REVERSED, turnError: TOLD_ERROR },
      { angles: angles.map((angle) => angle + Math.PI), weight: REVERSED, turnError: TOLD_ERROR },
    ];
  }
  if (count === 0) return [{ angles: [], weight: 1, turnError: 0 }];
  const step = (2 * Math.PI) / DIRECTIONS;
  return Array.from({ length: DIRECTIONS }, (_, k) => k * step).flatMap((first) =>
    [1, -1].flatMap((hand) =>
      spacings(count).map((relative) => ({
        angles: relative.map((angle) => first + hand * angle),
        weight: 1,
        turnError: step / Math.sqrt(12) + 0.03,
      })),
    ),
  );
}

/** Angles from the first screw, for one hand. */
function spacings(count: number): readonly (readonly number[])[] {
  const turn = 2 * Math.PI;
  // Against a fixed point two screws stand at 120 degrees, or square to each other.
  if (count === 2)
    return [
      [0, turn / 3],
      [0, turn / 4],
    ];
  const even = Array.from({ length: count }, (_, i) => (turn * i) / count);
  if (count < 6 || count % 2 === 1) return [even];
  // Pairs that push and pull at one place.
  const pairs = Array.from({ length: count }, (_, i) => (turn * Math.floor(i / 2)) / (count / 2) + (i % 2) * Math.PI);
  return [even, pairs];
}
