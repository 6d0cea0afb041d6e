import { expect, it } from 'vitest';
import { measurePixels } from '../../src/diagnosis/drawnStar.ts';
import { isExchanged, type Retrieved, settled, withShare, withTable } from '../../src/diagnosis/retrieved.ts';
import { PixelStars } from '../../src/optics/pixelStars.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { NO_ABERRATION } from '../../src/optics/wavefront.ts';
import type { Retrieval } from '../../src/retrieval/fitWavefront.ts';
import type { ScanPoint } from '../../src/retrieval/focusScan.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';
import { angleErrorOver } from '../../src/retrieval/mixture.ts';

const point: ScanPoint = {
  focus: 0.1,
  weight: 1,
  parameters: Float64Array.of(1, 2),
  covariance: Float64Array.of(4, 1, 1, 9),
};

const TABLE_ERROR = Math.sqrt(0.2);

it('errors grow by what the table misses alike in all cells, which no number of them averages away', () => {
  // 0.45 of a cell's error in each of 100 cells, a tenth of its square alike in all: 1.4 times what their noise leaves of the mean.
  const calm = { cells: { length: 100 }, chi2PerFreedom: 1 };
  const [wider] = withTable([point], calm, TABLE_ERROR);
  for (const [i, value] of [12, 3, 3, 27].entries()) expect(wider.covariance[i]).toBeCloseTo(value, 12);
  expect(wider.parameters).toBe(point.parameters);
  // Twice the chi-square a freedom: the cells' errors were scaled by its root already.
  expect(withTable([point], { ...calm, chi2PerFreedom: 2 }, TABLE_ERROR)[0].covariance[0]).toBeCloseTo(8, 12);
  expect(Array.from(withTable([point], calm, 0)[0].covariance)).toEqual(Array.from(point.covariance));
});

it('where chi-square is small the table was better than told: variances go with it, down to a half', () => {
  const variance = (chi2PerFreedom: number): number =>
    withTable([point], { cells: { length: 100 }, chi2PerFreedom }, 0)[0].covariance[3];
  expect(variance(0.8)).toBeCloseTo(0.8 * 9, 12);
  expect(variance(0.3)).toBeCloseTo(0.5 * 9, 12);
  expect(variance(1.3)).toBe(9);
});

it("the sides of a bare mirror's focus are told by as much less as the table leaves its errors wider", () => {
  const at = (focus: number, weight: number): ScanPoint => ({ ...point, focus, weight });
  const scan = [at(-0.2, 0.6), at(-0.3, 0.2), at(0.25, 0.2)];
  const calm = { cells: { length: 100 }, chi2PerFreedom: 1 };
  // Errors three times as wide: the odds 4 to 1 become the third root of it.
  const wider = withTable(scan, calm, TABLE_ERROR);
  const odds = 4 ** (1 / 3);
  const weights = new Map(wider.map(({ focus, weight }) => [focus, weight]));
  expect(weights.get(-0.2)).toBeCloseTo((0.75 * odds) / (1 + odds), 12);
  expect(weights.get(-0.3)).toBeCloseTo((0.25 * odds) / (1 + odds), 12);
  expect(weights.get(0.25)).toBeCloseTo(1 / (1 + odds), 12);
  // Most probable first, as before.
  expect(wider.map(({ focus }) => focus)).toEqual([-0.2, 0.25, -0.3]);
  // One side alone stays as it is.
  const one = withTable([at(0, 0.7), at(0.1, 0.3)], calm, TABLE_ERROR);
  expect(one.map(({ weight }) => weight)).toEqual([0.7, 0.3]);
});

it('the error of a direction is what lies across it and how it turns, not how much the length is left open', () => {
  const at = (length: number, angle: number, across: number): ScanPoint => ({
    ...point,
    weight: 0.5,
    // Along the vector ten times as uncertain as across: variances turned by the angle.
    ...turnedTo(length, angle, across),
  });
  // 3 long and 6 long the same way, 0.3 and 0.6 across: a tenth of a radian each.
  expect(angleErrorOver([at(3, 0.4, 0.3), at(6, 0.4, 0.6)], 0)).toBeCloseTo(0.1, 12);
  // Two ways 0.2 radians apart, nothing across: each 0.1 from their mean.
  expect(angleErrorOver([at(5, 3.1, 0), at(5, 3.3, 0)], 0)).toBeCloseTo(0.1, 6);
});

