import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { cellsOf } from '../../src/retrieval/cells.ts';
import type { Shape } from '../../src/shapes/shape.ts';
import { fitWidthField } from '../../src/shapes/widthField.ts';

const WIDTH = 2400;
const HEIGHT = 1600;
const half = Math.hypot(WIDTH, HEIGHT) / 2;
const SIGMA_PER_FWHM = 1 / Math.sqrt(8 * Math.LN2);

/**
 * Geometrical optics: rays cut z from focus stand z/N apart at the rim, so that squared widths grow with the square of the way to focus
 * (Smith, Modern Optical Engineering, depth of focus). Focus, tilt and curvature here in pixels of blur.
 */
function widthThere(x: number, y: number): number {
  const [u, v] = [(x - WIDTH / 2) / half, (y - HEIGHT / 2) / half];
  return Math.hypot(3, -2 + 0.7 * u - 0.4 * v + 6 * (u * u + v * v));
}

interface Drawn {
  readonly count: number;
  readonly seed?: number;
  /** Of the widths, as a share. */
  readonly scatter?: number;
  readonly width?: (x: number, y: number) => number;
  /** Farthest from the middle, half-diagonals. */
  readonly reach?: number;
}

function starsOf({ count, seed = 3, scatter = 0, width = widthThere, reach = 1 }: Drawn): Shape[] {
  const random = seededRandom(seed);
  const stars: Shape[] = [];
  while (stars.length < count) {
    const [x, y] = [WIDTH * random.uniform() - 0.5, HEIGHT * random.uniform() - 0.5];
    if (Math.hypot(x - WIDTH / 2, y - HEIGHT / 2) > reach * half) continue;
    const fwhm = width(x, y) * (1 + scatter * random.normal());
    const sigma = SIGMA_PER_FWHM * fwhm;
    const nothing = { x: 0, y: 0, error: 0.002 };
    stars.push({
      ...{ x, y, fwhm, fwhmError: 0.01 * fwhm, sigmaMajor: sigma, sigmaMinor: sigma, e1: 0, e2: 0, eError: 0.005 },
      ...{ coma3: nothing, trefoil3: nothing },
    } as Shape);
  }
  return stars;
}

const PLACES = [
  [1200, 800],
  [1900, 800],
  [700, 500],
  [2300, 1500],
  [60, 60],
] as const;

describe('stars of a tilted and curved field, out of focus in its middle', () => {
  it('get the window of their own place, from the middle over the sharp ring to the corners', () => {
    const field = fitWidthField(starsOf({ count: 216, scatter: 0.03 }), WIDTH, HEIGHT);
    for (const [x, y] of PLACES) expect(Math.abs((field?.(x, y) ?? 0) / widthThere(x, y) - 1)).toBeLessThan(0.04);
  });

  it('beyond the outermost get none that runs away', () => {
    const reach = 0.7;
    const field = fitWidthField(starsOf({ count: 216, scatter: 0.03, reach }), WIDTH, HEIGHT);
    const outermost = widthThere(WIDTH / 2 + 0.6 * half, HEIGHT / 2 + 0.36 * half);
    for (const [x, y] of [
      [0, 0],
      [WIDTH, 0],
      [0, HEIGHT],
      [WIDTH, HEIGHT],
    ]) {
      expect(field?.(x, y)).toBeGreaterThan(0.6 * outermost);
      expect(field?.(x, y)).toBeLessThan(1.4 * outermost);
    }
  });

  it('have in each cell the width of where its stars stand on average, not the mean of a bent field', () => {
    const cells = cellsOf({ name: 'curved', width: WIDTH, height: HEIGHT, shapes: starsOf({ count: 400 }) }, 0);
    expect(cells.length).toBeGreaterThan(40);
    for (const { u, v, values } of cells) {
      const there = (SIGMA_PER_FWHM * widthThere(WIDTH / 2 + half * u, HEIGHT / 2 + half * v)) ** 2;
      expect(values[0] / there).toBeGreaterThan(0.995);
      expect(values[0] / there).toBeLessThan(1.005);
    }
  });
});

it('few stars of a flat field bend it no more than a quadratic surface does', () => {
  const corners = Array.from({ length: 40 }, (_, k) => {
    const stars = starsOf({ count: 60, seed: k + 1, scatter: 0.05, width: () => 3.5 });
    return (fitWidthField(stars, WIDTH, HEIGHT)?.(0, 0) ?? 0) / 3.5;
  });
  // Nine terms would leave the corner known to 6 %.
  expect(Math.sqrt(corners.reduce((sum, c) => sum + (c - 1) ** 2, 0) / 40)).toBeLessThan(0.05);
});
