import { spawnSync } from 'node:child_process';
import { expect, it } from 'vitest';
import { type Gaussian, logDensity2, observe, type Row, transform } from '../../src/adjust/gaussian.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { needPython, PYTHON } from '../support/testData.ts';

const UNKNOWNS = 6;

/** A prior of its own for each unknown, and pairs of measurements of sums of them. */
function problem(seed: number): {
  prior: { mean: number[]; sd: number[] };
  rows: number[][];
  z: number[];
  noise: number[];
} {
  const random = seededRandom(seed, 'least squares');
  const numbers = (n: number, scale = 1): number[] => Array.from({ length: n }, () => scale * random.normal());
  return {
    prior: { mean: numbers(UNKNOWNS, 3), sd: numbers(UNKNOWNS).map((v) => 0.5 + Math.abs(v)) },
    rows: Array.from({ length: 8 }, () => numbers(UNKNOWNS)),
    z: numbers(8, 4),
    noise: numbers(8).map((v) => 0.2 + Math.abs(v)),
  };
}

/** Weighted least squares of the measurements and the prior's own lines, by scipy's LAPACK driver. */
const SCIPY = `
import json, sys
import numpy as np, scipy.linalg
p = json.load(sys.stdin)
A = np.vstack([np.array(p["rows"]) / np.array(p["noise"])[:, None], np.diag(1 / np.array(p["prior"]["sd"]))])
b = np.concatenate([np.array(p["z"]) / p["noise"], np.array(p["prior"]["mean"]) / p["prior"]["sd"]])
x, *_ = scipy.linalg.lstsq(A, b)
print(json.dumps({"x": x.tolist(), "cov": np.linalg.inv(A.T @ A).ravel().tolist()}))
`;

it('learns what weighted least squares by scipy finds, with its covariance', (context) => {
  needPython(context, 'scipy');
  for (const seed of [1, 2, 3]) compare(problem(seed));
});

function compare(given: ReturnType<typeof problem>): void {
  const run = spawnSync(PYTHON, ['-c', SCIPY], { input: JSON.stringify(given), encoding: 'utf8' });
  const reference = JSON.parse(run.stdout) as { x: number[]; cov: number[] };
  const cov = new Float64Array(UNKNOWNS ** 2);
  for (const [i, sd] of given.prior.sd.entries()) cov[i * UNKNOWNS + i] = sd * sd;
  let belief: Gaussian = { mean: Float64Array.from(given.prior.mean), cov };
  for (let k = 0; k < given.z.length; k += 2) {
    const row = (i: number): Row => (given.rows[i] ?? []).map((factor, j) => [j, factor] as const);
    belief = observe(belief, {
      z: { x: given.z[k] ?? 0, y: given.z[k + 1] ?? 0 },
      rows: [row(k), row(k + 1)],
      noise: { xx: (given.noise[k] ?? 0) ** 2, xy: 0, yy: (given.noise[k + 1] ?? 0) ** 2 },
    }).after;
  }
  for (const [i, x] of reference.x.entries()) expect(belief.mean[i]).toBeCloseTo(x, 9);
  for (const [i, c] of reference.cov.entries()) expect(belief.cov[i]).toBeCloseTo(c, 9);
}

it('a step carries mean and covariance as T m and T C T^t do, written out', () => {
  const given: Gaussian = { mean: Float64Array.of(1, 2, 3), cov: Float64Array.of(4, 1, 0, 1, 9, 2, 0, 2, 16) };
  // x0' = x0 + 2 x2, x1' = x0; both from the old values.
  const rows = new Map<number, Row>([
    [
      0,
      [
        [0, 1],
        [2, 2],
      ],
    ],
    [1, [[0, 1]]],
  ]);
  const { mean, cov } = transform(given, rows, [[0, 0, 0.5]]);
  expect([...mean]).toEqual([7, 1, 3]);
  // var(x0 + 2 x2) = 4 + 4*16 + 4*0 = 68, cov(x0', x0) = 4 + 2*0, cov(x0', x2) = 0 + 2*16.
  expect([...cov]).toEqual([68.5, 4, 32, 4, 4, 0, 32, 0, 16]);
});

it('the density integrates to one and falls as a correlated normal does', () => {
  const spread = { xx: 2, xy: 0.8, yy: 1 };
  let sum = 0;
  for (let x = -12; x <= 12; x += 0.1)
    for (let y = -9; y <= 9; y += 0.1) sum += 0.01 * Math.exp(logDensity2({ x, y }, spread));
  expect(sum).toBeCloseTo(1, 6);
  expect(logDensity2({ x: 1, y: 1 }, spread)).toBeGreaterThan(logDensity2({ x: 1, y: -1 }, spread));
});
