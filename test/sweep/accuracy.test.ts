import { expect, it } from 'vitest';
import { judgeCase, measureCase, summariseCases, sweepCase } from '../support/sweepCases.ts';

/** A cut of `npm run accuracy:sweep`, which draws 300 runs. */
const CASES = process.env['STARPLUMB_FULL'] === '1' ? 60 : 6;

it('drawn runs of known tilt, curvature and astigmatism are found again, with the right side', {
  timeout: 600_000,
}, () => {
  const judged = Array.from({ length: CASES }, (_, i) => sweepCase(5000 + i)).flatMap(
    (one) => judgeCase(one, measureCase(one, 20)) ?? [],
  );
  expect(judged).toHaveLength(CASES);
  const summary = summariseCases(judged);
  expect(summary['axisMedianDeg']).toBeLessThan(3);
  expect(summary['rightSide']).toBe(1);
  expect(summary['above5Sigma']).toBeGreaterThan(0.8 * CASES);
  expect(summary['amountMedian']).toBeLessThan(0.05);
  expect(summary['curvatureMedian']).toBeLessThan(0.08);
  expect(summary['bestRmsUm9']).toBeLessThan(5);
  expect(Math.abs((summary['growthMedian'] ?? 0) - 1)).toBeLessThan(0.03);
  for (const { seed, pulls } of judged)
    for (const [name, pull] of Object.entries(pulls)) expect(Math.abs(pull), `seed ${seed}: ${name}`).toBeLessThan(5);
});
