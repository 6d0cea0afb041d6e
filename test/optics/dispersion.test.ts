import { expect, it } from 'vitest';
import { dot } from '../../src/optics/complex.ts';
import { dispersionShift, MILD_AIR, refractionArcsec, refractivity } from '../../src/optics/dispersion.ts';
import { type FilterName, gaussWavelengths, type WavelengthSample, wavelengths } from '../../src/optics/filter.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';

it('refractivity of dry air at 15 C and 760 mm is that of Edlen', () => {
  // Edlen 1953, JOSA 43, 339: (n - 1) 1e8 = 6432.8 + 2949810/(146 - s^2) + 25540/(41 - s^2); 27780 at 0.55 um.
  const standard = { pressureMmHg: 760, temperatureC: 15, vapourMmHg: 0 };
  for (const um of [0.4, 0.5, 0.6, 0.7]) {
    const inverse2 = um ** -2;
    const edlen = 6432.8 + 2949810 / (146 - inverse2) + 25540 / (41 - inverse2);
    expect(Math.abs((refractivity(um, standard) * 1e8) / edlen - 1)).toBeLessThan(1e-5);
  }
  // Textbook value of the refractive index of air at the sodium lines: 1.000277 (CRC Handbook).
  expect(Math.abs(1 + refractivity(0.589, standard) - 1.000277)).toBeLessThan(1e-6);
});

it("differential refraction at an observatory of 2 km is that of Filippenko's table", () => {
  // Filippenko 1982, PASP 94, 715, table I (600 mmHg, 7 C, vapour 8 mmHg), arcsec against 0.5 um, from memory: +-0.02.
  const air = { pressureMmHg: 600, temperatureC: 7, vapourMmHg: 8 };
  const table: Record<number, [number, number][]> = {
    1.25: [
      [0.35, 0.9],
      [0.4, 0.48],
      [0.6, -0.25],
      [0.7, -0.4],
      [0.9, -0.57],
    ],
    1.5: [
      [0.35, 1.34],
      [0.4, 0.71],
      [0.6, -0.37],
      [0.7, -0.6],
      [0.9, -0.84],
    ],
    2: [
      [0.35, 2.07],
      [0.4, 1.1],
      [0.6, -0.58],
      [0.7, -0.92],
      [0.9, -1.3],
    ],
  };
  for (const [airmass, entries] of Object.entries(table)) {
    const altitudeDeg = 90 - (Math.acos(1 / Number(airmass)) * 180) / Math.PI;
    for (const [um, arcsec] of entries) {
      const found = refractionArcsec(um, altitudeDeg, air) - refractionArcsec(0.5, altitudeDeg, air);
      expect(Math.abs(found - arcsec)).toBeLessThan(0.02);
    }
  }
});

it('refraction at 45 degrees is about an arcminute', () => {
  // 58.2" for sea level, 10 C (any almanac).
  expect(
    Math.abs(refractionArcsec(0.575, 45, { pressureMmHg: 760, temperatureC: 10, vapourMmHg: 0 }) - 58.2),
  ).toBeLessThan(0.6);
});

it("blue light falls towards the zenith, and the band's mean stays in place", () => {
  const zenith = { x: 0.6, y: 0.8 };
  const shift = dispersionShift(EXAMPLE_TELESCOPE, 'L', 30, zenith, MILD_AIR);
  expect(dot(shift(0.42), zenith)).toBeGreaterThan(1);
  expect(dot(shift(0.68), zenith)).toBeLessThan(-1);
  expect(dot(shift(0.5), { x: -0.8, y: 0.6 })).toBeCloseTo(0, 9);
  const mean = wavelengths('L', 32).reduce((sum, light) => sum + light.weight * dot(shift(light.um), zenith), 0);
  expect(Math.abs(mean)).toBeLessThan(1e-9);
});

it.each<[FilterName, number]>([
  ['none', 0.04],
  ['L', 0.03],
])('six wavelengths of a band, %s, tell the width and the skew of what the air spreads', (filter, within) => {
  const shift = dispersionShift(EXAMPLE_TELESCOPE, filter, 40, { x: 1, y: 0 }, MILD_AIR);
  const moments = (lights: readonly WavelengthSample[]): { second: number; third: number } => {
    const sum = (of: (x: number) => number): number =>
      lights.reduce((total, { um, weight }) => total + weight * of(shift(um).x), 0);
    const mean = sum((x) => x);
    return { second: sum((x) => (x - mean) ** 2), third: sum((x) => (x - mean) ** 3) };
  };
  const fine = moments(wavelengths(filter, 2000));
  const six = moments(gaussWavelengths(filter, 6));
  // The tail is blue and lies towards the zenith.
  expect(fine.third).toBeGreaterThan(0);
  expect(Math.abs(six.second / fine.second - 1)).toBeLessThan(within);
  expect(Math.abs(six.third / fine.third - 1)).toBeLessThan(2 * within);
  // Which is why equal steps do not serve.
  expect(moments(wavelengths(filter, 3)).third / fine.third).toBeLessThan(0.5);
});
