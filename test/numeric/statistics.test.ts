import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { invertSymmetric, logDeterminant } from '../../src/numeric/linear.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { robustLinearFit } from '../../src/numeric/robustFit.ts';
import { clipSorted, median, robustSigma, selectInPlace, weightedMedian } from '../../src/numeric/statistics.ts';
import { medianBySorting } from '../support/naive.ts';

const numbers = fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { minLength: 1, maxLength: 60 });

describe('median and selection', () => {
  it('the median is the one that sorting finds, for any values', () => {
    fc.assert(
      fc.property(numbers, (values) => median(values) === medianBySorting(values)),
      { numRuns: 500 },
    );
  });

  it('the weighted median of equal weights is the median; a weight counts like so many equal values', () => {
    for (const values of [[3], [4, 1], [5, 2, 9], [7, 1, 4, 2]])
      expect(
        weightedMedian(
          values,
          values.map(() => 0.3),
        ),
      ).toBeCloseTo(median(values), 12);
    expect(weightedMedian([1, 2, 10], [1, 5, 1])).toBe(2);
    // Half of the weight lies below the middle of the heavy value's own: between 1 and 10, near 10.
    expect(weightedMedian([1, 10], [1, 9])).toBeCloseTo(1 + (9 * 4.5) / 5, 12);
    expect(() => weightedMedian([], [])).toThrow(RangeError);
  });

  it('the weighted median of many, with equal values among them, is the one that sorting finds', () => {
    const sorted = (values: readonly number[], weights: readonly number[]): number => {
      const order = values.map((_, i) => i).sort((a, b) => values[a] - values[b] || a - b);
      const half = weights.reduce((sum, w) => sum + w, 0) / 2;
      const places = order.map((i, k) => order.slice(0, k).reduce((sum, o) => sum + weights[o], 0) + weights[i] / 2);
      const k = places.findIndex((place) => place >= half - 1e-9);
      const share = k === 0 ? 1 : (half - places[k - 1]) / (places[k] - places[k - 1]);
      const before = values[order[Math.max(0, k - 1)]];
      return before + share * (values[order[k]] - before);
    };
    const star = fc.record({ value: fc.integer({ min: 0, max: 60 }), weight: fc.integer({ min: 1, max: 30 }) });
    fc.assert(
      fc.property(fc.array(star, { minLength: 1, maxLength: 400, size: 'max' }), (stars) => {
        const values = stars.map(({ value }) => value);
        const weights = stars.map(({ weight }) => weight / 7);
        expect(weightedMedian(values, weights)).toBeCloseTo(sorted(values, weights), 9);
      }),
      { numRuns: 150 },
    );
    const heavy = Array.from({ length: 300 }, (_, i) => (i * 7919) % 300);
    expect(
      weightedMedian(
        heavy,
        heavy.map((value) => (value === 250 ? 1e6 : 1)),
      ),
    ).toBeCloseTo(250, 3);
  });

  it('selection finds the k-th smallest, with many equal values too', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 5 }), { minLength: 1, maxLength: 50 }), fc.nat(), (values, n) => {
        const k = n % values.length;
        const sorted = [...values].sort((a, b) => a - b);
        return selectInPlace([...values], k) === sorted[k];
      }),
      { numRuns: 500 },
    );
  });

  it('the robust sigma of Gaussian noise is its sigma, and a tenth of wild values hardly moves it', () => {
    const random = seededRandom(4);
    const values = Array.from({ length: 20_000 }, () => 3 * random.normal());
    // Standard error of 1.4826 MAD: 1.17 sigma / sqrt(n) (Rousseeuw & Croux 1993, JASA 88, 1273), 0.8 %.
    expect(robustSigma(values) / 3).toBeGreaterThan(0.97);
    expect(robustSigma(values) / 3).toBeLessThan(1.03);
    values.fill(1e4, 0, 2000);
    expect(robustSigma(values) / 3).toBeLessThan(1.25);
  });
});