function turnedTo(length: number, angle: number, across: number): Pick<ScanPoint, 'parameters' | 'covariance'> {
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const [long, wide] = [(10 * across) ** 2, across ** 2];
  return {
    parameters: Float64Array.of(length * cos, length * sin),
    covariance: Float64Array.of(
      long * cos * cos + wide * sin * sin,
      (long - wide) * cos * sin,
      (long - wide) * cos * sin,
      long * sin * sin + wide * cos * cos,
    ),
  };
}

it.each([
  [0.9, 0.3, true],
  [7, 0.3, false],
  [0.9, 1.6, false],
  // The table's own errors are larger than anything the stars say.
  [0.09, 1.1, false],
])(
  'with chi-square %d a freedom and the table %d of a cell off it describes the stars: %s',
  (chi2PerFreedom, drawnAgainstTable, holds) => {
    const perSub = [{ seeingArcsec: { value: 2.4 } }];
    const found = { chi2PerFreedom, drawnAgainstTable, perSub } as unknown as Retrieved;
    expect(settled(found, { converged: true, scan: [point] } as unknown as Retrieval)).toBe(holds);
  },
);

it('a fit that needs the seeing to double within a set does not describe it', () => {
  const found = (...seeings: number[]): Retrieved =>
    ({
      chi2PerFreedom: 1,
      drawnAgainstTable: 0.3,
      perSub: seeings.map((value) => ({ seeingArcsec: { value } })),
    }) as unknown as Retrieved;
  const retrieval = { converged: true, scan: [point] } as unknown as Retrieval;
  expect(settled(found(2.2, 3.6, 2.4), retrieval)).toBe(true);
  expect(settled(found(2.5, 5.9), retrieval)).toBe(false);
});

// W = d r^2 + a r^2 cos 2 phi: rays reach 2N(d + a) one way and 2N(d - a) across (Welford, Aberrations of Optical Systems; from memory).
it('defocus and astigmatism exchanged make the same star, and a fit with more astigmatism than curvature is left', () => {
  const stars = new PixelStars(EXAMPLE_TELESCOPE, { pixelUm: 3.76, filter: 'mono', recentred: true });
  const shapeOf = (d: number, a: number) =>
    measurePixels(stars.draw({ ...NO_ABERRATION, d, a: { x: a, y: 0 } }, 2.8, 40)) ?? expect.unreachable();
  const [one, other] = [shapeOf(0.8, 0.4), shapeOf(0.4, 0.8)];
  // Second moments are the same; a fitted Gaussian sees what is left of the rest.
  expect(Math.abs(one.fwhm / other.fwhm - 1)).toBeLessThan(0.04);
  expect(Math.abs(one.e1 - other.e1)).toBeLessThan(0.03);
  expect(Math.abs(one.e1)).toBeGreaterThan(0.3);
  const layout = layoutOf(1, false);
  const fitted = (curvature: number, radialAstigmatism: number) => {
    const parameters = new Float64Array(layout.length);
    parameters[layout.curvature] = curvature;
    parameters[layout.radialAstigmatism] = radialAstigmatism;
    return { layout, best: { parameters } } as unknown as Retrieval;
  };
  expect(isExchanged(fitted(0.45, -0.97))).toBe(true);
  expect(isExchanged(fitted(-0.99, 0.49))).toBe(false);
  // A corrector's rest in a flat field.
  expect(isExchanged(fitted(0.01, 0.1))).toBe(false);
});

it('a share of the value joins an interval in quadrature, on each side by itself', () => {
  expect(withShare({ value: 100, low: 97, high: 104 }, 0)).toEqual({ value: 100, low: 97, high: 104 });
  // 4 and 3 make 5.
  const { value, low, high } = withShare({ value: 100, low: 96, high: 104 }, 0.03);
  expect(value).toBe(100);
  expect(low).toBeCloseTo(95, 12);
  expect(high).toBeCloseTo(105, 12);
});
