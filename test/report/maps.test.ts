import { expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { roundLevels } from '../../src/report/maps/levels.ts';
import { type Spot, smoothField } from '../../src/report/maps/smoothField.ts';
import { ringsOf } from '../../src/report/svg.ts';

const [WIDTH, HEIGHT] = [3000, 2000];

function spots(seed: number, value: (x: number, y: number) => number, noise: number, count = 500): Spot[] {
  const random = seededRandom(seed, 'maps');
  return Array.from({ length: count }, () => {
    const x = WIDTH * (random.uniform() - 0.5);
    const y = HEIGHT * (random.uniform() - 0.5);
    return { x, y, values: [value(x, y) + noise * random.normal()] };
  });
}

it('a plane comes out as that plane', () => {
  const plane = (x: number, y: number): number => 3 + x / 5000 - y / 4000;
  const smooth = smoothField(spots(1, plane, 0), WIDTH, HEIGHT);
  // Slack: the ridge that keeps edges calm leans the plane a little less there.
  for (const [x, y] of [
    [0, 0],
    [900, -600],
    [-1200, 800],
  ] as const)
    expect(Math.abs((smooth?.(x, y).values[0] ?? 0) - plane(x, y))).toBeLessThan(0.03);
});

it('the error is the scatter of the map over many draws', () => {
  const pulls: number[] = [];
  for (let seed = 0; seed < 60; seed++) {
    const smooth = smoothField(
      spots(seed, () => 3, 0.1, 300),
      WIDTH,
      HEIGHT,
    );
    const { values, errors } = smooth?.(400, -300) ?? { values: [], errors: [] };
    pulls.push(((values[0] ?? 0) - 3) / (errors[0] ?? 1));
  }
  const width = Math.sqrt(pulls.reduce((sum, pull) => sum + pull * pull, 0) / pulls.length);
  // 60 draws know a width to 9 %.
  expect(width).toBeGreaterThan(0.7);
  expect(width).toBeLessThan(1.3);
});

it('too few stars make no map', () => {
  expect(
    smoothField(
      spots(1, () => 3, 0, 20),
      WIDTH,
      HEIGHT,
    ),
  ).toBeNull();
});

it('contour values are round and stand farther apart than the errors', () => {
  expect(roundLevels(2.83, 3.9, 0.01).values.map((v) => v.toFixed(1))).toEqual(['3.0', '3.2', '3.4', '3.6', '3.8']);
  const { step } = roundLevels(2.83, 3.9, 0.2);
  expect(step).toBeGreaterThanOrEqual(0.5);
  expect(roundLevels(3, 3, 0.01).values).toEqual([]);
});

it('a contour of a slope stands where the slope has that value', () => {
  const [columns, rows] = [21, 11];
  const values = Array.from({ length: columns * rows }, (_, i) => i % columns);
  const [band] = ringsOf(values, columns, rows, [7.25]);
  const inner = (band?.rings.flat() ?? []).filter(([x, y]) => x < 20 && y > 0 && y < 10);
  expect(inner.length).toBeGreaterThan(5);
  for (const [x] of inner) expect(x).toBeCloseTo(7.25, 6);
});
