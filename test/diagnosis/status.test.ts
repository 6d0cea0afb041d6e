import { expect, it } from 'vitest';
import { statusOf } from '../../src/diagnosis/finding.ts';

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
