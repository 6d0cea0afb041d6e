import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { levenbergMarquardt } from 'ml-levenberg-marquardt';
import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import {
  fitParameters,
  type GaussianFit,
  type GaussianParameters,
  gaussianJacobian,
  withErrors,
} from '../../src/shapes/gaussianFit.ts';
import { cutStamp, newStamp, type Stamp } from '../../src/shapes/stamp.ts';
import { numericGradient } from '../support/naive.ts';
import { drawStamp, moffat, withNoise } from '../support/profiles.ts';
import { needPython, PYTHON } from '../support/testData.ts';

const asList = (p: GaussianParameters): number[] => [p.amplitude, p.x0, p.y0, p.a, p.b, p.c, p.background];
const fromList = (v: readonly number[]): GaussianParameters => {
  const [amplitude = 0, x0 = 0, y0 = 0, a = 0, b = 0, c = 0, background = 0] = v;
  return { amplitude, x0, y0, a, b, c, background };
};

const HALF = 14;
const WIDTH = 2 * HALF + 1;

/** Noisy Moffat stars as cut-outs, with a start near each. */
function cutouts(count: number, seed: number): { stamp: Stamp; start: GaussianParameters }[] {
  const random = seededRandom(seed);
  return Array.from({ length: count }, () => {
    const fwhm = 2.2 + 2.5 * random.uniform();
    const shaping = { fwhm, e: 0.4 * random.uniform(), theta: Math.PI * random.uniform() };
    const dx = random.uniform() - 0.5;
    const dy = random.uniform() - 0.5;
    const clean = drawStamp(moffat(3.5), shaping, HALF, dx, dy);
    const peak = 10 ** (2.7 + 1.9 * random.uniform());
    const data = withNoise(clean, peak, { sky: 1000, sigma: 12, gainEPerAdu: 1 }, random);
    const stamp = newStamp();
    const source = { data, width: WIDTH, height: WIDTH, mask: null, greenParity: null };
    cutStamp(source, HALF + dx, HALF + dy, 2 * fwhm, Number.POSITIVE_INFINITY, stamp);
    const form = (4 * Math.LN2) / fwhm ** 2;
    return { stamp, start: { x0: 0, y0: 0, amplitude: peak, a: form, b: 0, c: form, background: 1000 } };
  });
}

const list = (values: Float64Array, stamp: Stamp): number[] => Array.from(values.subarray(0, stamp.count));

function fitGaussian(stamp: Stamp, start: GaussianParameters, noise: number, gain: number): GaussianFit | null {
  const fitted = fitParameters(stamp, start);
  return fitted === null ? null : withErrors(stamp, fitted, noise, gain);
}

