import { describe, expect, it } from 'vitest';
import type { Amounts } from '../../src/diagnosis/amounts.ts';
import { astigmatismTold, smearsOf } from '../../src/diagnosis/refined.ts';
import type { Retrieved } from '../../src/diagnosis/retrieved.ts';
import type { Complex } from '../../src/optics/complex.ts';

/** Two subs with these (e1, e2) of which coma in focus would make (-0.1, 0), and the fit's word on each. */
function amountsOf(
  measured: readonly Complex[],
  fitted: {
    readonly comatic: Complex;
    readonly astigmatic: Complex;
    readonly sigmas: number;
    longBy?: Retrieved['longBy'];
    readonly logOdds?: number;
  },
  skew: Amounts['skew'] = null,
): { readonly amounts: Amounts; readonly retrieved: Retrieved } {
  const retrieved = {
    perSub: measured.map((_, frame) => ({
      frame,
      comatic: fitted.comatic,
      astigmatic: fitted.astigmatic,
      smear: { x: 0.2, y: 0.1, error: 0.01 },
      focusUm: { value: 40, low: 35, high: 45 },
    })),
    comaUm: { value: 0.3, low: 0.27, high: 0.33 },
    astigmatismRmsUm: { uniform: { x: 0.02 * fitted.sigmas, y: 0, error: 0.02 } },
    longBy: fitted.longBy ?? null,
    logOdds: fitted.logOdds ?? 0,
  } as unknown as Retrieved;
  const amounts = {
    smooth: {
      perFrame: measured.map((e, frame) => ({ frame, fields: { distortion: { uniform: { ...e, error: 0.001 } } } })),
    },
    comaDistortion: { x: -0.1, y: 0 },
    optics: { bare: false },
    smeared: false,
    skew,
    retrieved,
  } as unknown as Amounts;
  return { amounts, retrieved };
}

const ROUND = { x: 0.01, y: 0 };
const NONE = { x: 0, y: 0 };

describe('the smear of a sub', () => {
  const sure = { comatic: { x: 0.008, y: 0 }, astigmatic: NONE, sigmas: 0 };

  it('is what coma does not make at the focus that the fit found, where in focus it would make stars far longer', () => {
    const { amounts } = amountsOf([ROUND, ROUND], sure);
    for (const { distortion } of smearsOf(amounts)) {
      expect(distortion.x).toBeCloseTo(0.002, 12);
      // The coma is known to a tenth, and what it makes goes with its square: a fifth of it.
      expect(distortion.error).toBeCloseTo(Math.hypot(0.001, 0.2 * 0.008), 12);
    }
  });

  it('is told without the fit where a skew leaves it no coma, or there is none', () => {
    const skew = { coma3: { x: 0.05, y: 0 }, direction: 0 };
    const { amounts } = amountsOf([ROUND, ROUND], sure, skew);
    for (const one of [
      amounts,
      { ...amounts, skew: null, retrieved: null },
      { ...amounts, skew: null, perhapsJump: true },
    ])
      expect(smearsOf(one)[0].distortion.x).toBeCloseTo(0.11, 12);
  });

  it('is the fit’s own beside astigmatism', () => {
    const { amounts } = amountsOf([{ x: 0.3, y: 0 }, ROUND], { ...sure, astigmatic: { x: 0.1, y: 0 }, sigmas: 9 });
    expect(smearsOf(amounts)[0].distortion).toEqual({ x: 0.2, y: 0.1, error: 0.01 });
  });
});

describe('astigmatism is told from a smear', () => {
  const found = { comatic: NONE, astigmatic: { x: 0.2, y: 0 }, sigmas: 6 };
  const told = (measured: readonly Complex[], fitted: Parameters<typeof amountsOf>[1] = found): boolean => {
    const { amounts, retrieved } = amountsOf(measured, fitted);
    return astigmatismTold(amounts, retrieved);
  };

  it('where the stars of several subs are long its way, at five sigma', () => {
    expect(told([{ x: 0.15, y: 0.02 }, ROUND])).toBe(true);
    expect(told([{ x: 0.15, y: 0.02 }, ROUND], { ...found, sigmas: 4.9 })).toBe(false);
  });

  it('by the odds, where they are as great as five sigma, however unsure its amount', () => {
    const open = { ...found, sigmas: 3.4, longBy: 'astigmatism' as const };
    // Two subs 45 um apart of a drawn night: odds of e^13.3, or 5.2 sigma of a normal distribution.
    expect(told([{ x: 0.12, y: 0 }, ROUND], { ...open, logOdds: 13.3 })).toBe(true);
    expect(told([{ x: 0.12, y: 0 }, ROUND], { ...open, logOdds: 8 })).toBe(false);
  });

  it('not in a single sub, nor where round stars would need a smear that undoes it', () => {
    expect(told([{ x: 0.15, y: 0.02 }])).toBe(false);
    expect(told([ROUND, ROUND])).toBe(false);
    expect(told([{ x: -0.15, y: 0 }, ROUND])).toBe(false);
  });
});
