import { afterEach, describe, expect, it } from 'vitest';
import { useKernels } from '../../src/kernels/kernels.ts';
import { fft2d } from '../../src/numeric/fft2d.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { halfSpectrum } from '../../src/optics/psf.ts';
import { workspace } from '../../src/optics/workspace.ts';

/** The compiled transforms against fft.js, which shares nothing with them. */

afterEach(() => useKernels(true));

const random = seededRandom(5);
const noise = (count: number): Float64Array => Float64Array.from({ length: count }, () => random.normal());

const farthest = (a: ArrayLike<number>, b: ArrayLike<number>, count: number): number => {
  let worst = 0;
  // NaN stays NaN.
  for (let i = 0; i < count; i++) worst = Math.max(worst, Math.abs(a[i] - b[i]));
  return worst;
};

describe.each([16, 32, 64, 128, 256, 512])('the transform of %i x %i points', (size) => {
  const ours = workspace(size);
  const run = ours.compiled?.run ?? expect.unreachable('this Node has no kernels');

  it.each([1, 3, 7, Math.ceil(0.6 * size), size])('of %i rows that are used', (given) => {
    const rows = Math.min(given, size);
    const input = noise(2 * size * size);
    const expected = new Float64Array(2 * size * size);
    fft2d(size).transform(input.slice(), expected, rows);
    ours.a.set(input);
    ours.b.fill(7);
    ours.fft.transform(ours.a, ours.b, rows);
    // Values of a few hundred.
    expect(farthest(ours.b, expected, expected.length)).toBeLessThan(1e-9);
  });

  it('of real numbers', () => {
    const real = noise(size * size);
    const input = Float64Array.from({ length: 2 * real.length }, (_, i) => (i % 2 === 0 ? real[i / 2] : 0));
    const expected = new Float64Array(2 * size * size);
    fft2d(size).transform(input, expected);
    ours.sum.set(real);
    ours.b.fill(7);
    run.transformReal(ours.sum.byteOffset, ours.b.byteOffset, size);
    expect(farthest(ours.b, expected, halfSpectrum(size))).toBeLessThan(1e-9);
  });
});
