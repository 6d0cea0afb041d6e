import { expect, it } from 'vitest';
import type { RigScrews } from '../../src/adjust/screwPrior.ts';
import { closedLoop, type Loop } from '../support/closedLoop.ts';
import { type PrimaryCase, USUAL_CASE } from '../support/simulatedPrimary.ts';

const RIG: RigScrews = { number: 3, circleRadiusMm: 90, thread: 'M6' };
const FULL = process.env['STARPLUMB_FULL'] === '1';
const RUNS = 100;
/** Of the kinds beside the first two. */
const FEW = FULL ? RUNS : 40;
const ROUNDS = 4;

/** Every run of a kind; each looks once more after its last round. */
function runs(changes: Partial<PrimaryCase>, rig: RigScrews | null, withStars: boolean, count: number): Loop[] {
  return Array.from({ length: count }, (_, i) =>
    closedLoop({ ...USUAL_CASE, ...changes, seed: i + 1 }, rig, ROUNDS, withStars),
  );
}

const share = (loops: readonly Loop[]): number => loops.filter(({ inside }) => inside).length / loops.length;

/**
 * Screws at unknown angles and of unknown hand, threads 20 % off, a hand good to 5 degrees, 0.02 to 0.04 turns of play, locking
 * that shifts by 0.3 to 0.5 arcminutes, the field re-centred by hand every other time; 4 to 8 arcminutes at the start.
 */
it.each<[string, Partial<PrimaryCase>, RigScrews | null, boolean, number, number]>([
  ['one focus: the amount open by 14 %', {}, RIG, true, RUNS, 0.9],
  ['subs on both sides of focus: by 5 %', { scaleError: 0.05 }, RIG, true, RUNS, 0.9],
  ['the same, nothing known of where the stars stood', { scaleError: 0.05 }, RIG, false, FEW, 0.9],
  // What it is without either: measured, not asked for.
  ['one focus, nothing known of where the stars stood', {}, RIG, false, FEW, 0.8],
  ['four screws', { screws: 4, effectArcmin: 19.1, scaleError: 0.05 }, { ...RIG, number: 4 }, true, FEW, 0.85],
  ['no rig: nothing known of the screws', { scaleError: 0.05 }, null, true, FEW, 0.75],
])('%s: inside the tolerance after four rounds at most', (name, changes, rig, withStars, count, wanted) => {
  const loops = runs(changes, rig, withStars, count);
  const rounds = loops.map((loop) => loop.rounds).sort((a, b) => a - b);
  console.log(`${name}: ${(100 * share(loops)).toFixed(0)} % of ${count}, median ${rounds[count / 2]} rounds`);
  expect(share(loops)).toBeGreaterThanOrEqual(wanted);
  // Never more than two screws a round, and nothing to turn once inside.
  for (const { course, last } of loops) {
    expect(course.every((round) => round.moves.length <= 2)).toBe(true);
    expect(course.every((round) => round.seenInside === (round.moves.length === 0))).toBe(true);
    if (last.status === 'done') expect(last.moves).toEqual([]);
  }
});
