import { describe, expect, it } from 'vitest';
import { type StarPlace, type StarPlaces, starPlaces, starTravel } from '../../src/adjust/starTravel.ts';
import { measureFrame } from '../../src/measure.ts';
import { type Random, seededRandom } from '../../src/numeric/random.ts';
import { drawSub } from '../support/draw.ts';

const FIELD = { width: 3000, height: 2000 };

/** Stars all over and around the frame, faint ones many (a slope of 0.35 a magnitude is usual). */
function sky(random: Random, count: number): StarPlace[] {
  return Array.from({ length: count }, () => ({
    x: (3 * random.uniform() - 1) * FIELD.width,
    y: (3 * random.uniform() - 1) * FIELD.height,
    flux: 2000 * random.uniform() ** -1.14,
  }));
}

interface View {
  readonly dx?: number;
  readonly dy?: number;
  /** Exposure: bright stars saturate and are left out, faint ones come in. */
  readonly gain?: number;
  readonly missing?: number;
  readonly turned?: boolean;
}

function view(
  stars: readonly StarPlace[],
  random: Random,
  { dx = 0, dy = 0, gain = 1, missing = 0, turned }: View,
): StarPlaces {
  const seen = stars
    .map(({ x, y, flux }) => ({
      x: (turned === true ? FIELD.width - 1 - x : x) + dx + 0.1 * random.normal(),
      y: (turned === true ? FIELD.height - 1 - y : y) + dy + 0.1 * random.normal(),
      flux: flux * gain * Math.exp(0.05 * random.normal()),
    }))
    .filter(({ x, y, flux }) => x > 5 && y > 5 && x < FIELD.width - 5 && y < FIELD.height - 5 && flux < 200_000)
    .filter(() => random.uniform() >= missing)
    .sort((a, b) => b.flux - a.flux)
    .slice(0, 90);
  return { ...FIELD, stars: seen };
}

describe('how far the stars went', () => {
  it.each<[string, View, View]>([
    ['a turn of an eighth', {}, { dx: 310, dy: -240 }],
    ['a third of the frame', {}, { dx: -1000, dy: 500 }],
    ['an exposure ten times as long', {}, { dx: 120, dy: 60, gain: 10 }],
    ['half the stars gone', { missing: 0.4 }, { dx: 35, dy: 400, missing: 0.4 }],
    ['nothing at all', {}, {}],
    ['the mount on its other side', {}, { dx: 80, dy: -50, turned: true }],
  ])('%s', (_, first, second) => {
    for (let seed = 1; seed <= 8; seed++) {
      const random = seededRandom(seed, 'sky');
      const stars = sky(random, 3000);
      const travel = starTravel(view(stars, random, first), view(stars, random, second));
      if ('why' in travel) expect.fail(`seed ${seed}: ${travel.why}`);
      expect(Math.hypot(travel.x - (second.dx ?? 0), travel.y - (second.dy ?? 0))).toBeLessThan(0.4);
      expect(travel.turned).toBe(second.turned ?? false);
    }
  });

  it('says that it cannot tell: other fields, 200 pairs, none taken for the same', () => {
    const found = Array.from({ length: 200 }, (_, seed) => {
      const random = seededRandom(seed, 'other skies');
      return starTravel(view(sky(random, 3000), random, {}), view(sky(random, 3000), random, {}));
    });
    expect(found.filter((travel) => !('why' in travel))).toEqual([]);
  });

  it('says that it cannot tell from a handful of stars, or from subs of other sizes', () => {
    const random = seededRandom(1, 'few');
    const few = view(sky(random, 30), random, {});
    expect(starTravel(few, few)).toEqual({ why: `only ${few.stars.length} stars in a sub` });
    expect(starTravel(few, { ...few, width: 10 })).toEqual({ why: 'the subs differ in size' });
  });

  it('finds the way that drawn and measured subs were drawn apart, through coma', () => {
    const draw = (x: number, arcmin: number, noiseSeed: number): StarPlaces =>
      starPlaces(
        measureFrame(
          drawSub({
            width: 900,
            height: 600,
            starCount: 220,
            seed: 5,
            noiseSeed,
            ditherPx: { x, y: -0.5 * x },
            marginPx: 140,
            state: { primaryTiltArcmin: { x: arcmin, y: 0 } },
          }),
        ).stars,
      );
    const travel = starTravel(draw(0, 3, 1), draw(120, 1, 2));
    if ('why' in travel) expect.fail(travel.why);
    // Coma shifts a star's middle by a fraction of a pixel only.
    expect(Math.hypot(Math.abs(travel.x) - 120, Math.abs(travel.y) - 60)).toBeLessThan(2);
  });
});
