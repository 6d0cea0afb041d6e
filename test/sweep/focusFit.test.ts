import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { fitFocus, type SeriesFrame, SURFACE } from '../../src/sweep/focusFit.ts';
import type { SizeCurve } from '../../src/sweep/sizeCurve.ts';
import { NOMINAL_OPTICS } from '../../src/sweep/sweepOptics.ts';
import { needPython, PYTHON } from '../support/testData.ts';

/** Geometry alone: sizes are a plain parabola. */
const PARABOLA: SizeCurve = { at: (x) => ({ g: 1 + x, slope: 1 }), astigmatism: () => 1 };
const TRUTH = { best: 0.1, x: 0.12, y: -0.2, r2: 0.15, growth: 30, floor: 4 };
const [WIDTH, HEIGHT] = [4000, 3000];

/** Seven frames of forty stars whose sizes follow a parabola exactly but for noise; `spoil` changes a star's size. */
function series(seed: number, spoil: (q0: number, frame: number, star: number) => number = (q) => q): SeriesFrame[] {
  const random = seededRandom(seed, 'parabolas');
  return [-1, -0.7, -0.3, 0, 0.4, 0.7, 1].map((t, frame) => {
    const floor = TRUTH.floor * (1 + 0.1 * random.normal());
    const discs = Array.from({ length: 40 }, (_, star) => {
      const [x, y] = [random.uniform() * WIDTH, random.uniform() * HEIGHT];
      const half = Math.hypot(WIDTH, HEIGHT) / 2;
      const [u, v] = [(x - (WIDTH - 1) / 2) / half, (y - (HEIGHT - 1) / 2) / half];
      const dt = t - TRUTH.best - TRUTH.x * u - TRUTH.y * v - TRUTH.r2 * (u * u + v * v);
      const size = floor + TRUTH.growth * dt * dt;
      const error = 0.05 * size;
      const q0 = spoil(size + error * random.normal(), frame, star);
      return { x, y, flux: 1e5, hfd: 3, q0, q0Error: 0.04 * size, q2x: 0, q2y: 0, q2Error: 0.1, snr: 100, sky: 0 };
    });
    const measured = {
      name: `f${frame}`,
      width: WIDTH,
      height: HEIGHT,
      discs,
      found: 40,
      hfd: 3,
      fwhm: null,
      stacks: [],
    };
    return { measured, reading: t, order: frame, fromAbove: false };
  });
}

it('finds tilt and curvature as scipy does, with the same errors', (context) => {
  needPython(context, 'scipy.optimize', 'numpy');
  const frames = series(5);
  const fit = fitFocus(frames, NOMINAL_OPTICS, SURFACE, null, () => PARABOLA);
  const half = Math.hypot(WIDTH, HEIGHT) / 2;
  const input = {
    spread: 0.1 * TRUTH.floor,
    drift: 0.15 * TRUTH.floor,
    frames: frames.map(({ measured, reading }) => ({
      t: reading,
      stars: measured.discs.map((d) => [
        (d.x - (WIDTH - 1) / 2) / half,
        (d.y - (HEIGHT - 1) / 2) / half,
        d.q0,
        Math.hypot(d.q0Error, 0.03 * d.q0),
      ]),
    })),
  };
  const script = fileURLToPath(new URL('../../scripts/reference/focus_surface.py', import.meta.url));
  const run = spawnSync(PYTHON, [script], { input: JSON.stringify(input), encoding: 'utf8' });
  expect(run.status, run.stderr).toBe(0);
  const scipy = JSON.parse(run.stdout) as { best: number[]; errors: number[] };
  expect(fit).not.toBeNull();
  // Ours down-weighs outlying stars and learns scatter and spread from the data: a third of an error apart is usual.
  for (const [j, value] of scipy.best.entries()) {
    const error = Math.sqrt(fit?.covariance[j * 4 + j] ?? 0);
    expect(Math.abs((fit?.best[j] ?? 0) - value), `parameter ${j}`).toBeLessThan(scipy.errors[j]);
    expect(error / scipy.errors[j]).toBeGreaterThan(0.7);
    expect(error / scipy.errors[j]).toBeLessThan(1.4);
  }
});

it('finds what the sizes were made from, outliers or not', () => {
  for (const spoil of [undefined, (q: number, f: number, s: number): number => ((f + s) % 9 === 0 ? 2.5 * q : q)]) {
    const fit = fitFocus(series(8, spoil), NOMINAL_OPTICS, SURFACE, null, () => PARABOLA);
    const error = (j: number): number => Math.sqrt(fit?.covariance[j * 4 + j] ?? 0);
    for (const [j, truth] of [TRUTH.best, TRUTH.x, TRUTH.y, TRUTH.r2].entries()) {
      expect(Math.abs((fit?.best[j] ?? 0) - truth), `parameter ${j}`).toBeLessThan(3 * error(j));
      expect(error(j)).toBeLessThan(0.03);
    }
    expect(Math.abs((fit?.growth ?? 0) / TRUTH.growth - 1)).toBeLessThan(0.05);
  }
});

it('says nothing of a run whose stars do not change, or of one reading', () => {
  const flat = series(9).map((f) => ({
    ...f,
    measured: { ...f.measured, discs: f.measured.discs.map((d) => ({ ...d, q0: 4 })) },
  }));
  const found = fitFocus(flat, NOMINAL_OPTICS, SURFACE, null, () => PARABOLA);
  expect(found === null || found.growth < 0.05).toBe(true);
  expect(
    fitFocus(
      series(9).map((f) => ({ ...f, reading: 3 })),
      NOMINAL_OPTICS,
    ),
  ).toBeNull();
});
