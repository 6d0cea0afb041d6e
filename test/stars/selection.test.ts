import { describe, expect, it } from 'vitest';
import { measureFrame } from '../../src/measure.ts';
import { CLEAR_SKY, type Sky } from '../../src/optics/sky.ts';
import { elongationOf, type Shape } from '../../src/shapes/shape.ts';
import { LEFT_OUT } from '../../src/stars/leftOut.ts';
import { drawSubWithTruth, type SubOptions } from '../support/draw.ts';

/** A drawn sub measured: the stars used, those of them that were never drawn, and what was left out. */
function measured(sky: Partial<Sky>, options: SubOptions = {}) {
  const { frame, drawn } = drawSubWithTruth({
    width: 2000,
    height: 1400,
    starCount: 600,
    seed: 11,
    camera: { hotPixels: 5e-5 },
    sky: { ...CLEAR_SKY, ...sky },
    ...options,
  });
  const result = measureFrame(frame);
  const isDrawn = (s: Shape): boolean => drawn.stars.some((t) => Math.hypot(t.x - s.x, t.y - s.y) < 2);
  const used = result.stars.shapes;
  return { used, strangers: used.filter((s) => !isDrawn(s)), leftOut: result.leftOut, found: result.found };
}

const clean = measured({});
// False stars asked for: under half a per cent of those used.
const share = (m: ReturnType<typeof measured>): number => m.strangers.length / m.used.length;

describe('selection takes stars and nothing else', () => {
  it('a clean frame with hot pixels: every star used was drawn, hot pixels are counted', () => {
    expect(clean.strangers).toEqual([]);
    expect(clean.used.length).toBeGreaterThan(480);
    expect(clean.leftOut['hot-or-cosmic']).toBeGreaterThan(100);
  });

  for (const [what, sky] of [
    ['300 cosmic rays', { cosmicRays: 300 }],
    ['4 satellite trails', { trails: 4 }],
    ['60 galaxies', { galaxies: 60 }],
    ['nebulosity and a gradient', { nebulosityE: 800, gradient: { x: 0.3, y: 0.2 } }],
    ['all of them', { cosmicRays: 100, trails: 3, galaxies: 20, nebulosityE: 600 }],
  ] as const)
    it(`${what}: false stars under 0.5 %, and most stars are still there`, () => {
      const dirty = measured(sky);
      expect(share(dirty)).toBeLessThan(0.005);
      expect(dirty.used.length).toBeGreaterThan(0.7 * clean.used.length);
    });

  it('haloes and spikes of stars five thousand times too bright draw no false stars and cost few', () => {
    const { drawn } = drawSubWithTruth({ width: 2000, height: 1400, starCount: 500, seed: 5 });
    const bright = [
      { x: 400, y: 400, electrons: 3e8 },
      { x: 1500, y: 900, electrons: 1e8 },
      { x: 900, y: 1100, electrons: 3e7 },
      { x: 1600, y: 300, electrons: 2e9 },
    ];
    const plain = measured({}, { seed: 5, stars: drawn.stars });
    const glaring = measured({}, { seed: 5, stars: [...drawn.stars, ...bright] });
    expect(glaring.strangers).toEqual([]);
    expect(glaring.used.length).toBeGreaterThan(0.97 * plain.used.length);
    expect(glaring.leftOut.saturated).toBeGreaterThanOrEqual(4);
  });

  it('there is no roundness cut: with all stars drawn out two to one none is left out for it', () => {
    const long = measured({}, { smear: { driftUm: { x: 26, y: 0 } } });
    // Spread over more pixels, faint ones sink below the limit of light and near ones touch; none may go for its shape.
    const forShape = ['extended', 'trail', 'odd-profile', 'not-fitted'] as const;
    const lost = forShape.reduce((sum, reason) => sum + (long.leftOut[reason] ?? 0), 0);
    expect(lost).toBeLessThan(0.02 * long.used.length);
    const typical = long.used.map(elongationOf).sort((a, b) => a - b)[Math.floor(long.used.length / 2)];
    expect(typical).toBeGreaterThan(1.7);
  });

  it('soft corners cost no stars: widths are compared with the place, not with the frame', () => {
    const curved = measured({}, { state: { fieldCurvatureUmPerMm2: 3 } });
    const corners = (m: ReturnType<typeof measured>): number =>
      m.used.filter((s) => Math.abs(s.x - 1000) > 700 && Math.abs(s.y - 700) > 480).length;
    expect(corners(curved)).toBeGreaterThan(0.75 * corners(clean));
  });

  it('every candidate is either used or counted under a reason of the table', () => {
    const counted = Object.entries(clean.leftOut).reduce((sum, [, n]) => sum + n, 0);
    expect(counted + clean.used.length).toBe(clean.found);
    expect(Object.keys(clean.leftOut).every((reason) => reason in LEFT_OUT)).toBe(true);
  });
});
