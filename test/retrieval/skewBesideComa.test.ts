import { describe, expect, it } from 'vitest';
import { vectorSignificance } from '../../src/field/frameStars.ts';
import { ANY_SMEAR, priorsOf, type RetrievalGuess } from '../../src/retrieval/knowledge.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';
import { drawSub, type SubOptions } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

/** Coma of a tilted primary, um an arcminute: D/(32 N^2) times an arcminute in radians (optics handbooks: W131 = theta D/(32 N^2)). */
const COMA_UM_PER_ARCMIN = (200_000 / (32 * 16)) * (Math.PI / 10800);

function toldOf(subs: readonly SubOptions[]) {
  const frames = subs.map((sub, i) =>
    drawSub({ width: 1500, height: 1000, starCount: 160, seed: 80 + i, fieldSeed: 17, ...sub }),
  );
  const { diagnosis } = refined(frames, { corrector: 1 }).fine;
  const retrieved = diagnosis.amounts?.retrieved ?? expect.unreachable('the fit did not settle');
  const because = (cause: string): string => diagnosis.findings.find((f) => f.cause === cause)?.because ?? '';
  /** How far the coma is off the drawn one, as a share of it. */
  const missBy = (tilt: { readonly x: number; readonly y: number }): number => {
    // Tails point away from the lean of the axis.
    const [x, y] = [-tilt.x * COMA_UM_PER_ARCMIN, -tilt.y * COMA_UM_PER_ARCMIN];
    return Math.hypot(retrieved.coma.x - x, retrieved.coma.y - y) / Math.hypot(x, y);
  };
  return { retrieved, because, missBy };
}

const jump = (x: number, y: number) => ({ jumpUm: { x, y }, jumpFraction: 0.2 });

describe('a jump in subs at several foci, beside coma and trefoil of the optics', () => {
  const tilt = { x: 2, y: -3 };

  it.each([
    // Without a skew the coma comes out 0.8 of itself off.
    { where: 'in both of two', foci: [-50, 20], jumps: [1, 1], within: 0.4 },
    { where: 'in the farthest of three', foci: [-75, -40, -5], jumps: [1, 0, 0], within: 0.25 },
  ])(
    'is found by what does not go with the focus, $where: the coma is what it is without it',
    ({ foci, jumps, within }) => {
      const state = { primaryTiltArcmin: tilt, trefoilUm: { x: 0.08, y: 0.06 } };
      const { retrieved, because, missBy } = toldOf(
        foci.map((focusUm, i) => ({
          state: { ...state, focusUm },
          ...(jumps[i] === 0 ? {} : { smear: jump(7 * jumps[i], 3.5 * jumps[i]) }),
        })),
      );
      const { skews } = retrieved;
      expect(skews).not.toBeNull();
      expect(skews?.map((skew) => vectorSignificance(skew) > 3)).toEqual(jumps.map((way) => way !== 0));
      for (const [i, way] of jumps.entries()) {
        if (way === 0) continue;
        const skew = skews?.[i] ?? expect.unreachable('no skew');
        // A fifth of the light lies that way: the tail points there.
        const off = Math.atan2(way * skew.y, way * skew.x) - Math.atan2(3.5, 7);
        expect(Math.abs(off)).toBeLessThan(0.35);
      }
      expect(missBy(tilt)).toBeLessThan(within);
      expect(because('tracking')).toContain(
        jumps.every((way) => way !== 0) ? 'skewed to one side:' : 'skewed to one side in sub 1:',
      );
    },
  );

  it('is found in two subs that jumped opposite ways, less surely: they exchange with the coma', () => {
    const { retrieved, missBy } = toldOf(
      [-50, 20].map((focusUm, i) => ({
        state: { primaryTiltArcmin: tilt, trefoilUm: { x: 0.08, y: 0.06 }, focusUm },
        smear: i === 0 ? jump(7, 3.5) : jump(-7, -3.5),
      })),
    );
    const [one, other] = retrieved.skews ?? expect.unreachable('no skews');
    for (const [skew, way] of [
      [one, 1],
      [other, -1],
    ] as const)
      expect(Math.abs(Math.atan2(way * skew.y, way * skew.x) - Math.atan2(3.5, 7))).toBeLessThan(0.35);
    expect(missBy(tilt)).toBeLessThan(0.4);
    // So unsure that nobody is told an amount.
    expect(retrieved.coma.error).toBeGreaterThan(0.3 * Math.hypot(retrieved.coma.x, retrieved.coma.y));
  });

  it('is not found in steady drifts beside the same', () => {
    const { retrieved, missBy } = toldOf(
      [-50, 20].map((focusUm) => ({
        state: { primaryTiltArcmin: tilt, trefoilUm: { x: 0.08, y: 0.06 }, focusUm },
        smear: { driftUm: { x: 7, y: 3.5 } },
      })),
    );
    expect(retrieved.skews).toBeNull();
    expect(missBy(tilt)).toBeLessThan(0.2);
  });

  it('is not found in astigmatism, beside which coma looks skewed as well', () => {
    const { retrieved } = toldOf(
      [-50, 20].map((focusUm) => ({
        state: {
          primaryTiltArcmin: tilt,
          trefoilUm: { x: 0.08, y: 0.06 },
          astigmatismUm: { x: 0.25, y: 0.15 },
          focusUm,
        },
      })),
    );
    expect(retrieved.skews).toBeNull();
    expect(retrieved.longBy).toBe('astigmatism');
  });

  it('is not found in the steady drift of many subs', () => {
    const { retrieved } = toldOf(
      [-40, -25, -10, 5, 20, 35].map((focusUm) => ({
        starCount: 60,
        state: { primaryTiltArcmin: tilt, focusUm },
        smear: { driftUm: { x: 8, y: 5 } },
      })),
    );
    expect(retrieved.skews).toBeNull();
  });
});

it('a skew that is thought to lie along a smear may stand little across it, and any length along it', () => {
  const layout = layoutOf(1, true);
  const guess: RetrievalGuess = {
    seeing: [2.5],
    focus: [0.1],
    tilt: { x: 0, y: 0 },
    curvature: 0,
    coma: { x: 0, y: 0 },
    trefoil: { x: 0, y: 0 },
    skew: [{ x: 0.03, y: 0.04 }],
    skewAcross: 0.3,
  };
  const priors = {
    focus: 0.1,
    astigmatism: 0.1,
    uniform: 0.1,
    smear: ANY_SMEAR,
    linearComa: { value: 0, sigma: 0.1 },
    bare: null,
    shadow: 0.01,
    sameFocus: [],
  };
  const at = layout.skew(0);
  const rows = priorsOf(layout, guess, priors, 4).filter(({ terms }) => terms.some(({ index }) => index === at));
  const pull = (x: number, y: number): number =>
    rows.reduce((sum, { terms, value, sigma }) => {
      const found = terms.reduce((s, { index, factor }) => s + factor * (index === at ? x : y), 0);
      return sum + ((found - value) / sigma) ** 2;
    }, 0);
  expect(pull(0.06, 0.08)).toBeLessThan(0.2);
  expect(pull(-0.06, -0.08)).toBeLessThan(0.2);
  // Across by 0.3 of 0.05: one sigma.
  expect(pull(0.03 - 0.8 * 0.015, 0.04 + 0.6 * 0.015) - pull(0.03, 0.04)).toBeCloseTo(1, 1);
});
