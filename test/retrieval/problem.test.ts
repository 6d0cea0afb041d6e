import { describe, expect, it } from 'vitest';
import { type ResponseTable, responseTable } from '../../src/optics/response.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import type { Coefficients } from '../../src/optics/wavefront.ts';
import type { Cell } from '../../src/retrieval/cells.ts';
import type { Retrieval } from '../../src/retrieval/fitWavefront.ts';
import { boundsOf, otherSides, reachOf } from '../../src/retrieval/knowledge.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';
import { withoutLone } from '../../src/retrieval/loneStars.ts';
import { retrievalProblem } from '../../src/retrieval/problem.ts';
import { verifyByDrawing } from '../../src/retrieval/verify.ts';

/** A made-up instrument whose answers are plain. */
const table = responseTable(
  EXAMPLE_TELESCOPE,
  (seeing, { d, a, c, t }) => ({
    sigma2: seeing ** 2 + 4 * d ** 2 + 0.5 * (c.x ** 2 + c.y ** 2),
    e: { x: d * a.x, y: d * a.y },
    coma3: { x: (0.2 + 0.1 * d * d) * c.x, y: (0.2 + 0.1 * d * d) * c.y },
    trefoil3: { x: 0.3 * t.x, y: 0.3 * t.y },
  }),
  { seeingArcsec: { from: 1, to: 3 }, defocusUm: 100, limits: { a: 0.1, c: 0.2, t: 0.1 } },
);
const layout = layoutOf(2, true);
const cells: Cell[] = [0, 1].flatMap((frame) =>
  [-0.7, 0, 0.5].map((u, i) => ({
    frame,
    u,
    v: 0.3 * i - 0.2,
    stars: 6,
    values: Float64Array.from({ length: 7 }, (_, k) => (k === 0 ? 4 : 0.01 * k)),
    errors: new Float64Array(7).fill(0.02),
  })),
);
const priors = [
  { terms: [{ index: 2, factor: 1 }], value: 0.1, sigma: 2 },
  {
    terms: [
      { index: 0, factor: 0.5 },
      { index: layout.seeing(1), factor: -0.5 },
    ],
    value: 0,
    sigma: 0.2,
  },
];
const free = new Array<number>(layout.length).fill(1e9);
const problem = retrievalProblem(layout, table, cells, priors, { lower: free.map((x) => -x), upper: free }, 1);
const calm = Float64Array.from({ length: layout.length }, (_, j) => 0.04 * Math.sin(j + 1));
calm[layout.seeing(0)] = 2.1;
calm[layout.seeing(1)] = 1.8;
calm[layout.focus(0)] = 0.2;
calm[layout.focus(1)] = -0.15;
const count = problem.values.length;
const whole = problem.whole ?? expect.unreachable('all points at once');

it('says the same of all points at once as of one after the other', () => {
  // Without what the kernels take: they are held against this in test/kernels.
  const unpacked: Pick<ResponseTable, 'at' | 'slopesAt' | 'rms'> = {
    at: (seeing, w) => table.at(seeing, w),
    slopesAt: (seeing, w) => table.slopesAt(seeing, w),
    rms: table.rms,
  };
  const plain = retrievalProblem(layout, unpacked, cells, priors, { lower: free, upper: free }, 1);
  const alone = plain.whole ?? expect.unreachable('all points at once');
  const values = new Float64Array(count);
  const again = new Float64Array(count);
  const rows = new Float64Array(count * layout.length).fill(7);
  alone.values(calm, values);
  alone.slopes(calm, again, rows);
  for (let i = 0; i < count; i++) {
    expect(values[i]).toBeCloseTo(plain.model(calm, i), 12);
    expect(again[i]).toBeCloseTo(values[i], 12);
    plain.jacobian(calm, i).forEach((slope, j) => {
      expect(rows[i * layout.length + j]).toBe(slope);
    });
  }
});

// Smears of the first and the second sub, px^2: stars nearly round, drawn out, and drawn out further than the law of their coma goes.
it.each([
  [0.04, 0.03],
  [1.1, -1.4],
  [4.5, 0.9],
])('has the derivatives that small differences show, smears of %d and %d px^2', (first, second) => {
  const place = Float64Array.from(calm);
  place[layout.smear(0)] = first;
  place[layout.smear(1) + 1] = second;
  place[layout.coma] = 0.15;
  place[layout.trefoil + 1] = 0.09;
  const rows = new Float64Array(count * layout.length);
  whole.slopes(place, new Float64Array(count), rows);
  const step = 1e-5;
  for (let j = 0; j < layout.length; j++) {
    const [ahead, back] = [step, -step].map((by) => {
      const out = new Float64Array(count);
      whole.values(
        place.map((value, k) => (k === j ? value + by : value)),
        out,
      );
      return out;
    });
    for (let i = 0; i < count; i++)
      expect(rows[i * layout.length + j]).toBeCloseTo((ahead[i] - back[i]) / (2 * step), 6);
  }
});

