import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { cellsOf } from '../../src/retrieval/cells.ts';
import type { Shape } from '../../src/shapes/shape.ts';
import { fitWidthField } from '../../src/shapes/widthField.ts';

const WIDTH = 2400;
const HEIGHT = 1600;
const SIGMA_PER_FWHM = 1 / Math.sqrt(8 * Math.LN2);

/**
 * Geometrical optics: rays cut z from focus stand z/N apart at the rim, so that squared widths grow with the square of the way to focus
 * (Smith, Modern Optical Engineering, depth of focus). Focus, tilt and curvature here in pixels of blur.
 */
function widthThere(x: number, y: number): number {
  const half = Math.hypot(WIDTH, HEIGHT) / 2;
  const [u, v] = [(x - WIDTH / 2) / half, (y - HEIGHT / 2) / half];
  return Math.hypot(3, -2 + 0.7 * u - 0.4 * v + 6 * (u * u + v * v));
}

function starsOf(count: number): Shape[] {
  const random = seededRandom(3);
  return Array.from({ length: count }, () => {
    const [x, y] = [WIDTH * random.uniform() - 0.5, HEIGHT * random.uniform() - 0.5];
    const fwhm = widthThere(x, y);
    const sigma = SIGMA_PER_FWHM * fwhm;
    const nothing = { x: 0, y: 0, error: 0.002 };
    return {
      ...{ x, y, fwhm, fwhmError: 0.01 * fwhm, sigmaMajor: sigma, sigmaMinor: sigma, e1: 0, e2: 0, eError: 0.005 },
      ...{ coma3: nothing, trefoil3: nothing },
    } as Shape;
  });
}

describe('stars of a tilted and curved field, out of focus in its middle', () => {
  it('get the window of their own place, from the middle over the sharp ring to the corners', () => {
    const field = fitWidthField(starsOf(216), WIDTH, HEIGHT);
    for (const [x, y] of [
      [1200, 800],
      [1900, 800],
      [700, 500],
      [2300, 1500],
      [60, 60],
    ])
      expect((field?.(x, y) ?? 0) / widthThere(x, y)).toBeCloseTo(1, 6);
  });

  it('are known by the frame’s middle and slopes where few hold the surface', () => {
    const field = fitWidthField(starsOf(40), WIDTH, HEIGHT);
    expect(field?.(1200, 800)).toBeGreaterThan(0.8 * widthThere(1200, 800));
    expect(field?.(1200, 800)).toBeLessThan(1.25 * widthThere(1200, 800));
  });

  it('have in each cell the width of where its stars stand on average, not the mean of a bent field', () => {
    const cells = cellsOf({ name: 'curved', width: WIDTH, height: HEIGHT, shapes: starsOf(400) }, 0);
    expect(cells.length).toBeGreaterThan(40);
    const half = Math.hypot(WIDTH, HEIGHT) / 2;
    for (const { u, v, values } of cells) {
      const there = (SIGMA_PER_FWHM * widthThere(WIDTH / 2 + half * u, HEIGHT / 2 + half * v)) ** 2;
      expect(values[0] / there).toBeGreaterThan(0.995);
      expect(values[0] / there).toBeLessThan(1.005);
    }
  });
});
