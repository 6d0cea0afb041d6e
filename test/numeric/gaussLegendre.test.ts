import { expect, it } from 'vitest';
import { gaussLegendre } from '../../src/numeric/gaussLegendre.ts';

// Abramowitz & Stegun 1964, table 25.4: closed forms of its first rows.
it.each([
  [1, [0], [2]],
  [2, [-Math.sqrt(1 / 3), Math.sqrt(1 / 3)], [1, 1]],
  [3, [-Math.sqrt(3 / 5), 0, Math.sqrt(3 / 5)], [5 / 9, 8 / 9, 5 / 9]],
])('has the points and weights of the handbook, %i of them', (count, places, weights) => {
  const points = gaussLegendre(count);
  points.forEach(({ place, weight }, i) => {
    expect(place).toBeCloseTo(places[i], 14);
    expect(weight).toBeCloseTo(weights[i], 14);
  });
  expect(points).toHaveLength(count);
});

it('is exact for powers below twice its points, and not for the next', () => {
  for (const count of [4, 6, 9, 15]) {
    const sum = (power: number): number =>
      gaussLegendre(count).reduce((total, { place, weight }) => total + weight * place ** power, 0);
    for (let power = 0; power < 2 * count; power++)
      expect(sum(power)).toBeCloseTo(power % 2 === 0 ? 2 / (power + 1) : 0, 13);
    expect(Math.abs(sum(2 * count) - 2 / (2 * count + 1))).toBeGreaterThan(1e-9);
  }
});