it('is tried with the subs on every other side of focus, their common side left out', () => {
  const three = layoutOf(3, false);
  const p = new Float64Array(three.length).fill(0.5);
  [0.3, -0.2, 0.001].forEach((d, f) => {
    p[three.focus(f)] = d;
  });
  const sides = otherSides(three, p).map((start) => [0, 1, 2].map((f) => start[three.focus(f)]));
  // The third stands in focus, where both sides are one.
  expect(sides).toEqual([
    [-0.3, -0.2, 0.001],
    [0.3, 0.2, 0.001],
    [-0.3, 0.2, 0.001],
  ]);
  expect(otherSides(layoutOf(1, false), [2, 0.3])).toEqual([]);
  const five = layoutOf(5, false);
  expect(otherSides(five, new Float64Array(five.length).fill(0.5))).toHaveLength(5);
});

it('lets what grows over the field go as far as the table holds where the stars are', () => {
  const known = {
    focus: 0.2,
    astigmatism: 0.1,
    linearComa: { value: 0, sigma: 0.05 },
    uniform: 0.1,
    smear: { mean: 2, scatter: 0.2 },
    shadow: 0.01,
    bare: null,
    sameFocus: [],
  };
  const reach = reachOf([
    { frame: 0, u: 0.3, v: -0.4 },
    { frame: 0, u: 0, v: 0.1 },
  ]);
  expect(reach).toBeCloseTo(0.5, 12);
  const { upper } = boundsOf(layout, table, known, reach);
  expect(upper[layout.radialAstigmatism] * reach ** 2).toBeCloseTo(table.range.limits.a, 12);
  expect(upper[layout.linearAstigmatism] * reach).toBeCloseTo(table.range.limits.a, 12);
  expect(upper[layout.astigmatism]).toBe(table.range.limits.a);
  // From the far end of focus on one side in the middle to that on the other side where the stars end.
  expect(upper[layout.curvature] * reach ** 2).toBeCloseTo(2 * table.defocusLimit, 12);
});

describe('a lone star that stands apart', () => {
  const said = new Float64Array(count);
  whole.values(calm, said);
  /** The cells as the model says, give or take so many of their errors; one or more of them apart in e1. */
  const made = (stars: number, apart: readonly number[], noise = 1): Cell[] =>
    cells.map((cell, c) => ({
      ...cell,
      stars,
      values: cell.values.map(
        (_, k) => said[7 * c + k] + 0.02 * (noise * Math.sin(3 * (7 * c + k) + 1) + (k === 1 ? apart[c] : 0)),
      ),
    }));
  const left = (some: readonly Cell[]): number => withoutLone(some, layout, table, calm).length;

  it('is left out', () => {
    const kept = withoutLone(made(2, [0, 0, 0, 12, 0, 0]), layout, table, calm);
    expect(kept.map(({ frame, u }) => `${frame} ${u}`)).not.toContain(`1 ${cells[3].u}`);
    expect(kept).toHaveLength(cells.length - 1);
  });

  it('stays where others of its cell could have voted it out', () => {
    expect(left(made(3, [0, 0, 0, 12, 0, 0]))).toBe(cells.length);
  });

  it('stays where all scatter as much', () => {
    expect(left(made(1, [0, 0, 0, 12, 0, 0], 4))).toBe(cells.length);
  });

  it('stays where more than one of a few do: it is the fit that is off', () => {
    expect(left(made(1, [0, 0, 0, 12, -12, 0]))).toBe(cells.length);
  });
});

describe('drawn stars against the table', () => {
  const off = { sigma2: 0.01, e: 0.004, coma3: 0.002, trefoil3: 0.003 };
  /** Of rich subs: the means of the cells are known far better than the table tells them. */
  const retrieval = {
    layout,
    best: { parameters: calm },
    cells: cells.map((cell) => ({ ...cell, errors: cell.errors.map(() => 1e-4) })),
  } as unknown as Retrieval;
  const drawnOff = (seeing: number, w: Coefficients) => {
    const { sigma2, e, coma3, trefoil3 } = table.at(seeing, w);
    return {
      sigma2: sigma2 * (1 + off.sigma2),
      e: { x: e.x + off.e, y: e.y },
      coma3: { x: coma3.x, y: coma3.y + off.coma3 },
      trefoil3: { x: trefoil3.x + off.trefoil3, y: trefoil3.y },
    };
  };

  it('are held against the error that the fit allowed the table', () => {
    expect(verifyByDrawing({ ...table, rms: off }, retrieval, drawnOff)).toBeLessThan(1.5);
    expect(verifyByDrawing({ ...table, rms: off }, retrieval, drawnOff)).toBeGreaterThan(0.5);
    const finer = { sigma2: 0.001, e: 0.0004, coma3: 0.0002, trefoil3: 0.0003 };
    expect(verifyByDrawing({ ...table, rms: finer }, retrieval, drawnOff)).toBeGreaterThan(5);
  });

  it('tell nothing where most of a sub cannot be measured', () => {
    let drawn = 0;
    expect(verifyByDrawing(table, retrieval, (seeing, w) => (++drawn > 2 ? drawnOff(seeing, w) : null))).not.toBeNull();
    expect(verifyByDrawing(table, retrieval, (seeing, w) => (seeing < 2 ? null : drawnOff(seeing, w)))).toBeNull();
  });
});
