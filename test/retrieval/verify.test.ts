import { expect, it } from 'vitest';
import type { ResponseTable, StarShape } from '../../src/optics/response.ts';
import type { Retrieval } from '../../src/retrieval/fitWavefront.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';
import { sidesByDrawing } from '../../src/retrieval/verify.ts';

const ZERO = { x: 0, y: 0 };
const shape = (sigma2: number): StarShape => ({ sigma2, e: ZERO, coma3: ZERO, trefoil3: ZERO });

const layout = layoutOf(1, false);
const at = (d: number): Float64Array => {
  const parameters = new Float64Array(layout.length);
  parameters[layout.seeing(0)] = 2;
  parameters[layout.focus(0)] = d;
  return parameters;
};

/** Two cells with an error of 0.1 px^2, fitted with their errors doubled: 5 px^2 are seen. */
const cells = [0, 0.5].map((u) => ({
  frame: 0,
  u,
  v: 0,
  stars: 6,
  values: Float64Array.of(5, 0, 0, 0, 0, 0, 0),
  errors: new Float64Array(7).fill(0.1),
}));
const table = {
  rms: { sigma2: 0, e: 0, coma3: 0, trefoil3: 0 },
  // What the table says of the far side is 0.4 px^2 off, that is 2 errors in each cell.
  at: (_seeing: number, { d }: { d: number }) => shape(d < 0 ? 5 : 5.4),
} as unknown as ResponseTable;

function retrievalWith(inside: number, outside: readonly [number, number]): Retrieval {
  const scan = [
    { focus: -0.2, weight: inside, parameters: at(-0.2), covariance: new Float64Array(0) },
    { focus: 0.2, weight: outside[0], parameters: at(0.2), covariance: new Float64Array(0) },
    { focus: 0.3, weight: outside[1], parameters: at(0.3), covariance: new Float64Array(0) },
  ];
  return { layout, cells, errorScale: 2, scan } as unknown as Retrieval;
}

const weightsOf = ({ scan }: Retrieval): Map<number, number> => new Map(scan.map((p) => [p.focus, p.weight]));

it('drawn stars weigh the sides of focus anew where the table was wrong about one of them', () => {
  // Both sides draw what is seen: the table has cost the far one chi-square 2 x 2^2 = 8, a factor e^4 of its weight.
  const weighed = sidesByDrawing(table, retrievalWith(0.9, [0.08, 0.02]), () => shape(5));
  const weights = weightsOf(weighed);
  const ratio = (weights.get(0.2) ?? 0) / (weights.get(-0.2) ?? 1);
  expect(ratio / (0.08 / 0.9)).toBeCloseTo(Math.exp(4), 6);
  expect((weights.get(0.3) ?? 0) / (weights.get(0.2) ?? 1)).toBeCloseTo(0.25, 12);
  expect([...weights.values()].reduce((a, b) => a + b, 0)).toBeCloseTo(1, 12);
  expect(weighed.scan.map(({ focus }) => focus)).toEqual([0.2, 0.3, -0.2]);
});

it('changes nothing where drawn stars say what the table said, or one side has all the weight', () => {
  const same = sidesByDrawing(table, retrievalWith(0.9, [0.08, 0.02]), (_seeing, { d }) => table.at(2, { d } as never));
  for (const [focus, weight] of [
    [-0.2, 0.9],
    [0.2, 0.08],
    [0.3, 0.02],
  ])
    expect(weightsOf(same).get(focus)).toBeCloseTo(weight, 12);
  const sure = retrievalWith(1, [1e-12, 1e-12]);
  expect(sidesByDrawing(table, sure, () => shape(5))).toBe(sure);
});
