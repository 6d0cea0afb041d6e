import { describe, expect, it } from 'vitest';
import { airIsSuspect } from '../../src/diagnosis/air.ts';
import type { Amounts } from '../../src/diagnosis/amounts.ts';
import type { Setup } from '../../src/diagnosis/setup.ts';

/** Whether the air is suspected of a skew of this coma3 and a smear of this distortion, expected to make `air` of round stars. */
function suspected(
  skew: number,
  smear: number,
  air: NonNullable<Amounts['air']>,
  altitudeDeg = 37,
  filter = 'L',
): boolean {
  const amounts = {
    smooth: { coma: { uniform: { x: skew, y: 0, error: 0.0005, changing: 0 } } },
    air,
    skew: { coma3: { x: skew, y: 0 }, direction: 0 },
    smear: { x: smear, y: 0, error: 0.005 },
    steady: { x: smear, y: 0, error: 0.005, changing: 0, strays: [] },
  } as unknown as Amounts;
  return airIsSuspect(amounts, { altitudeDeg, filter } as Setup);
}

describe('a skewed smear low in the sky', () => {
  it('is the air’s where it is about as long, and skewed no more than spread colours are', () => {
    // Skews and smears of drawn nights at 30 to 40 deg in luminance or without a filter; trefoil3 by stars drawn with that elongation.
    expect(suspected(0.0328, 0.253, { distortion: 0.233, coma3: 0.0196, trefoil3: 0.029 })).toBe(true);
    expect(suspected(0.0126, 0.172, { distortion: 0.149, coma3: 0.0025, trefoil3: 0.015 })).toBe(true);
    expect(suspected(0.0072, 0.109, { distortion: 0.102, coma3: 0.001, trefoil3: 0.0075 })).toBe(true);
  });

  it('is a jump where it is twice as long and skewed many times as much, or skewed though the air does not skew at all', () => {
    // 4.6" jumps of single subs at 37 and 35 deg, and one of 1.2 tolerances.
    expect(suspected(0.0947, 0.147, { distortion: 0.069, coma3: 0.0019, trefoil3: 0.0038 })).toBe(false);
    expect(suspected(0.0477, 0.148, { distortion: 0.071, coma3: 0.0014, trefoil3: 0.0039 })).toBe(false);
    expect(suspected(0.028, 0.139, { distortion: 0.067, coma3: 0.0001, trefoil3: 0.0036 })).toBe(false);
  });

  it('is none of the air’s high up, or through a line filter', () => {
    expect(suspected(0.0126, 0.172, { distortion: 0.149, coma3: 0.0025, trefoil3: 0.015 }, 65)).toBe(false);
    expect(suspected(0.0126, 0.172, { distortion: 0.149, coma3: 0.0025, trefoil3: 0.015 }, 37, 'Ha')).toBe(false);
  });
});
