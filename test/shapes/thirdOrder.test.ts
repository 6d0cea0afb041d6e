import { describe, expect, it } from 'vitest';
import { stampAt, starImage } from '../../src/optics/psf.ts';
import { EXAMPLE_TELESCOPE, FOUR_VANES, type Vane } from '../../src/optics/telescope.ts';
import { NO_ABERRATION } from '../../src/optics/wavefront.ts';
import { measureStar } from '../../src/shapes/measureStar.ts';
import type { Shape } from '../../src/shapes/shape.ts';
import { drawStamp, gaussian, kolmogorov, moffat, type Profile, type Shaping } from '../support/profiles.ts';

const HALF = 26;
const WIDTH = 2 * HALF + 1;

/** Shape of noise-free pixels; the star's middle is the middle pixel plus (dx, dy). */
function shapeOf(data: Float64Array, fwhm: number, dx = 0, dy = 0): Shape {
  const lit = Float64Array.from(data, (v) => 1000 + 50_000 * v);
  const measured = measureStar(
    { data: lit, width: WIDTH, height: WIDTH, mask: null, greenParity: null },
    { x: HALF + dx, y: HALF + dy, fwhm, peak: 50_000, sky: 1000, noise: 5, gainEPerAdu: 1 },
  );
  if (measured.status === 'rejected') throw new Error(`rejected: ${measured.reason}`);
  return measured.shape;
}

const length = (v: { x: number; y: number }): number => Math.hypot(v.x, v.y);
const PHASES = [-0.4, -0.2, 0, 0.2, 0.4];

/** Largest false coma3 and trefoil3 over all pixel phases. */
function worstFalseSignal(profile: Profile, shaping: Shaping): number {
  let worst = 0;
  for (const dx of PHASES)
    for (const dy of PHASES) {
      const shape = shapeOf(drawStamp(profile, shaping, HALF, dx, dy), shaping.fwhm, dx, dy);
      worst = Math.max(worst, length(shape.coma3), length(shape.trefoil3));
    }
  return worst;
}

const PROFILES: readonly (readonly [string, Profile])[] = [
  ['Gaussian', gaussian],
  ['Moffat beta 2.5 (wide wings)', moffat(2.5)],
  ['Moffat beta 4.765 (turbulence theory, Trujillo et al 2001, MNRAS 328, 977)', moffat(4.765)],
  ['Kolmogorov long exposure (Fried 1966)', kolmogorov()],
];

describe('point-symmetric stars have no coma3 and no trefoil3', () => {
  // Bounds asked of the method: 1e-3 where well sampled, 5e-3 at 2.2 px.
  for (const [name, profile] of PROFILES)
    for (const [fwhm, bound] of [
      [2.2, 5e-3],
      [3, 1e-3],
      [5, 1e-3],
    ] as const)
      it(`${name}, FWHM ${fwhm} px, round and long, at every pixel phase`, () => {
        expect(worstFalseSignal(profile, { fwhm, e: 0, theta: 0 })).toBeLessThan(bound);
        expect(worstFalseSignal(profile, { fwhm, e: 0.3, theta: 0.4 })).toBeLessThan(bound);
      });
});

describe('stars as a telescope draws them, without coma or trefoil, have none measured', () => {
  const image = (w: Partial<typeof NO_ABERRATION>, vanes: readonly Vane[], dx: number, dy: number): Shape => {
    const psf = starImage(
      { ...EXAMPLE_TELESCOPE, vanes },
      { ...NO_ABERRATION, ...w },
      { pixelUm: 3.76, filter: 'mono', seeingArcsec: 2.9, grid: { size: 256, oversample: 4 } },
    );
    return shapeOf(
      stampAt(psf, dx, dy, HALF).map((v) => 10 * v),
      3.2,
      dx,
      dy,
    );
  };
  // 30 and 80 um out of focus at f/4, astigmatism on top, one vane bent by 4 mm: even one bent vane adds nothing.
  const bent = FOUR_VANES.map((vane, i) => (i === 1 ? { ...vane, offsetMm: 4 } : vane));
  for (const [name, w, vanes] of [
    ['defocused by 30 um', { d: 30 / 128 }, FOUR_VANES],
    ['defocused by 80 um with astigmatism', { d: 80 / 128, a: { x: 0.1, y: 0.05 } }, FOUR_VANES],
    ['in focus behind four vanes', {}, FOUR_VANES],
    ['behind four vanes, one of them bent', {}, bent],
    ['with spherical aberration', { s: 0.2 }, []],
  ] as const)
    it(`${name}: below 1e-3`, () => {
      for (const [dx, dy] of [
        [0, 0],
        [0.3, -0.4],
      ] as const) {
        const shape = image(w, vanes, dx, dy);
        expect(length(shape.coma3)).toBeLessThan(1e-3);
        expect(length(shape.trefoil3)).toBeLessThan(1e-3);
      }
    });
});

