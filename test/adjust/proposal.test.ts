import { describe, expect, it } from 'vitest';
import { beginBelief, look } from '../../src/adjust/belief.ts';
import { proposalOf } from '../../src/adjust/proposal.ts';
import { type Night, replay } from '../../src/adjust/replay.ts';
import { layoutsOf } from '../../src/adjust/screwPrior.ts';
import { type Sight, sightOf } from '../../src/adjust/sight.ts';
import type { StarPlaces } from '../../src/adjust/starTravel.ts';
import type { NextTurn, Turn } from '../../src/live/liveState.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const NAMES = ['A', 'B', 'C'];
const RIG = { number: 3, circleRadiusMm: 90, thread: 'M6' };
/** What an eighth of a turn of M6 on 90 mm does, arcminutes (25.46 a turn). */
const EIGHTH = 25.46 / 8;
const PX_PER_ARCMIN = 123.8;

const at = (minute: number): string => new Date(Date.UTC(2031, 1, 11, 20, minute)).toISOString();

function sight(minute: number, x: number, y: number, changes: Partial<Sight> = {}): Sight {
  const fault = Math.hypot(x, y) > 1.375;
  return {
    at: at(minute),
    verdict: fault ? 'adjust' : 'good',
    status: fault ? 'fault' : 'within-tolerance',
    tilt: { x, y },
    errorArcmin: 0.1,
    scaleError: 0.06,
    directionError: 0,
    toleranceArcmin: 1.375,
    pxPerArcmin: PX_PER_ARCMIN,
    rowOrder: 'BOTTOM-UP',
    needs: null,
    ...changes,
  };
}

/** The same sky, so many pixels away. */
function places(dx: number, dy: number): StarPlaces {
  const random = seededRandom(3, 'places');
  const stars = Array.from({ length: 400 }, () => ({
    x: -1000 + 5000 * random.uniform() + dx,
    y: -1000 + 4000 * random.uniform() + dy,
    flux: 1000 / random.uniform(),
  }));
  return {
    width: 3000,
    height: 2000,
    stars: stars.filter(({ x, y }) => x > 0 && x < 3000 && y > 0 && y < 2000).slice(0, 90),
  };
}

const turn = (minute: number, screw: string, turns: number): Turn => ({ screw, turns, at: at(minute) });

/** Stars travel against the change of the tilt vector: by as much as a tilt of the primary, times `ratio`. */
function night(looks: readonly Sight[], turns: readonly Turn[], ratio = 0): Night {
  const [start] = looks;
  return {
    turns,
    moved: [],
    seen: looks.map((one) => {
      const change = { x: (one.tilt?.x ?? 0) - (start?.tilt?.x ?? 0), y: (one.tilt?.y ?? 0) - (start?.tilt?.y ?? 0) };
      const stars = ratio === 0 ? null : places(-ratio * PX_PER_ARCMIN * change.x, -ratio * PX_PER_ARCMIN * change.y);
      return { sight: one, first: stars, last: stars };
    }),
  };
}

const propose = (given: Night, tolerance: number | null = null): NextTurn =>
  proposalOf(replay(given, NAMES, layoutsOf(3, RIG)), NAMES, tolerance);

/** Two screws learnt: A moves the vector along x, B along 120 degrees. */
const LEARNT: readonly [readonly Sight[], readonly Turn[]] = [
  [
    sight(0, 5, 3),
    sight(10, 5 + EIGHTH, 3),
    sight(20, 5 + EIGHTH - EIGHTH / 2, 3 + 0.866 * EIGHTH),
    sight(30, 5 + EIGHTH / 2 - EIGHTH, 3 + 0.866 * EIGHTH),
  ],
  [turn(5, 'A', 1 / 8), turn(15, 'B', 1 / 8), turn(25, 'A', -1 / 8)],
];

it('tries a small turn while nothing is known, and promises nothing', () => {
  const next = propose(night([sight(0, 5, 3)], []));
  expect(next.status).toBe('learn');
  expect(next.expected).toBeNull();
  expect(next.moves.length).toBeGreaterThan(0);
  expect(Math.abs(next.moves[0]?.turns ?? 9)).toBeLessThanOrEqual(1 / 4);
});

it('once the screws are known it turns them by what trigonometry asks for', () => {
  const next = propose(night(...LEARNT));
  const left = { x: 5 - EIGHTH / 2, y: 3 + 0.866 * EIGHTH };
  const effects: Record<string, { x: number; y: number }> = {
    A: { x: 25.46, y: 0 },
    B: { x: -12.73, y: 22.05 },
    C: { x: -12.73, y: -22.05 },
  };
  expect(next.status).toBe('move');
  for (const { screw, turns } of next.moves) {
    left.x += turns * (effects[screw]?.x ?? 0);
    left.y += turns * (effects[screw]?.y ?? 0);
  }
  // A hand's steps of 1/24 are 1.06 arcminutes; play (0.015 turns) is allowed for.
  expect(Math.hypot(left.x, left.y)).toBeLessThan(1.1);
  expect(next.expected?.tiltArcmin).toBeLessThan(1.4);
  expect(next.warning).toBeNull();
});

it.each([
  [0.9, 0.7, 'inside the tolerance'],
  [0, 0, 'inside the tolerance'],
])('inside the tolerance (%d, %d) it proposes nothing', (x, y, words) => {
  const next = propose(night([sight(0, 5, 3), sight(10, x, y)], [turn(5, 'A', 1 / 8)]));
  expect(next).toMatchObject({ status: 'done', moves: [], expected: null });
  expect(next.because).toContain(words);
});

