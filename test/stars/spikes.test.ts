import { describe, expect, it } from 'vitest';
import type { Frame } from '../../src/frame/frame.ts';
import { measureFrame } from '../../src/measure.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import type { Star } from '../../src/optics/starList.ts';
import type { Vane } from '../../src/optics/telescope.ts';
import { type SpikeAngle, type SpikesUnseen, spikesTogether } from '../../src/stars/spikes.ts';
import { drawSub } from '../support/draw.ts';

const DEG = Math.PI / 180;
/** Bright stars take seconds to draw: some cases wait for the long form. */
const FULL = process.env['STARPLUMB_FULL'] === '1';
const [WIDTH, HEIGHT] = [640, 480];

const spikesOf = (frame: Frame): SpikeAngle | SpikesUnseen => measureFrame(frame).spikes;

/** Spikes lie ACROSS the vanes (Born & Wolf 8.5): of four vanes at 20 degrees at 20 + 90 k, of three at 50 + 60 k. */
const vanesAt = (count: number, deg: number, widthMm = 1): Vane[] =>
  Array.from({ length: count }, (_, i) => ({ angle: (deg + (360 * i) / count) * DEG, widthMm, offsetMm: 0 }));

/** Eight bright stars, most of them saturated, at uneven places away from the border, and faint ones among them. */
function stars(seed: number, electrons: number): Star[] {
  const random = seededRandom(seed, 'spikes');
  const bright = Array.from({ length: 8 }, (_, i) => ({
    x: 115 + 135 * (i % 4) + 10 * random.uniform(),
    y: 120 + 220 * Math.floor(i / 4) + 20 * random.uniform(),
    electrons: electrons * (0.5 + random.uniform()),
  }));
  const faint = Array.from({ length: 250 }, () => ({
    x: WIDTH * random.uniform(),
    y: HEIGHT * random.uniform(),
    electrons: 5000 + 60_000 * random.uniform() ** 3,
  }));
  return [...bright, ...faint];
}

const draw = (vanes: Vane[], options: Parameters<typeof drawSub>[0] = {}, electrons = 6e6): Frame =>
  drawSub({
    width: WIDTH,
    height: HEIGHT,
    telescope: { vanes },
    stars: stars(options.seed ?? 3, electrons),
    seed: 3,
    ...options,
  });

function seen(found: SpikeAngle | SpikesUnseen): SpikeAngle {
  if ('why' in found) throw new Error(found.why);
  return found;
}

/** Degrees from the truth, within half a period. */
function off(found: SpikeAngle, deg: number): number {
  const period = found.period / DEG;
  return ((((found.angle / DEG - deg + 1.5 * period) % period) + period) % period) - period / 2;
}

const AT_20 = draw(vanesAt(4, 20), { seed: 4 });

describe('drawn by Fourier optics', () => {
  const cases = [
    { deg: 0, options: { seed: 3 }, long: true },
    { deg: 20, options: { seed: 4, smear: { driftUm: { x: 4, y: 2 } } }, long: true },
    { deg: 44, options: { seed: 5, seeingArcsec: 3 }, long: false },
    { deg: 71.3, options: { seed: 6, camera: { mosaic: ['R', 'G', 'G', 'B'] as const } }, long: true },
  ];
  for (const { deg, options, long } of cases) {
    it.skipIf(long && !FULL)(`a cross at ${deg} degrees, modulo a right angle, within its error`, () => {
      const found = seen(spikesOf(draw(vanesAt(4, deg), options)));
      expect(found.period / DEG).toBeCloseTo(90, 9);
      expect(found.error / DEG).toBeLessThan(1);
      expect(Math.abs(off(found, deg))).toBeLessThan(Math.max(0.3, (3 * found.error) / DEG));
    });
  }

  it('three vanes make a six-pointed star', () => {
    const found = seen(spikesOf(draw(vanesAt(3, 20, 2))));
    expect(found.period / DEG).toBeCloseTo(60, 9);
    expect(Math.abs(off(found, 50))).toBeLessThan(1.5);
  });

  it('turning the stored rows over turns the angle round', () => {
    const frame = AT_20;
    expect(Math.abs(off(seen(spikesOf(frame)), 20))).toBeLessThan(0.5);
    const rows = frame.pixels.data.slice();
    for (let y = 0; y < HEIGHT; y++)
      rows.set(frame.pixels.data.subarray(y * WIDTH, (y + 1) * WIDTH), (HEIGHT - 1 - y) * WIDTH);
    const turned: Frame = { ...frame, pixels: { ...frame.pixels, data: rows } };
    expect(Math.abs(off(seen(spikesOf(turned)), -20))).toBeLessThan(0.5);
  });
});

describe('cannot tell', () => {
  it.each([
    ['no spider', []] as [string, Vane[]],
    ['one thick stalk: two arms are no cross', vanesAt(1, 20, 6)] as [string, Vane[]],
    ...(FULL ? [['two crosses', [...vanesAt(4, 20), ...vanesAt(4, 50)]] as [string, Vane[]]] : []),
  ])('%s', (_, vanes) => {
    expect(spikesOf(draw(vanes))).toHaveProperty('why');
  });

  it('no bright star', () => {
    const faint = stars(3, 4e6).map((star) => ({ ...star, electrons: Math.min(star.electrons, 9000) }));
    expect(spikesOf(draw(vanesAt(4, 20), { stars: faint }))).toEqual({ why: 'no bright stars' });
  });
});

describe('frames together', () => {
  const cross = (deg: number, errorDeg = 0.2): SpikeAngle => ({
    angle: deg * DEG,
    error: errorDeg * DEG,
    period: 90 * DEG,
    stars: 10,
  });

  it('89.9 and 0.1 degrees are 0.2 degrees apart, not 90', () => {
    const mean = spikesTogether([cross(89.9), cross(0.1), { why: 'no spikes' }]);
    expect(mean && Math.min(mean.angle / DEG, 90 - mean.angle / DEG)).toBeLessThan(1e-9);
    expect(mean && mean.error / DEG).toBeCloseTo(0.2 / Math.SQRT2, 6);
  });

  it('frames that disagree, or different spiders, give nothing', () => {
    expect(spikesTogether([cross(20), cross(25)])).toBeNull();
    expect(spikesTogether([cross(20), { ...cross(20), period: 60 * DEG }])).toBeNull();
    expect(spikesTogether([{ why: 'no spikes' }])).toBeNull();
  });
});
