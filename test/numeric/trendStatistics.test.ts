import { spawnSync } from 'node:child_process';
import { expect, it } from 'vitest';
import { fTail, studentWidth } from '../../src/numeric/fTail.ts';
import { fitGroupedVectors, type VectorSeries } from '../../src/numeric/groupedVectorFit.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { theilSen } from '../../src/numeric/theilSen.ts';
import { needPython, PYTHON } from '../support/testData.ts';

function python(program: string, input: unknown): unknown {
  const run = spawnSync(PYTHON, ['-c', `import json,sys\nd=json.load(sys.stdin)\n${program}`], {
    input: JSON.stringify(input),
    encoding: 'utf8',
  });
  if (run.status !== 0) throw new Error(run.stderr);
  return JSON.parse(run.stdout);
}

it('F tail and Student width against scipy.stats', (context) => {
  needPython(context, 'scipy.stats');
  const cases = [
    [0.3, 2, 5],
    [4.2, 2, 11.5],
    [9, 4, 30],
    [25, 2, 60],
    [3, 6, 8],
  ];
  const tails = python('import scipy.stats as s\nprint(json.dumps([s.f.sf(*c) for c in d]))', cases) as number[];
  cases.forEach(([f = 0, a = 2, b = 1], i) => {
    expect(fTail(f, a, b) / (tails[i] ?? 0)).toBeCloseTo(1, 9);
  });
  const widths = python(
    'import scipy.stats as s\nprint(json.dumps([s.t.ppf(s.norm.cdf(1),n) for n in d]))',
    [3, 6, 20],
  );
  (widths as number[]).forEach((width, i) => {
    expect(studentWidth([3, 6, 20][i] ?? 1)).toBeCloseTo(width, 2);
  });
});

it('Theil-Sen slope and its interval against scipy.stats.theilslopes', (context) => {
  needPython(context, 'scipy.stats');
  const random = seededRandom(3, 'sen');
  const x = Array.from({ length: 41 }, (_, i) => i + 0.3 * random.uniform());
  const y = x.map((v) => 2 - 0.03 * v + 0.2 * random.normal());
  const found = theilSen(x, y);
  const [slope = 0, intercept = 0, low = 0, high = 0] = python(
    'import scipy.stats as s\nr=s.theilslopes(d[1],d[0],2*s.norm.cdf(1)-1)\nprint(json.dumps([float(v) for v in r]))',
    [x, y],
  ) as number[];
  expect(found?.slope).toBeCloseTo(slope, 12);
  expect(found?.intercept).toBeCloseTo(intercept, 12);
  expect(found?.low).toBeCloseTo(low, 12);
  expect(found?.high).toBeCloseTo(high, 12);
});

it('vector fit: generalised least squares with numpy, given the scatter that was found', (context) => {
  needPython(context, 'scipy.linalg');
  const random = seededRandom(5, 'gls');
  const [groups, members] = [14, 3];
  const count = groups * members;
  const wander = Array.from({ length: groups }, () => [0.1 * random.normal(), 0.1 * random.normal()] as const);
  const group = Array.from({ length: count }, (_, i) => Math.floor(i / members));
  const time = group.map((g) => g / 10 - 0.65);
  const noise = group.map(() => 0.05 + 0.03 * random.uniform());
  const value = (c: 0 | 1): number[] =>
    group.map((g, i) => 0.4 + 0.3 * (time[i] ?? 0) + (wander[g]?.[c] ?? 0) + (noise[i] ?? 0) * random.normal());
  const series: VectorSeries = {
    design: Float64Array.from({ length: 2 * count }, (_, j) => (j % 2 === 0 ? 1 : (time[j >> 1] ?? 0))),
    terms: 2,
    x: value(0),
    y: value(1),
    noise,
    lengthError: group.map(() => 0),
    group,
  };
  const fit = fitGroupedVectors(series);
  if (fit === null) throw new Error('no fit');
  expect(Math.min(...fit.weights)).toBe(1);
  const reference = python(
    `import numpy as np
from scipy import linalg
g=np.array(d['group']);t=np.array(d['time']);n=np.array(d['noise'])
S=np.diag(n**2+d['within']**2)+d['between']**2*(g[:,None]==g[None,:])
X=np.c_[np.ones(len(t)),t];P=linalg.inv(S);C=linalg.inv(X.T@P@X)
print(json.dumps([(C@X.T@P@np.array(d[k])).tolist() for k in 'xy']+[C.tolist()]))`,
    { group, time, noise, x: series.x, y: series.y, within: fit.scatterWithin, between: fit.scatterBetween },
  ) as [number[], number[], number[][]];
  for (const k of [0, 1]) {
    expect(fit.parameters[2 * k]).toBeCloseTo(reference[0][k] ?? 0, 5);
    expect(fit.parameters[2 * k + 1]).toBeCloseTo(reference[1][k] ?? 0, 5);
    expect(fit.covariance[2 * k * 4 + 2 * k] / (reference[2][k]?.[k] ?? 1)).toBeCloseTo(1, 4);
  }
});
