import { expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { measureStar } from '../../src/shapes/measureStar.ts';
import { fitMoffat } from '../../src/shapes/moffatFit.ts';
import { drawStamp, gaussian, moffat, withNoise } from '../support/profiles.ts';

const HALF = 40;
const WIDTH = 2 * HALF + 1;

function fitted(stamp: Float64Array, fwhm: number) {
  const data = withNoise(stamp, 30_000, { sky: 500, sigma: 8, gainEPerAdu: 1 }, seededRandom(3));
  const source = { data, width: WIDTH, height: WIDTH, mask: null, greenParity: null };
  const star = measureStar(source, { x: HALF, y: HALF, fwhm, peak: 30_000, sky: 500, noise: 8, gainEPerAdu: 1 });
  if (star.status === 'rejected') throw new Error(star.reason);
  return fitMoffat(source, star.shape);
}

// Photon noise of a 30,000 ADU star leaves beta within a few per cent and FWHM within 0.5 %; a pixel widens it by 1/12 px^2.
for (const beta of [2.5, 3.5, 4.765])
  it(`finds beta ${beta} (turbulence theory gives 4.765: Trujillo et al 2001) and the FWHM`, () => {
    const fit = fitted(drawStamp(moffat(beta), { fwhm: 5, e: 0.2, theta: 0.6 }, HALF, 0.2, -0.3), 5);
    expect(Math.abs((fit?.beta ?? 0) / beta - 1)).toBeLessThan(0.08);
    expect(Math.abs((fit?.fwhm ?? 0) / 5 - 1)).toBeLessThan(0.02);
    expect(fit?.elongation).toBeCloseTo(Math.sqrt(1.2 / 0.8), 1);
  });

it('a Gaussian star has no Moffat wings: beta runs to its limit and no fit is claimed', () => {
  const fit = fitted(drawStamp(gaussian, { fwhm: 5, e: 0, theta: 0 }, HALF, 0, 0), 5);
  expect(fit === null || fit.beta > 12).toBe(true);
});
