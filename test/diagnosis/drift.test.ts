import { describe, expect, it } from 'vitest';
import { measureDrawn } from '../../src/diagnosis/drawnStar.ts';
import { driftOf, turnedThroughFocus } from '../../src/diagnosis/motionFindings.ts';
import { gridFor, starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { NO_ABERRATION, toDefocus } from '../../src/optics/wavefront.ts';

/** A star of 2.6" drawn as the telescope moves evenly by so many pixels, measured; d um of defocus. */
function drifted(lengthPx: number, d = 0) {
  const w = { ...NO_ABERRATION, d };
  const conditions = {
    pixelUm: 3.76,
    filter: 'L' as const,
    recentred: true,
    smear: { ...STEADY, driftUm: { x: lengthPx * 3.76, y: 0 } },
    seeingArcsec: 2.6,
  };
  const grid = gridFor(EXAMPLE_TELESCOPE, w, conditions, 12);
  return measureDrawn(starImage(EXAMPLE_TELESCOPE, w, { ...conditions, grid })) ?? expect.unreachable('not measured');
}

const told = (lengthPx: number, bare: boolean, d = 0) => {
  const { e1, e2, fwhm } = drifted(lengthPx, d);
  return driftOf({ x: e1, y: e2, error: 1e-4 }, fwhm, bare);
};

describe('the length of a drift', () => {
  it.each([0.6, 1, 2, 3, 4.5, 6, 8])('of %d px comes back from the drawn star', (lengthPx) => {
    const { value, error } = told(lengthPx, false);
    expect(Math.abs(value / lengthPx - 1)).toBeLessThan(0.04);
    expect(error / value).toBeGreaterThan(0.02);
    expect(error / value).toBeLessThan(0.05);
  });

  it('comes back out of focus as well', () => {
    expect(Math.abs(told(3, false, 0.5).value / 3 - 1)).toBeLessThan(0.06);
  });

  it('is less well known of a bare mirror, whose coma widens the stars that tell it', () => {
    expect(told(3, true).value).toBe(told(3, false).value);
    expect(told(3, true).error).toBeGreaterThan(3 * told(3, false).error);
  });
});

describe('stars long another way at another focus', () => {
  const conditions = { pixelUm: 3.76, filter: 'L' as const, recentred: true, seeingArcsec: 2.6 };
  const NOISE = 0.005;
  const LEAST = 0.02;

  /** A sub `um` off focus whose stars are drawn with astigmatism (um) and a drift (px). */
  function sub(focusUm: number, astigmatism: number, driftPx: number) {
    const d = toDefocus(EXAMPLE_TELESCOPE, focusUm);
    const smear = { ...STEADY, driftUm: { x: driftPx * 3.76, y: 0 } };
    const image = starImage(
      EXAMPLE_TELESCOPE,
      { ...NO_ABERRATION, d, a: { x: astigmatism, y: 0 } },
      { ...conditions, smear },
    );
    const shape = measureDrawn(image);
    return { focusUm, distortion: { x: shape?.e1 ?? Number.NaN, y: shape?.e2 ?? Number.NaN, error: NOISE } };
  }

  it('may be astigmatic: drawn so, they turn by 90 degrees from one side of focus to the other', () => {
    expect(turnedThroughFocus([sub(-40, 0.15, 0), sub(40, 0.15, 0)], LEAST)).toBe(true);
    expect(turnedThroughFocus([sub(-40, 0.15, 0), sub(-39, 0.15, 0), sub(40, 0.15, 0)], LEAST)).toBe(true);
  });

  it('are not where only the telescope moved, or all subs stand on one side', () => {
    expect(turnedThroughFocus([sub(-40, 0, 3), sub(40, 0, 3)], LEAST)).toBe(false);
    expect(turnedThroughFocus([sub(20, 0.15, 0), sub(60, 0.15, 0)], LEAST)).toBe(false);
  });

  it('are a matter of tracking where the other sub is hardly long at all', () => {
    const [left, right] = [sub(-40, 0.15, 0), sub(40, 0.15, 0)];
    expect(turnedThroughFocus([left, right], 0.5)).toBe(false);
  });

  it('are a matter of tracking where focus is the same', () => {
    const [left, right] = [sub(40, 0.15, 0), sub(-40, 0.15, 0)];
    expect(turnedThroughFocus([left, { ...right, focusUm: 38 }], LEAST)).toBe(false);
  });
});
