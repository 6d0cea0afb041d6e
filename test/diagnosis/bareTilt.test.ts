import { expect, it } from 'vitest';
import { sigmasForBareTilt } from '../../src/diagnosis/bareTilt.ts';
import type { Retrieved } from '../../src/diagnosis/retrieved.ts';

/** A bare mirror of which the fit found foci (um), and astigmatism (um RMS) growing from side to side and from the middle. */
function found(
  foci: readonly number[],
  sideways = 0.01,
  error = 0.003,
): Pick<Retrieved, 'perSub' | 'astigmatismRmsUm'> {
  const interval = (value: number): { value: number; low: number; high: number } => ({
    value,
    low: value - 1,
    high: value + 1,
  });
  return {
    perSub: foci.map((um, frame) => ({
      frame,
      seeingArcsec: interval(2),
      focusUm: interval(um),
      compromiseUm: interval(Math.abs(um)),
      smear: { x: 0, y: 0, error: 0.01 },
      astigmatic: { x: 0, y: 0 },
      comatic: { x: 0, y: 0 },
    })),
    astigmatismRmsUm: {
      uniform: { x: 0, y: 0, error: 0.002 },
      linear: { x: 0.6 * sideways, y: -0.8 * sideways, error },
      radial: { value: -0.036, error: 0.002 },
    },
  };
}

const ZONE_UM = 40;
/** Half-diagonals. */
const NODE = 0.1;

it('a tilt that is seen off focus, in still air, needs no more than any other', () => {
  expect(sigmasForBareTilt(found([-30]), false, ZONE_UM, NODE)).toBe(0);
});

it('beside the smear of the air, and more so where every sub stands near focus, it must be seen more surely', () => {
  const beside = sigmasForBareTilt(found([-30]), true, ZONE_UM, NODE);
  const near = sigmasForBareTilt(found([2, -5]), false, ZONE_UM, NODE);
  expect(beside).toBeGreaterThan(5);
  expect(near).toBeGreaterThan(beside);
  expect(sigmasForBareTilt(found([2, -5]), true, ZONE_UM, NODE)).toBe(near);
});

it('one sub off focus among several is enough to stand off focus', () => {
  expect(sigmasForBareTilt(found([2, 35]), false, ZONE_UM, NODE)).toBe(0);
});

it('is never told where the fit found more sideways astigmatism than the mirror has of its own', () => {
  expect(sigmasForBareTilt(found([-30], 0.074), false, ZONE_UM, NODE)).toBe(Number.POSITIVE_INFINITY);
  // Not seen to differ from none.
  expect(sigmasForBareTilt(found([-30], 0.04, 0.02), false, ZONE_UM, NODE)).toBe(0);
  // A mirror whose axis stands far off makes it.
  expect(sigmasForBareTilt(found([-30], 0.074), false, ZONE_UM, 1.2)).toBe(0);
});