it('the rig’s own tolerance decides where there is one', () => {
  expect(propose(night([sight(0, 1.8, 0)], []), 2).status).toBe('done');
  expect(propose(night([sight(0, 1.2, 0)], []), 0.5).moves.length).toBeGreaterThan(0);
});

it.each<[string, Partial<Sight>, string]>([
  ['nothing could be told', { verdict: 'inconclusive', needs: '3 more subs' }, 'Needed: 3 more subs.'],
  ['too unsure', { status: 'not-measurable' }, 'cannot be told'],
  ['optics unknown', { tilt: null, pxPerArcmin: null }, '--focal'],
])('%s: it does not guess', (_, changes, words) => {
  const next = propose(night([sight(0, 5, 3, changes)], []));
  expect(next).toMatchObject({ status: 'cannot-tell', moves: [] });
  expect(next.because).toContain(words);
});

it('asks for a sub while a turn has none yet', () => {
  expect(propose(night([sight(0, 5, 3)], [turn(5, 'A', 1 / 8)]))).toMatchObject({ status: 'cannot-tell', moves: [] });
});

describe('after a turn that was expected to do something', () => {
  const [looks, turns] = LEARNT;
  const last = looks.at(-1)?.tilt ?? { x: 0, y: 0 };
  const after = (dx: number, dy: number, ratio = 0): NextTurn =>
    propose(night([...looks, sight(40, last.x + dx, last.y + dy)], [...turns, turn(35, 'A', -1 / 4)], ratio));

  it('says nothing where the primary did what it should', () => {
    expect(after(-2 * EIGHTH, 0).warning).toBeNull();
  });
  it('says so where a screw did hardly anything', () => {
    expect(after(0.1, 0.1).warning).toMatch(/did not move as expected: hardly at all\. A loose screw/);
  });
  it('says so where it went the other way', () => {
    expect(after(2 * EIGHTH, 0).warning).toMatch(/the other way.*wrong sign/);
  });
  it('says so where it went elsewhere', () => {
    expect(after(0, 2 * EIGHTH).warning).toMatch(/loose screw, the wrong sign or screw noted, or the flat was touched/);
  });
  it('tells the flat from the primary by how far the stars went', () => {
    const primary = after(-2 * EIGHTH, 0, 1);
    expect(primary.warning).toBeNull();
    expect(primary.because).toContain('as a tilt of the primary carries them');
    const flat = after(1, -5, 0.5);
    expect(flat.warning).toMatch(/The flat seems to have moved, not the primary/);
    // The stars stay where the mount holds them: their travel says nothing, and that is said.
    expect(after(-2 * EIGHTH, 0, 1e-6).because).toMatch(/The mount moved the stars meanwhile|not clear enough/);
  });
});

it('where a smear hides the coma it says what is needed, and asks for lengths only where they are missing', () => {
  const hidden = { tilt: null, status: 'not-measurable', verdict: 'inconclusive', needs: 'steady subs' } as const;
  expect(propose(night([sight(0, 3, 0, hidden)], [])).because).toContain('Needed: steady subs.');
  expect(propose(night([sight(0, 3, 0, { ...hidden, pxPerArcmin: null })], [])).because).toContain('--aperture');
});

it('a report is read as the vector along its coma tail, in arcminutes on the screen', () => {
  const report = EXAMPLE_REPORTS.miscollimated;
  const seen = sightOf(report);
  expect(Math.hypot(seen.tilt?.x ?? 0, seen.tilt?.y ?? 0)).toBeCloseTo(2.9, 9);
  expect((Math.atan2(seen.tilt?.y ?? 0, seen.tilt?.x ?? 0) * 180) / Math.PI + 360).toBeCloseTo(215.5, 0);
  expect(seen.status).toBe('fault');
  // 2 x 800 mm a radian: 0.4654 mm or 123.8 pixels of 3.76 um an arcminute (ray-traced: 0.4654 mm).
  expect(seen.pxPerArcmin).toBeCloseTo(123.8, 1);
  // 0.005 N^3 mm at f/3.94 is 0.306 mm; over 800 mm 1.31 arcminutes.
  expect(seen.toleranceArcmin).toBeCloseTo(1.315, 2);
  expect(seen.directionError).toBeLessThan(0.05);
});

it('drawn-out stars leave the direction open: the tilt is known along the tail and not across it', () => {
  const report = EXAMPLE_REPORTS.miscollimated;
  const findings = report.findings.map((f) => (f.cause === 'miscollimation' ? { ...f, directionErrorDeg: 25 } : f));
  const seen = sightOf({ ...report, findings });
  expect((seen.directionError * 180) / Math.PI).toBeCloseTo(25, 0);
  const spread = (sight: Sight): { along: number; across: number } => {
    const [course] = look(beginBelief(layoutsOf(3, RIG)), sight);
    const { mean, cov } = course.state;
    const n = mean.length;
    const [x, y] = [Math.cos(Math.atan2(mean[1], mean[0])), Math.sin(Math.atan2(mean[1], mean[0]))];
    const of = (a: number, b: number): number => Math.sqrt(a * a * cov[0] + 2 * a * b * cov[1] + b * b * cov[n + 1]);
    return { along: of(x, y), across: of(-y, x) };
  };
  const known = spread(sightOf(report));
  const open = spread(seen);
  expect(known.across).toBeLessThan(0.2);
  // 2.9 arcminutes, 25 degrees off.
  expect(open.across).toBeCloseTo((2.9 * 25 * Math.PI) / 180, 1);
  expect(open.along).toBeCloseTo(known.along, 2);
});
