import { expect, it } from 'vitest';
import { type DrawShape, responseTable, type StarShape } from '../../src/optics/response.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, toDefocus } from '../../src/optics/wavefront.ts';

/** A made-up instrument whose answers are plain: the table has nothing to leave over. Seeing in pixels of sigma. */
const answer = (seeing: number, { d, a, c, t }: Coefficients): StarShape => ({
  sigma2: seeing ** 2 + 4 * d ** 2 + 0.5 * (c.x ** 2 + c.y ** 2),
  e: { x: d * a.x, y: d * a.y },
  coma3: { x: 0.2 * c.x, y: 0.2 * c.y },
  trefoil3: { x: 0.3 * t.x, y: 0.3 * t.y },
});

const farthest = toDefocus(EXAMPLE_TELESCOPE, 100);
const RANGE = { seeingArcsec: { from: 1, to: 3 }, defocusUm: 100, limits: { a: 0.1, c: 0.2, t: 0.1 } };

it('tells stars with much seeing far from focus although those with little are rings that nobody measures', () => {
  const draw: DrawShape = (seeing, w) => (seeing < 1.5 && Math.abs(w.d) > 0.6 * farthest ? null : answer(seeing, w));
  const table = responseTable(EXAMPLE_TELESCOPE, draw, RANGE);
  for (const seeing of [2.2, 2.6, 3]) {
    const w = { ...NO_ABERRATION, d: 0.9 * farthest, a: { x: 0.05, y: -0.02 }, c: { x: 0.1, y: 0.05 } };
    const found = table.at(seeing, w);
    const real = answer(seeing, w);
    // The line that carries a node on misses the parabola of seeing by its bend, here a quarter of a step squared at most.
    expect(Math.abs(found.sigma2 - real.sigma2)).toBeLessThan(0.26);
    expect(Math.hypot(found.e.x - real.e.x, found.e.y - real.e.y)).toBeLessThan(1e-3);
    expect(Math.hypot(found.coma3.x - real.coma3.x, found.coma3.y - real.coma3.y)).toBeLessThan(1e-3);
  }
});

it('stays exact near focus, where everything is measurable', () => {
  const draw: DrawShape = (seeing, w) => (Math.abs(w.d) > 0.9 * farthest && seeing < 1.5 ? null : answer(seeing, w));
  const table = responseTable(EXAMPLE_TELESCOPE, draw, RANGE);
  const w = { ...NO_ABERRATION, d: 0.2 * farthest, c: { x: -0.1, y: 0.02 } };
  expect(table.at(1.2, w).sigma2).toBeCloseTo(answer(1.2, w).sigma2, 6);
});

it('refuses a range in which hardly a star is measurable', () => {
  const draw: DrawShape = (seeing, w) => (Math.abs(w.d) > 0.5 * farthest ? null : answer(seeing, w));
  expect(() => responseTable(EXAMPLE_TELESCOPE, draw, RANGE)).toThrow('hardly a drawn star');
});