/** A star with a tail: a second, fainter one beside it, drawn by the same quadrature. */
function tailed(fwhm: number, angle: number, dx: number, dy: number): Float64Array {
  const shaping = { fwhm, e: 0.1, theta: 0.7 };
  const far = 0.45 * fwhm;
  const head = drawStamp(moffat(4), shaping, HALF, dx, dy);
  const tail = drawStamp(moffat(4), shaping, HALF, dx + far * Math.cos(angle), dy + far * Math.sin(angle));
  return head.map((v, i) => 0.8 * v + 0.2 * (tail[i] ?? 0));
}

describe('the odd part of a star with a tail', () => {
  it('points along the tail', () => {
    for (const angle of [0, 1, 2.5, -2]) {
      const { coma3 } = shapeOf(tailed(3.4, angle, 0.1, -0.3), 3.4);
      const off = Math.atan2(coma3.y, coma3.x) - angle;
      expect(Math.cos(off)).toBeGreaterThan(0.99);
      expect(length(coma3)).toBeGreaterThan(0.005);
    }
  });

  it('turns, mirrors and transposes exactly with the pixels', () => {
    for (const fwhm of [2.3, 3.6]) {
      const data = tailed(fwhm, 0.8, 0, 0);
      const at = (f: (x: number, y: number) => [number, number]): Shape => {
        const out = new Float64Array(WIDTH * WIDTH);
        for (let y = 0; y < WIDTH; y++)
          for (let x = 0; x < WIDTH; x++) {
            const [u, v] = f(x - HALF, y - HALF);
            out[y * WIDTH + x] = data[(v + HALF) * WIDTH + u + HALF] ?? 0;
          }
        return shapeOf(out, fwhm);
      };
      const plain = at((x, y) => [x, y]);
      const mirrored = at((x, y) => [-x, y]);
      const transposed = at((x, y) => [y, x]);
      const turned = at((x, y) => [y, -x]);
      const DIGITS = 6;
      expect(mirrored.coma3.x).toBeCloseTo(-plain.coma3.x, DIGITS);
      expect(mirrored.coma3.y).toBeCloseTo(plain.coma3.y, DIGITS);
      // Spin 3: mirroring x keeps the imaginary part and turns the real one.
      expect(mirrored.trefoil3.x).toBeCloseTo(-plain.trefoil3.x, DIGITS);
      expect(mirrored.trefoil3.y).toBeCloseTo(plain.trefoil3.y, DIGITS);
      expect(transposed.coma3.x).toBeCloseTo(plain.coma3.y, DIGITS);
      expect(transposed.coma3.y).toBeCloseTo(plain.coma3.x, DIGITS);
      expect(transposed.e2).toBeCloseTo(plain.e2, DIGITS);
      expect(transposed.e1).toBeCloseTo(-plain.e1, DIGITS);
      // A quarter turn from +x to +y: coma (x, y) -> (-y, x), trefoil e^{3 i phi} -> times e^{i 3 pi/2} = -i.
      expect(turned.coma3.x).toBeCloseTo(-plain.coma3.y, DIGITS);
      expect(turned.coma3.y).toBeCloseTo(plain.coma3.x, DIGITS);
      expect(turned.trefoil3.x).toBeCloseTo(plain.trefoil3.y, DIGITS);
      expect(turned.trefoil3.y).toBeCloseTo(-plain.trefoil3.x, DIGITS);
    }
  });

  it('is the moment integral it claims to be: the weighted sums by a fine quadrature of the same pixels', () => {
    // Gaussian star plus a small dipole-free skew term u (u^2 + v^2 - 2) times the Gaussian: coma3 is that term's amplitude
    // times <P^2> = integral of u^2 (r^2 - 2)^2 e^{-r^2} over integral of e^{-r^2} = 1 (closed form, Laguerre norm).
    const sigma = 2.6;
    const amount = 0.02;
    const data = new Float64Array(WIDTH * WIDTH);
    for (let y = 0; y < WIDTH; y++)
      for (let x = 0; x < WIDTH; x++) {
        const u = (x - HALF) / sigma;
        const v = (y - HALF) / sigma;
        const r2 = u * u + v * v;
        data[y * WIDTH + x] = Math.exp(-0.5 * r2) * (1 + amount * u * (r2 - 2));
      }
    const { coma3, trefoil3 } = shapeOf(data, 2.3548 * sigma);
    expect(coma3.x).toBeCloseTo(amount, 3);
    expect(Math.abs(coma3.y)).toBeLessThan(1e-6);
    expect(length(trefoil3)).toBeLessThan(5e-4);
  });

  it('sums and least squares meet at the FWHM where one takes over from the other', () => {
    const below = shapeOf(tailed(2.72, 0.8, 0.2, 0.1), 2.72);
    const above = shapeOf(tailed(2.78, 0.8, 0.2, 0.1), 2.78);
    expect(above.coma3.x / below.coma3.x).toBeGreaterThan(0.97);
    expect(above.coma3.x / below.coma3.x).toBeLessThan(1.03);
  });
});
