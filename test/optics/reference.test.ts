import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { type Complex, ZERO } from '../../src/optics/complex.ts';
import { stampAt, starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../../src/optics/telescope.ts';
import { type Coefficients, NO_ABERRATION } from '../../src/optics/wavefront.ts';
import { needPython, PYTHON } from '../support/testData.ts';

/** Drawn by scripts/reference/stars.py: another language, another method, no shared code. */
interface ReferenceStar {
  readonly name: string;
  readonly w: { d?: number; s?: number; a?: Pair; c?: Pair; t?: Pair };
  readonly seeing: number;
  readonly obstruction: number;
  readonly offset?: Pair;
  readonly vanes: number;
  readonly colours?: readonly Pair[];
  readonly drift?: Pair;
  readonly jump?: readonly [number, number, number];
  readonly place: Pair;
  readonly pixelUm: number;
  readonly half: number;
  readonly rays: boolean;
  readonly stamp: readonly number[];
}
type Pair = readonly [number, number];

const path = fileURLToPath(new URL('../reference/optics/stars.json', import.meta.url));
const script = fileURLToPath(new URL('../../scripts/reference/stars.py', import.meta.url));
const { stars } = JSON.parse(readFileSync(path, 'utf8')) as { stars: ReferenceStar[] };

const vector = (pair: Pair | undefined): Complex => (pair ? { x: pair[0], y: pair[1] } : ZERO);

function drawn(star: ReferenceStar): Float64Array {
  const telescope: Telescope = {
    ...EXAMPLE_TELESCOPE,
    obstruction: star.obstruction,
    obstructionOffset: vector(star.offset),
    vanes: Array.from({ length: star.vanes }, (_, k) => ({
      angle: (2 * Math.PI * k) / star.vanes,
      widthMm: 1,
      offsetMm: 0,
    })),
  };
  const w: Coefficients = {
    ...NO_ABERRATION,
    d: star.w.d ?? 0,
    s: star.w.s ?? 0,
    a: vector(star.w.a),
    c: vector(star.w.c),
    t: vector(star.w.t),
  };
  const psf = starImage(telescope, w, {
    pixelUm: star.pixelUm,
    filter: 'mono',
    ...(star.colours ? { lights: star.colours.map(([um, weight]) => ({ um, weight })) } : {}),
    seeingArcsec: star.seeing,
    smear: {
      ...STEADY,
      driftUm: vector(star.drift),
      jumpUm: star.jump ? { x: star.jump[0], y: star.jump[1] } : ZERO,
      jumpFraction: star.jump?.[2] ?? 0,
    },
  });
  return stampAt(psf, star.place[0], star.place[1], star.half);
}

function worstShare(values: ArrayLike<number>, expected: readonly number[]): number {
  const peak = Math.max(...expected);
  let worst = 0;
  for (let i = 0; i < expected.length; i++) worst = Math.max(worst, Math.abs(values[i] - expected[i]));
  return worst / peak;
}

const direct = stars.filter((star) => !star.rays);
const rays = stars.filter((star) => star.rays);

it('the reference holds ten stars by direct summation and two by rays', () => {
  expect([direct.length, rays.length]).toEqual([10, 2]);
});

it.each(direct)('$name: agrees with the directly summed diffraction integral within 1 % of the peak', (star) => {
  expect(worstShare(drawn(star), star.stamp)).toBeLessThan(0.01);
});

it.each(rays)('$name: agrees with convolved ray spots as far as geometric optics goes', (star) => {
  // Rays know no fringes: 5 to 7 % of the peak is their own error at one or two waves of defocus.
  expect(worstShare(drawn(star), star.stamp)).toBeLessThan(0.08);
});

it('a star mirrored in the reference would be noticed', () => {
  const star = direct.find((one) => one.name === 'coma');
  if (!star) throw new Error('no comatic star in the reference');
  const mirrored = drawn({ ...star, w: { c: [-0.34, 0] } });
  expect(worstShare(mirrored, star.stamp)).toBeGreaterThan(0.05);
});

it('the reference script still gives the stored stars', (context) => {
  needPython(context, 'numpy', 'scipy');
  const run = spawnSync(PYTHON, [script], { encoding: 'utf8', env: { ...process.env, OPENBLAS_NUM_THREADS: '1' } });
  expect(run.status).toBe(0);
  const again = (JSON.parse(run.stdout) as { stars: ReferenceStar[] }).stars;
  for (const [i, star] of stars.entries()) expect(worstShare(again[i].stamp, star.stamp)).toBeLessThan(1e-4);
});