describe('clipping', () => {
  it('finds sky and noise under a tail of stars', () => {
    const random = seededRandom(8);
    const values = Float64Array.from({ length: 4000 }, (_, i) =>
      i % 20 === 0 ? 1000 + 4000 * random.uniform() : 1000 + 10 * random.normal(),
    ).sort();
    const { median: level, sigma } = clipSorted(values);
    expect(Math.abs(level - 1000)).toBeLessThan(1);
    expect(Math.abs(sigma - 10)).toBeLessThan(1);
  });

  it('a cell of one single value has no spread and keeps its level', () => {
    expect(clipSorted(new Float64Array(100).fill(7))).toEqual({ median: 7, sigma: 0, kept: 100 });
  });
});

describe('symmetric inverse', () => {
  it('times the matrix is the unit matrix', () => {
    // The 4 x 4 Hilbert matrix, whose inverse has whole-numbered entries (Choi 1983, Am. Math. Monthly 90, 301).
    const hilbert = Array.from({ length: 16 }, (_, k) => 1 / (Math.floor(k / 4) + (k % 4) + 1));
    const inverse = invertSymmetric(hilbert, 4);
    [16, -120, 240, -140, -120, 1200, -2700, 1680].forEach((entry, k) => {
      expect((inverse?.[k] ?? 0) / entry).toBeCloseTo(1, 8);
    });
  });

  it('is refused for a matrix that is not positive definite', () => {
    expect(invertSymmetric([1, 2, 2, 1], 2)).toBeNull();
    expect(invertSymmetric([0, 0, 0, 1], 2)).toBeNull();
  });

  it('knows the determinant of the 4 x 4 Hilbert matrix, 1/6048000 (Hilbert 1894, Acta Math. 18, 155), and of none that is not definite', () => {
    const hilbert = Array.from({ length: 16 }, (_, i) => 1 / (Math.floor(i / 4) + (i % 4) + 1));
    expect(logDeterminant(hilbert, 4)).toBeCloseTo(-Math.log(6048000), 9);
    expect(logDeterminant([1, 2, 2, 1], 2)).toBeNull();
  });
});

describe('robust straight line', () => {
  const line = (outliers: number, seed: number): ReturnType<typeof robustLinearFit> => {
    const random = seededRandom(seed);
    const x = Array.from({ length: 200 }, () => 2 * random.uniform() - 1);
    return robustLinearFit({
      rows: x.map((v) => Float64Array.of(1, v)),
      values: x.map((v, i) => (i < outliers ? 30 : 2 + 3 * v + 0.1 * random.normal())),
      errors: x.map(() => 0.1),
    });
  };

  it('is not moved by a fifth of wild values', () => {
    const fit = line(40, 11);
    expect(Math.abs((fit?.parameters[0] ?? 0) - 2)).toBeLessThan(0.05);
    expect(Math.abs((fit?.parameters[1] ?? 0) - 3)).toBeLessThan(0.1);
  });

  it('has errors that hold: 68 % of 400 drawn lines lie within one of them', () => {
    let inside = 0;
    const runs = 400;
    for (let seed = 0; seed < runs; seed++) {
      const fit = line(0, 1000 + seed);
      const error = Math.sqrt(fit?.covariance[3] ?? 0);
      if (Math.abs((fit?.parameters[1] ?? 0) - 3) < error) inside++;
    }
    // Binomial error of 0.683 over 400 runs: 0.023.
    expect(inside / runs).toBeGreaterThan(0.683 - 0.07);
    expect(inside / runs).toBeLessThan(0.683 + 0.07);
  });

  it('is null where the design does not hold the parameters', () => {
    expect(
      robustLinearFit({
        rows: [Float64Array.of(1, 1), Float64Array.of(1, 1), Float64Array.of(1, 1)],
        values: [1, 2, 3],
        errors: [1, 1, 1],
      }),
    ).toBeNull();
  });
});
