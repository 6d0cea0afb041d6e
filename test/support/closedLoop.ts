import { proposalOf } from '../../src/adjust/proposal.ts';
import { type Night, replay } from '../../src/adjust/replay.ts';
import { layoutsOf, type RigScrews } from '../../src/adjust/screwPrior.ts';
import type { NextTurn } from '../../src/live/liveState.ts';
import { type PrimaryCase, SimulatedPrimary } from './simulatedPrimary.ts';

export interface Loop {
  readonly rounds: number;
  readonly leftArcmin: number;
  readonly inside: boolean;
  /** The last proposal, with the measured tilt it rests on. */
  readonly last: NextTurn;
  /** Each look, with the turns that followed from it. */
  readonly course: readonly {
    readonly seenInside: boolean;
    readonly moves: NextTurn['moves'];
    readonly words: string;
  }[];
}

const NAMES = ['A', 'B', 'C', 'D', 'E', 'F'];

/** Turns as it is told, round after round, until told to stop or `most` rounds are over. */
export function closedLoop(given: PrimaryCase, rig: RigScrews | null, most: number, withStars = true): Loop {
  const primary = new SimulatedPrimary(given);
  const names = NAMES.slice(0, given.screws);
  const layouts = layoutsOf(given.screws, rig);
  const clock = Date.parse('2031-02-11T20:00:00.000Z');
  let minute = 0;
  const now = (): string => new Date(clock + 60_000 * minute++).toISOString();
  let night: Night = { turns: [], moved: [], seen: [] };
  const course: Loop['course'][number][] = [];
  for (let round = 0; ; round++) {
    const { sight, stars } = primary.look(now());
    const places = withStars ? stars : null;
    night = { ...night, seen: [...night.seen, { sight, first: places, last: places }] };
    const replayed = replay(night, names, layouts);
    const proposal = proposalOf(replayed, names, null);
    const seen = Math.hypot(sight.tilt?.x ?? 0, sight.tilt?.y ?? 0);
    const words = `${primary.length.toFixed(2)} (seen ${seen.toFixed(2)}) ${proposal.status}: ${proposal.headline} ${proposal.warning ?? ''}`;
    course.push({ seenInside: sight.status !== 'fault', moves: proposal.moves, words });
    if (proposal.moves.length === 0 || round === most)
      return {
        rounds: round,
        leftArcmin: primary.length,
        inside: primary.length <= primary.tolerance,
        last: proposal,
        course,
      };
    for (const { screw, turns } of proposal.moves) {
      primary.turn(names.indexOf(screw), turns);
      night = { ...night, turns: [...night.turns, { screw, turns, at: now() }] };
    }
    primary.lock();
  }
}
