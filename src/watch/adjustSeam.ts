import type { FrameStars } from '../field/frameStars.ts';
import type { NextTurn, Turn } from '../live/liveState.ts';
import type { Report } from '../report/record.ts';

/** What the subs since the last move say together. */
export interface Look {
  readonly at: string;
  readonly report: Report;
  readonly stars: FrameStars | null;
}

/** The screws' record: what was turned, what each screw does, what to turn next. */
export interface Adjusting {
  readonly screws: () => readonly string[];
  /** Turns so far, oldest first, with those that another process wrote. */
  readonly nudges: () => Promise<readonly Turn[]>;
  /** Throws a UserError where the screw or the turn makes no sense. */
  readonly recordNudge: (turn: Turn) => Promise<void>;
  readonly proposal: (look: Look) => Promise<NextTurn | null>;
  readonly close: () => void;
}

/** Names of the screws as long as nothing tells others. */
const THREE_SCREWS = ['A', 'B', 'C'] as const;

/** Turns kept in the watch's own journal; nothing is learnt from them. */
export function plainAdjusting(turns: readonly Turn[], keep: (turn: Turn) => Promise<void>): Adjusting {
  const all = [...turns];
  return {
    screws: () => [...new Set([...THREE_SCREWS, ...all.map((turn) => turn.screw)])],
    nudges: () => Promise.resolve(all),
    recordNudge: async (turn) => {
      all.push(turn);
      await keep(turn);
    },
    proposal: () => Promise.resolve(null),
    close: () => undefined,
  };
}
