import { describe, expect, it } from 'vitest';
import { farShare } from '../../src/diagnosis/refined.ts';
import type { Retrieved } from '../../src/diagnosis/retrieved.ts';

const optics = { focalLengthMm: 800, apertureMm: 200 };

/** Subs out of focus by so much, um along the axis, at 2.5": a disc of D/f of that, 0.0645" a um. */
const far = (...foci: readonly number[]): number =>
  farShare(
    {
      perSub: foci.map((value) => ({
        focusUm: { value, low: value, high: value },
        seeingArcsec: { value: 2.5, low: 2.5, high: 2.5 },
      })),
    } as unknown as Pick<Retrieved, 'perSub'>,
    optics,
  );

describe('how far out of focus the amount of coma gets unsure', () => {
  it('is nothing near focus, half of it where discs are wide, and between rises evenly', () => {
    // Discs of 0.52, 0.9 and 1.5 FWHM of seeing stand at 20, 34.9 and 58.2 um.
    expect(far(20)).toBe(0);
    expect(far(-34)).toBe(0);
    expect(far(59)).toBe(0.5);
    expect(far(-300)).toBe(0.5);
    expect(far(46.5)).toBeCloseTo(0.25, 2);
  });

  it('is told by the sub nearest to focus', () => {
    expect(far(-90, 10)).toBe(0);
    expect(far(-90, -46.5)).toBeCloseTo(0.25, 2);
  });
});
