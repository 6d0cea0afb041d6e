import { expect, it } from 'vitest';
import { proposalOf } from '../../src/adjust/proposal.ts';
import { type Night, replay } from '../../src/adjust/replay.ts';
import { layoutsOf } from '../../src/adjust/screwPrior.ts';
import { sightOf } from '../../src/adjust/sight.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import { SubMeasurer } from '../../src/watch/subMeasurer.ts';
import { drawSubWithTruth } from '../support/draw.ts';
import { SimulatedPrimary, USUAL_CASE } from '../support/simulatedPrimary.ts';

const RUNS = process.env['STARPLUMB_FULL'] === '1' ? 20 : 5;
const ROUNDS = 4;
const NAMES = ['A', 'B', 'C'];
const RIG = { number: 3, circleRadiusMm: 90, thread: 'M6' };

/** One short sub of the telescope as it stands, as a file; stored rows run downwards, the screen's y up. */
function sub(primary: SimulatedPrimary, seed: number): Uint8Array {
  const { drawn, scene } = drawSubWithTruth({
    width: 1200,
    height: 800,
    starCount: 220,
    seed,
    // The tail's vector points away from where the axis leans.
    state: { primaryTiltArcmin: { x: -primary.tilt.x, y: primary.tilt.y } },
  });
  const cards = {
    FOCALLEN: 800,
    APTDIA: 200,
    XPIXSZ: scene.camera.pixelUm,
    EGAIN: scene.camera.gainEPerAdu,
    EXPTIME: 20,
    ROWORDER: 'TOP-DOWN',
  };
  return encodeFits({ ...drawn, cards: Object.entries(cards).map(([keyword, value]) => ({ keyword, value })) });
}

interface DrawnLoop {
  readonly inside: boolean;
  readonly rounds: number;
  readonly start: number;
  readonly left: number;
  readonly course: string;
}

/** The same loop as in closedLoop.test.ts, but seen through drawn stars and the measuring that the watch does. */
async function drawnLoop(seed: number): Promise<DrawnLoop> {
  const primary = new SimulatedPrimary({ ...USUAL_CASE, seed });
  const start = primary.length;
  let night: Night = { turns: [], moved: [], seen: [] };
  const course: string[] = [];
  const at = (minute: number): string => new Date(Date.UTC(2031, 1, 11, 20, minute)).toISOString();
  for (let round = 0; ; round++) {
    const measurer = new SubMeasurer({}, { name: 'starplumb', version: '0' }, () => ({
      name: null,
      kept: {},
      cameraAngle: null,
      notes: [],
    }));
    const measured = await measurer.measureBytes(sub(primary, 100 * seed + round), 'a.fits');
    if ('problem' in measured) throw new RangeError(measured.problem);
    const report = await measurer.field([measured.sha256], at(10 * round));
    if (report === null) throw new RangeError('no report');
    // Other stars each time: a mount that was pointed anew.
    const places = measured.brightest;
    night = { ...night, seen: [...night.seen, { sight: sightOf(report), first: places, last: places }] };
    const next = proposalOf(replay(night, NAMES, layoutsOf(3, RIG)), NAMES, null);
    course.push(`${primary.length.toFixed(2)}' ${next.headline}`);
    if (next.moves.length === 0 || round === ROUNDS)
      return {
        inside: primary.length <= primary.tolerance,
        rounds: round,
        start,
        left: primary.length,
        course: course.join(' | '),
      };
    for (const { screw, turns } of next.moves) {
      primary.turn(NAMES.indexOf(screw), turns);
      night = { ...night, turns: [...night.turns, { screw, turns, at: at(10 * round + 5) }] };
    }
    primary.lock();
  }
}

it(`${RUNS} telescopes are put right through drawn stars and real measuring`, async () => {
  const loops = [];
  for (let seed = 1; seed <= RUNS; seed++) loops.push(await drawnLoop(seed));
  for (const { inside, rounds, course } of loops)
    console.log(`${inside ? 'inside' : 'outside'} after ${rounds} rounds: ${course}`);
  console.log(`${loops.filter(({ inside }) => inside).length} of ${RUNS} inside the tolerance`);
  expect(loops.filter(({ inside }) => inside).length).toBeGreaterThanOrEqual(0.8 * RUNS);
  // The others were led the right way as well.
  for (const { left, start } of loops) expect(left).toBeLessThan(0.4 * start);
}, 1_800_000);
