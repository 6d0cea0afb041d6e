import { expect, it } from 'vitest';
import type { Amounts } from '../../src/diagnosis/amounts.ts';
import { tooSoft } from '../../src/diagnosis/diagnose.ts';

/** Stars of 11 px and 10 arcseconds, of which the surface of widths leaves 3 px at best focus. */
const soft = (tilt: number, curvature: number, bare: boolean, physical = true): boolean =>
  tooSoft({
    physical,
    response: { seeingArcsec: 10 },
    fwhm: 11,
    size: { floor: [3], tiltSignificance: tilt, curvatureSignificance: curvature },
    optics: { bare },
  } as unknown as Amounts);

it('stars of 10 arcseconds are out of focus where the field does not show how much of that is focus', () => {
  expect(soft(1, 1, false)).toBe(true);
  // A tilt or a curvature that is seen brings a part of the field to focus.
  expect(soft(8, 1, false)).toBe(false);
  expect(soft(1, 8, false)).toBe(false);
  // A bare mirror's curvature is not found but given.
  expect(soft(1, 8, true)).toBe(true);
  expect(soft(8, 1, true)).toBe(false);
  // Unknown optics have no arcseconds.
  expect(soft(1, 1, false, false)).toBe(false);
});
