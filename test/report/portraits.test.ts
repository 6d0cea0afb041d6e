import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { choosePlaces, groupBy, placeCount } from '../../src/report/portraits/places.ts';
import { addStar, noSamples, type Portrait, stackStars } from '../../src/report/portraits/stack.ts';
import { measureStar } from '../../src/shapes/measureStar.ts';
import type { Source } from '../../src/shapes/stamp.ts';

const HALF = 20;
const WIDTH = 2 * HALF + 1;

interface Drawn {
  readonly sigmaX: number;
  readonly sigmaY: number;
  /** Another star this far to the right of the star, with so much of its peak; null where there is none. */
  readonly neighbour?: number;
  readonly green?: boolean;
  readonly noise?: number;
}

/** Closed form: an elliptical Gaussian sampled at pixel centres, on a sky of 300. */
function portraitOf({ sigmaX, sigmaY, neighbour, green = false, noise = 0 }: Drawn, stars = 40): Portrait {
  const random = seededRandom(7, 'portraits');
  const samples = noSamples();
  for (let n = 0; n < stars; n++) {
    const x = HALF + random.uniform() - 0.5;
    const y = HALF + random.uniform() - 0.5;
    const data = new Float32Array(WIDTH * WIDTH);
    const light = (px: number, py: number, cx: number): number =>
      Math.exp(-0.5 * (((px - cx) / sigmaX) ** 2 + ((py - y) / sigmaY) ** 2));
    for (let py = 0; py < WIDTH; py++)
      for (let px = 0; px < WIDTH; px++) {
        const other = neighbour !== undefined && n % 5 === 0 ? neighbour * light(px, py, x + 7) : 0;
        data[py * WIDTH + px] = 300 + 10_000 * (light(px, py, x) + other) + noise * random.normal();
      }
    const source: Source = { data, width: WIDTH, height: WIDTH, mask: null, greenParity: green ? 0 : null };
    const guess = { x, y, fwhm: 3.5, peak: 10_000, sky: 300, noise: Math.max(1, noise), gainEPerAdu: 1 };
    const measured = measureStar(source, guess);
    if (measured.status === 'measured') addStar(samples, source, measured.shape, 3.5);
  }
  const portrait = stackStars(samples, 3.5);
  if (portrait === null) throw new Error('no portrait');
  return portrait;
}

/** Widths of the half-maximum along x and y through the centre, pixels. */
function widths({ image, size, oversample }: Portrait): { x: number; y: number } {
  const middle = (size - 1) / 2;
  const width = (at: (i: number) => number): number => {
    let sum = 0;
    for (const side of [1, -1]) {
      let i = 0;
      while (at(side * i) > 0.5) i++;
      const [above, below] = [at(side * (i - 1)), at(side * i)];
      sum += i - 1 + (above - 0.5) / (above - below);
    }
    return sum / oversample;
  };
  return {
    x: width((i) => image[middle * size + middle + i] ?? 0),
    y: width((i) => image[(middle + i) * size + middle] ?? 0),
  };
}

/** FWHM of a Gaussian widened by the kernel that gathers the pixels: variances add. */
const expected = (sigma: number, { kernel }: Portrait): number => 2.354820045 * Math.hypot(sigma, kernel);

describe('a mean star', () => {
  it.each([
    { sigmaX: 1.5, sigmaY: 1.5 },
    { sigmaX: 1.8, sigmaY: 1.4 },
    { sigmaX: 1.6, sigmaY: 1.6, noise: 60 },
    { sigmaX: 1.9, sigmaY: 1.6, green: true },
  ])('has the widths of the stars it is made of: %o', (drawn) => {
    const portrait = portraitOf(drawn);
    const { x, y } = widths(portrait);
    // Slack 3 %: a straight fit under a Gaussian kernel of 0.3 px.
    expect(Math.abs(x / expected(drawn.sigmaX, portrait) - 1)).toBeLessThan(0.03);
    expect(Math.abs(y / expected(drawn.sigmaY, portrait) - 1)).toBeLessThan(0.03);
  });

  it('of point-symmetric stars is point-symmetric: no lopsided light beyond half a per cent', () => {
    const { image } = portraitOf({ sigmaX: 1.8, sigmaY: 1.4 });
    const odd = image.map((value, i) => Math.abs(value - (image[image.length - 1 - i] ?? 0)) / 2);
    expect(Math.max(...odd)).toBeLessThan(0.005);
  });

  it('does not show a neighbour that every fifth star has', () => {
    const alone = portraitOf({ sigmaX: 1.5, sigmaY: 1.5 });
    const crowded = portraitOf({ sigmaX: 1.5, sigmaY: 1.5, neighbour: 0.8 });
    const worst = alone.image.reduce((most, value, i) => Math.max(most, Math.abs(value - (crowded.image[i] ?? 0))), 0);
    expect(worst).toBeLessThan(0.02);
  });

  it('tells a larger error of noisier stars', () => {
    const quiet = portraitOf({ sigmaX: 1.5, sigmaY: 1.5 });
    const noisy = portraitOf({ sigmaX: 1.5, sigmaY: 1.5, noise: 300 });
    expect(noisy.error).toBeGreaterThan(3 * quiet.error);
  });
});

describe('places', () => {
  const random = seededRandom(3, 'places');
  // Three stars in four stand in the left third of the field.
  const stars = Array.from({ length: 600 }, (_, i) => ({
    x: (i % 4 === 0 ? 1 : 1 / 3) * 3000 * random.uniform(),
    y: 2000 * random.uniform(),
  }));

  it('are more where the stars are, and the same for the same stars', () => {
    const places = choosePlaces(stars, placeCount(stars.length));
    expect(places).toHaveLength(15);
    expect(places.filter(({ x }) => x < 1000).length).toBeGreaterThan(5);
    expect(choosePlaces(stars, 15)).toEqual(places);
  });

  it('each have stars of their own', () => {
    const places = choosePlaces(stars, 15);
    const groups = groupBy(stars, places);
    expect(groups.reduce((sum, group) => sum + group.length, 0)).toBe(stars.length);
    expect(Math.min(...groups.map((group) => group.length))).toBeGreaterThan(5);
  });

  it('are few where stars are few', () => {
    expect(choosePlaces([], placeCount(0))).toEqual([]);
    expect(placeCount(3)).toBe(3);
    expect(placeCount(30)).toBe(4);
  });
});
