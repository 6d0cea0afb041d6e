import { describe, expect, it } from 'vitest';
import type { Amounts } from '../../src/diagnosis/amounts.ts';
import { turnBySmear, turnOf } from '../../src/diagnosis/comaBesideSmear.ts';
import { measureDrawn } from '../../src/diagnosis/drawnStar.ts';
import type { Setup } from '../../src/diagnosis/setup.ts';
import { starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { NO_ABERRATION, toDefocus } from '../../src/optics/wavefront.ts';

const DEG = Math.PI / 180;

/** A comatic star whose tail points to `comaDeg`, drawn with a drift (px, along x) or astigmatism (um), measured. */
function drawn(comaDeg: number, driftPx: number, { astigmatism = 0, focusUm = 0, seeingArcsec = 2.5 } = {}) {
  const shape = measureDrawn(
    starImage(
      EXAMPLE_TELESCOPE,
      {
        ...NO_ABERRATION,
        d: toDefocus(EXAMPLE_TELESCOPE, focusUm),
        c: { x: 0.15 * Math.cos(comaDeg * DEG), y: 0.15 * Math.sin(comaDeg * DEG) },
        a: { x: astigmatism, y: 0 },
      },
      {
        pixelUm: 3.76,
        filter: 'L',
        recentred: true,
        seeingArcsec,
        smear: { ...STEADY, driftUm: { x: driftPx * 3.76, y: 0 } },
      },
    ),
  );
  const { e1, e2, coma3 } = shape ?? expect.unreachable('not measured');
  const amounts = {
    smear: { x: e1, y: e2, error: 1e-4 },
    jumped: new Map<number, never>(),
    skew: null,
    optics: { bare: false },
  };
  return { coma: { ...coma3, error: 1e-4 }, amounts, seenDeg: Math.atan2(coma3.y, coma3.x) / DEG };
}

describe('coma of stars that are drawn out', () => {
  it.each([
    [20, 3, {}],
    [45, 4, {}],
    [45, 3.5, { focusUm: 40 }],
    [70, 4, { seeingArcsec: 3.5 }],
    [160, 4, {}],
    [-110, 3, { seeingArcsec: 1.9 }],
  ])('its direction, %d deg, comes back beside a drift of %d px', (comaDeg, driftPx, conditions) => {
    const { coma, amounts, seenDeg } = drawn(comaDeg, driftPx, conditions);
    expect(Math.abs(seenDeg - comaDeg)).toBeGreaterThan(5);
    const { by, error } = turnBySmear(coma, amounts, true);
    expect(Math.abs(seenDeg + by / DEG - comaDeg)).toBeLessThan(4.5);
    expect(error / DEG).toBeLessThan(8);
  });

  it('is left where it is, within its error, where astigmatism may have drawn them out instead', () => {
    for (const { coma, amounts, seenDeg } of [drawn(45, 4), drawn(45, 0, { astigmatism: 0.1, focusUm: 40 })]) {
      const { by, error } = turnBySmear(coma, amounts, false);
      expect(by).toBe(0);
      expect(Math.abs(seenDeg - 45)).toBeLessThan((2 * error) / DEG);
    }
  });

  it('turns to the whole-field fit, whose error is what the noise does not hold; what may be astigmatism stays in it', () => {
    const { coma, amounts } = drawn(45, 4);
    const noisy = { ...coma, error: 0.05 * Math.hypot(coma.x, coma.y) };
    const all = (longBy: 'smear' | null, skew: Amounts['skew'] = null): Amounts =>
      ({
        ...amounts,
        coma: noisy,
        skew,
        air: null,
        smooth: { coma: { uniform: noisy } },
        retrieved: { longBy },
      }) as unknown as Amounts;
    const setup = { altitudeDeg: 80, filter: 'L' } as unknown as Setup;
    const fitted = { angle: 45 * DEG, error: 0.13 };
    const known = turnOf(all('smear'), setup, fitted);
    expect((Math.atan2(coma.y, coma.x) + known.by) / DEG).toBeCloseTo(45, 9);
    expect(known.error).toBeCloseTo(0.12, 9);
    const open = turnOf(all(null), setup, fitted);
    expect(open.by).toBe(known.by);
    expect(open.error).toBeGreaterThan(turnBySmear(noisy, amounts, false).error);
    expect(turnOf(all('smear', { coma3: { x: 0.1, y: 0 }, direction: 0 }), setup, fitted).fitted).toBe(false);
    expect(turnOf(all('smear'), setup, null)).toEqual(turnBySmear(noisy, amounts, true));
  });

  it('stands along the smear or across it as it is, and beside round stars', () => {
    for (const deg of [0, 90, 180])
      expect(Math.abs(turnBySmear(drawn(deg, 4).coma, drawn(deg, 4).amounts, true).by)).toBeLessThan(0.01);
    expect(Math.abs(turnBySmear(drawn(45, 0).coma, drawn(45, 0).amounts, true).by)).toBeLessThan(0.01);
  });
});
