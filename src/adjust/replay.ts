import type { Turn } from '../live/liveState.ts';
import {
  type Belief,
  beginBelief,
  chanceOf,
  expectedChange,
  look,
  mixed,
  type TravelMeans,
  type Turned,
  travelled,
  turn,
} from './belief.ts';
import type { Vector2 } from './gaussian.ts';
import type { Senses } from './nextMoves.ts';
import type { Layout } from './screwPrior.ts';
import type { Sight } from './sight.ts';
import { type StarPlaces, starTravel } from './starTravel.ts';

/** What the subs between two moves said, with the brightest stars of the first and the last of them where they are kept. */
export interface Seen {
  readonly sight: Sight;
  readonly first: StarPlaces | null;
  readonly last: StarPlaces | null;
}

/** Something else was moved (camera turned, flat, a knock), ISO 8601. */
export interface Moved {
  readonly at: string;
}

export interface Night {
  readonly turns: readonly Turn[];
  readonly moved: readonly Moved[];
  /** In any order; of those between two moves the newest counts. */
  readonly seen: readonly Seen[];
}

/** What the last turns did, measured against what they should have done. */
export interface Response {
  readonly turned: readonly Turned[];
  readonly expected: { readonly mean: Vector2; readonly sd: number };
  readonly observed: Vector2 | null;
  /** Chance that something beside the turns moved the primary. */
  readonly disturbed: number;
  /** Travel of the stars: what it stood for, most likely, or why it could not be used. */
  readonly travel:
    | { readonly means: TravelMeans; readonly chance: number; readonly px: number }
    | { readonly why: string };
}

export interface Replayed {
  readonly belief: Belief;
  readonly senses: Senses;
  readonly sight: Sight | null;
  /** Null before the first look after a turn. */
  readonly response: Response | null;
}

/** After so long nothing may be as it was, hours. */
const LONG_H = 8;
/** What was learnt of the screws still holds after that by this chance (the camera may have been turned). */
const FORGOTTEN = 0.15;
const FORGOTTEN_MOVED = 0.4;

interface Stretch {
  readonly turns: readonly Turn[];
  readonly moved: boolean;
  readonly first: Seen | null;
  readonly newest: Seen | null;
}

/** Goes through all that was turned and seen, and ends with what is known now. */
export function replay(night: Night, names: readonly string[], layouts: readonly Layout[]): Replayed {
  let belief = beginBelief(layouts);
  let before: Seen | null = null;
  let latest: Seen | null = null;
  let response: Response | null = null;
  let pending: Turned[] = [];
  let pendingMoved = false;
  const senses = names.map(() => 0);
  for (const stretch of stretchesOf(night)) {
    const turned = stretch.turns.flatMap((one): Turned[] => {
      const screw = names.indexOf(one.screw);
      if (screw < 0) return [];
      const sense = Math.sign(one.turns);
      const reversed = senses[screw] !== sense;
      senses[screw] = sense;
      return [{ screw, turns: one.turns, reversed }];
    });
    pending = [...pending, ...turned];
    pendingMoved ||= stretch.moved;
    const now = stretch.newest;
    latest = now;
    if (now?.sight.tilt == null) continue;
    if (before !== null) {
      const hours = (Date.parse(stretch.first?.sight.at ?? now.sight.at) - Date.parse(before.sight.at)) / 3_600_000;
      const long = hours > LONG_H;
      const expected = expectedChange(belief, pending);
      if (long || pendingMoved)
        belief = mixed(belief, beginBelief(layouts), pendingMoved ? FORGOTTEN_MOVED : FORGOTTEN);
      belief = turn(belief, pending, long || pendingMoved);
      const seen =
        long || pendingMoved ? { why: 'something else was moved meanwhile' } : travelOf(before, stretch.first ?? now);
      if ('x' in seen) belief = travelled(belief, seen, seen.error, seen.pxPerArcmin);
      belief = look(belief, now.sight);
      response = {
        turned: pending,
        expected,
        observed: difference(now.sight.tilt, before.sight.tilt),
        disturbed: long || pendingMoved ? 0 : chanceOf(belief, ({ disturbed }) => disturbed),
        travel: 'x' in seen ? { ...meaningOf(belief), px: Math.hypot(seen.x, seen.y) } : seen,
      };
    } else belief = look(belief, now.sight);
    before = now;
    pending = [];
    pendingMoved = false;
  }
  const open = pending.length > 0 || pendingMoved;
  return {
    senses,
    belief: open ? turn(belief, pending, pendingMoved) : belief,
    sight: latest?.sight ?? null,
    response: open ? null : response,
  };
}

/** Turns and moves, each with what was seen after it and before the next. */
function stretchesOf({ turns, moved, seen }: Night): Stretch[] {
  const events = [
    ...turns.map((one) => ({ at: one.at, turn: one, moved: false, seen: null })),
    ...moved.map(({ at }) => ({ at, turn: null, moved: true, seen: null })),
    ...seen.map((one) => ({ at: one.sight.at, turn: null, moved: false, seen: one })),
  ].sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0));
  const stretches: Stretch[] = [];
  let open: Stretch = { turns: [], moved: false, first: null, newest: null };
  for (const event of events) {
    if (event.seen !== null) {
      const long = open.newest !== null && Date.parse(event.at) - Date.parse(open.newest.sight.at) > LONG_H * 3_600_000;
      if (long) {
        stretches.push(open);
        open = { turns: [], moved: false, first: null, newest: null };
      }
      open = { ...open, first: open.first ?? event.seen, newest: event.seen };
      continue;
    }
    if (open.newest !== null) {
      stretches.push(open);
      open = { turns: [], moved: false, first: null, newest: null };
    }
    open = {
      ...open,
      turns: event.turn === null ? open.turns : [...open.turns, event.turn],
      moved: open.moved || event.moved,
    };
  }
  return [...stretches, open];
}

function travelOf(
  before: Seen,
  after: Seen,
): { x: number; y: number; error: number; pxPerArcmin: number } | { why: string } {
  const { pxPerArcmin, rowOrder } = after.sight;
  if (before.last === null || after.first === null) return { why: 'the places of the stars were not kept' };
  if (pxPerArcmin === null) return { why: 'focal length and pixel size are not known' };
  const travel = starTravel(before.last, after.first);
  if ('why' in travel) return travel;
  if (travel.turned) return { why: 'the mount changed sides meanwhile' };
  return { x: travel.x, y: rowOrder === 'TOP-DOWN' ? -travel.y : travel.y, error: travel.error, pxPerArcmin };
}

function meaningOf(belief: Belief): { means: TravelMeans; chance: number } {
  const kinds: readonly TravelMeans[] = ['primary', 'flat', 'mount'];
  return kinds
    .map((means) => ({ means, chance: chanceOf(belief, ({ travel }) => travel === means) }))
    .reduce((best, kind) => (kind.chance > best.chance ? kind : best));
}

const difference = (a: Vector2, b: Vector2 | null): Vector2 | null =>
  b === null ? null : { x: a.x - b.x, y: a.y - b.y };
