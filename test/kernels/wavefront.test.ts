import { afterEach, describe, expect, it } from 'vitest';
import { kernels, useKernels } from '../../src/kernels/kernels.ts';
import { type CurveProblem, continueCurve } from '../../src/numeric/curveFit.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { type ResponseTable, responseTable, type StarShape } from '../../src/optics/response.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import type { Coefficients } from '../../src/optics/wavefront.ts';
import { type Cell, QUANTITIES } from '../../src/retrieval/cells.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';
import { type Prior, retrievalProblem } from '../../src/retrieval/problem.ts';

/** The compiled fit of the whole field against the TypeScript that does the same where there are no kernels. */

afterEach(() => useKernels(true));

/** No optics: every term of the table gets some factor. */
function drawn(seeing: number, { d, a, c, t }: Coefficients): StarShape {
  const s2 = seeing ** 2;
  const both = 1 + 0.1 * d;
  const size = 2 * s2 + 9 * d ** 2 + 5 * (a.x ** 2 + a.y ** 2) + 7 * (c.x ** 2 + c.y ** 2) + a.x * c.x + t.y ** 2;
  return {
    sigma2: size,
    e: { x: (d * a.x) / s2 + 0.2 * c.x * c.x - 0.1 * c.y * t.x, y: (d * a.y) / s2 + 0.3 * c.x * c.y },
    coma3: { x: (both * c.x) / s2 + 0.1 * a.x * t.x, y: (both * c.y) / s2 - 0.2 * a.y * c.x },
    trefoil3: { x: (t.x * 0.8) / s2 + 0.1 * a.x * c.x, y: (t.y * 0.8) / s2 + 0.1 * d * a.y * c.y },
  };
}

const table = responseTable(EXAMPLE_TELESCOPE, drawn, {
  seeingArcsec: { from: 1.5, to: 3 },
  defocusUm: 80,
  limits: { a: 0.4, c: 0.4, t: 0.2 },
});

function stateOf(subs: number, skewed: boolean, seed: number): Float64Array {
  const random = seededRandom(seed);
  const layout = layoutOf(subs, skewed);
  const p = Float64Array.from({ length: layout.length }, () => 0.3 * (random.uniform() - 0.5));
  for (let f = 0; f < subs; f++) {
    p[layout.seeing(f)] = 1.6 + random.uniform();
    p[layout.focus(f)] = 0.8 * (random.uniform() - 0.5);
    // The last one drawn out beyond what is told of smears.
    p[layout.smear(f)] = f === subs - 1 ? 9 : 2 * random.uniform();
    p[layout.smear(f) + 1] = -random.uniform();
  }
  return p;
}

function problemOf(subs: number, skewed: boolean, by: Pick<ResponseTable, 'at' | 'slopesAt' | 'rms'>): CurveProblem {
  const random = seededRandom(subs);
  const layout = layoutOf(subs, skewed);
  const truth = stateOf(subs, skewed, 7);
  const cells: Cell[] = Array.from({ length: 12 * subs }, (_, i) => ({
    frame: i % subs,
    u: 1.4 * (random.uniform() - 0.5),
    v: random.uniform() - 0.5,
    stars: 5,
    values: new Float64Array(QUANTITIES).fill(1),
    errors: Float64Array.from({ length: QUANTITIES }, (_, k) => (k === 0 ? 0.05 : 0.004)),
  }));
  const bounds = { lower: Array.from(truth, (x) => x - 0.6), upper: Array.from(truth, (x) => x + 0.6) };
  const priors: Prior[] = Array.from({ length: layout.length }, (_, index) => ({
    terms: [
      { index, factor: 1 },
      { index: (index + 1) % layout.length, factor: -0.3 },
    ],
    value: 0.1,
    sigma: 5,
  }));
  const { whole } = retrievalProblem(layout, by, cells, priors, bounds, 1);
  const exact = new Float64Array(cells.length * QUANTITIES + priors.length);
  whole?.values(truth, exact);
  const seen = cells.map((cell, i) => ({
    ...cell,
    values: exact.slice(QUANTITIES * i, QUANTITIES * (i + 1)).map((x, k) => x + cell.errors[k] * random.normal()),
  }));
  return retrievalProblem(layout, by, seen, priors, bounds, 1);
}

const both = (subs: number, skewed: boolean): { compiled: CurveProblem; plain: CurveProblem } => {
  useKernels(true);
  if (kernels() === null) throw new Error('this Node has no kernels');
  const compiled = problemOf(subs, skewed, table);
  useKernels(false);
  const plain = problemOf(subs, skewed, table);
  expect([compiled.descend === undefined, plain.descend === undefined]).toEqual([false, true]);
  return { compiled, plain };
};

const apart = (a: ArrayLike<number>, b: ArrayLike<number>): number => {
  expect(a.length).toBe(b.length);
  let worst = 0;
  // NaN stays NaN.
  for (let i = 0; i < a.length; i++) worst = Math.max(worst, Math.abs(a[i] - b[i]) / Math.max(1, Math.abs(b[i])));
  return worst;
};

describe.each([
  [1, false],
  [3, false],
  [2, true],
])('the compiled fit of the whole field, %i subs, skewed %s', (subs, skewed) => {
  it('tells the same stars and the same slopes', () => {
    const { compiled, plain } = both(subs, skewed);
    const points = plain.values.length;
    const n = layoutOf(subs, skewed).length;
    for (const seed of [1, 2, 3]) {
      const p = stateOf(subs, skewed, seed);
      const told = [compiled, plain].map(({ whole }) => {
        const [values, again, rows] = [points, points, points * n].map((count) => new Float64Array(count));
        whole?.values(p, values);
        whole?.slopes(p, again, rows);
        return { values, again, rows };
      });
      expect(apart(told[0].values, told[1].values)).toBeLessThan(1e-9);
      expect(apart(told[0].again, told[1].values)).toBeLessThan(1e-9);
      expect(apart(told[0].rows, told[1].rows)).toBeLessThan(1e-9);
      expect(Math.max(...told[1].rows)).toBeGreaterThan(1);
    }
  });

  it('goes down the same way', () => {
    const { compiled, plain } = both(subs, skewed);
    const start = stateOf(subs, skewed, 7).map((x, j) => x + 0.02 * ((j % 3) - 1));
    const [one, other] = [compiled, plain].map((problem) => continueCurve(problem, start));
    expect(other?.chi2).toBeLessThan(1.5 * plain.values.length);
    expect(apart([one?.chi2 ?? Number.NaN], [other?.chi2 ?? 0])).toBeLessThan(1e-7);
    expect(apart(one?.parameters ?? [], other?.parameters ?? [])).toBeLessThan(1e-4);
  });
});

it('many subs go by the TypeScript where the kernels have no room for them', () => {
  useKernels(true);
  expect(problemOf(20, false, table).descend).toBeUndefined();
});
