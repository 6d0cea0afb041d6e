import { describe, expect, it } from 'vitest';
import { measureFrame } from '../../src/measure.ts';
import { CLEAR_SKY } from '../../src/optics/sky.ts';
import { drawSubWithTruth, type SubOptions } from '../support/draw.ts';

const FWHM_TO_SIGMA = 1 / 2.3548;
/** A Gaussian of this signal to noise in a matched filter must be used: a peak 15 times the noise at FWHM 3 px gives 34. */
const CLEAR_SNR = 60;

/** Of the drawn stars that stand clear of others, the border and the noise: the share that was used, and the measured width. */
function usedShare(options: SubOptions): { share: number; of: number } {
  const { frame, drawn, scene } = drawSubWithTruth({ width: 1600, height: 1100, seed: 3, ...options });
  const { shapes } = measureFrame(frame).stars;
  const fwhm = shapes.map((s) => s.fwhm).sort((a, b) => a - b)[shapes.length >> 1] ?? Number.NaN;
  const skyNoiseE = Math.sqrt(scene.sky.skyE + scene.camera.readNoiseE ** 2);
  const snr = (electrons: number): number => electrons / (skyNoiseE * Math.sqrt(4 * Math.PI) * fwhm * FWHM_TO_SIGMA);
  const brightest = Math.max(...drawn.stars.map((s) => s.electrons));
  const clear = drawn.stars.filter(
    (s) =>
      snr(s.electrons) > CLEAR_SNR &&
      s.electrons < brightest / 4 &&
      Math.min(s.x, s.y, drawn.width - s.x, drawn.height - s.y) > 5 * fwhm &&
      drawn.stars.every(
        (o) => o === s || Math.hypot(o.x - s.x, o.y - s.y) > 5 * fwhm || o.electrons < s.electrons / 50,
      ),
  );
  const used = clear.filter((s) => shapes.some((m) => Math.hypot(m.x - s.x, m.y - s.y) < fwhm));
  return { share: used.length / clear.length, of: clear.length };
}

describe('broad stars are found whole and used', () => {
  for (const [what, options] of [
    ['4.5" of seeing', { seeingArcsec: 4.5 }],
    ['80 um out of focus, in 3"', { seeingArcsec: 3, state: { focusUm: 80 } }],
    ['140 um out of focus', { state: { focusUm: -140 } }],
    ['a sky 20 times as bright', { seeingArcsec: 3.5, sky: { ...CLEAR_SKY, skyE: 8000 } }],
    ['three trails among few stars', { starCount: 60, sky: { ...CLEAR_SKY, trails: 3 } }],
    [
      'a mosaic with hot pixels among few broad stars',
      { starCount: 60, seeingArcsec: 4, camera: { mosaic: ['R', 'G', 'G', 'B'], hotPixels: 5e-5 } },
    ],
  ] satisfies readonly (readonly [string, SubOptions])[])
    it(what, () => {
      const { share, of } = usedShare({ starCount: 250, ...options });
      expect(of).toBeGreaterThan(20);
      expect(share).toBeGreaterThan(0.9);
    });
});