describe('elliptical Gaussian fit', () => {
  it('has the derivatives that finite differences find', () => {
    const p = { amplitude: 900, x0: 0.3, y0: -0.2, a: 0.31, b: 0.12, c: 0.22, background: 100 };
    const out = new Float64Array(7);
    for (const [x, y] of [
      [0, 0],
      [2, -1],
      [-3, 2.5],
    ] as const) {
      const value = gaussianJacobian(p, x, y, out);
      const model = (v: readonly number[]): number => gaussianJacobian(fromList(v), x, y, new Float64Array(7));
      expect(value).toBeCloseTo(model(asList(p)), 12);
      numericGradient(model, asList(p)).forEach((slope, i) => {
        expect(out[i]).toBeCloseTo(slope, 4);
      });
    }
  });

  it('finds the parameters of a Gaussian drawn at pixel centres from a poor start', () => {
    const truth = { amplitude: 5000, x0: 0.37, y0: -0.21, a: 0.28, b: -0.11, c: 0.19, background: 321 };
    const stamp = newStamp();
    const data = new Float64Array(WIDTH * WIDTH);
    for (let y = 0; y < WIDTH; y++)
      for (let x = 0; x < WIDTH; x++)
        data[y * WIDTH + x] = gaussianJacobian(truth, x - HALF, y - HALF, new Float64Array(7));
    cutStamp({ data, width: WIDTH, height: WIDTH, mask: null, greenParity: null }, HALF, HALF, 8, Infinity, stamp);
    const fit = fitGaussian(
      stamp,
      { ...truth, amplitude: 3000, x0: -0.5, y0: 0.4, a: 0.1, b: 0, c: 0.1, background: 0 },
      1,
      1,
    );
    const found = asList(fit?.parameters ?? truth);
    asList(truth).forEach((value, i) => {
      expect(Math.abs((found[i] ?? 0) - value)).toBeLessThan(1e-4 * Math.max(1, Math.abs(value)));
    });
  });

  it('stands at the minimum that ml-levenberg-marquardt finds from there', () => {
    for (const { stamp, start } of cutouts(12, 5)) {
      const fit = fitGaussian(stamp, start, 12, 1);
      const ours = asList(fit?.parameters ?? start);
      const root = list(stamp.weight, stamp).map(Math.sqrt);
      const scale = start.amplitude;
      const other = levenbergMarquardt(
        { x: root.map((_, k) => k), y: root.map((w, k) => ((stamp.value[k] ?? 0) * w) / scale) },
        (v) => (k) => {
          const q = fromList(v);
          const f = gaussianJacobian(q, stamp.dx[k] ?? 0, stamp.dy[k] ?? 0, new Float64Array(7));
          return (f * (root[k] ?? 0)) / scale;
        },
        {
          initialValues: ours,
          jacobianFunction: (v) => (k) => {
            const out = new Float64Array(7);
            gaussianJacobian(fromList(v), stamp.dx[k] ?? 0, stamp.dy[k] ?? 0, out);
            return Array.from(out, (d) => (d * (root[k] ?? 0)) / scale);
          },
          damping: 1e-3,
          maxIterations: 12,
          errorTolerance: 1e-12,
        },
      ).parameterValues;
      // sqrt(ac) sets the width; a relative 2e-4 of it is 1e-4 of the FWHM.
      const form = (v: readonly number[]): number => Math.sqrt((v[3] ?? 0) * (v[5] ?? 0));
      expect(Math.abs(form(other) / form(ours) - 1)).toBeLessThan(1e-3);
      expect(Math.abs((other[1] ?? 0) - (ours[1] ?? 0))).toBeLessThan(1e-3);
    }
  });

  it('agrees with scipy.optimize.least_squares on the same cut-outs to 1e-3 in every width and axis', (context) => {
    needPython(context, 'scipy');
    const stars = cutouts(60, 9);
    const input = stars.map(({ stamp, start }) => ({
      x: list(stamp.dx, stamp),
      y: list(stamp.dy, stamp),
      value: list(stamp.value, stamp),
      weight: list(stamp.weight, stamp),
      start: asList(start),
    }));
    const script = fileURLToPath(new URL('../../scripts/reference/gaussian_fit.py', import.meta.url));
    const run = spawnSync(PYTHON, [script], { input: JSON.stringify(input), maxBuffer: 1 << 26 });
    const scipy = JSON.parse(run.stdout.toString()) as (number[] | null)[];
    const compared = stars.filter(({ stamp, start }, i) => {
      const theirs = scipy[i];
      const fit = fitGaussian(stamp, start, 12, 1);
      if (fit === null || !theirs) return false;
      const shape = (v: readonly number[]): [number, number, number] => {
        const q = fromList(v);
        const trace = q.a + q.c;
        return [(4 * q.a * q.c - q.b * q.b) ** -0.25, (q.c - q.a) / trace, -q.b / trace];
      };
      const [width, e1, e2] = shape(asList(fit.parameters));
      const [scipyWidth, s1, s2] = shape(theirs);
      expect(Math.abs(width / scipyWidth - 1)).toBeLessThan(1e-3);
      expect(Math.abs(e1 - s1)).toBeLessThan(1e-3);
      expect(Math.abs(e2 - s2)).toBeLessThan(1e-3);
      return true;
    });
    expect(compared.length).toBe(stars.length);
  });

  it('gives no fit rather than a wrong one on a flat, an empty or a rising field', () => {
    const stamp = newStamp();
    const flat = new Float64Array(WIDTH * WIDTH).fill(100);
    const source = { data: flat, width: WIDTH, height: WIDTH, mask: null, greenParity: null };
    cutStamp(source, HALF, HALF, 7, Infinity, stamp);
    const start = { x0: 0, y0: 0, amplitude: 10, a: 0.3, b: 0, c: 0.3, background: 100 };
    expect(fitGaussian(stamp, start, 1, 1)).toBeNull();
    stamp.count = 0;
    expect(fitGaussian(stamp, start, 1, 1)).toBeNull();
  });
});
