import { expect, it } from 'vitest';
import { statusOf, unlessOpen } from '../../src/diagnosis/finding.ts';

// amount, error, sigma, tolerance: what may be said of it.
it.each([
  [0.3, 0.01, 30, 0.156, 'fault'],
  [0.3, 0.08, 4, 0.156, 'not-measurable'],
  [0.3, 0.15, 2, 0.156, 'not-measurable'],
  [0.1, 0.01, 10, 0.156, 'within-tolerance'],
  [0.01, 0.01, 1, 0.156, 'not-detected'],
  [0.05, 0.4, 0.1, 0.156, 'not-measurable'],
] as const)('amount %f with error %f at %f sigma against %f is %s', (amount, error, sigma, tolerance, status) => {
  expect(statusOf(amount, error, sigma, tolerance)).toBe(status);
});

it('a fault whose near end leaves it open is not measurable, anything else stays', () => {
  expect(unlessOpen('fault', 0.05, 0.1)).toBe('not-measurable');
  expect(unlessOpen('fault', 0.11, 0.1)).toBe('fault');
  expect(unlessOpen('within-tolerance', 0.05, 0.1)).toBe('within-tolerance');
  expect(unlessOpen('not-detected', 0, 0.1)).toBe('not-detected');
});
