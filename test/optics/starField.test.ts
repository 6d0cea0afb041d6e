import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { expose, saturationAdu, USUAL_CAMERA } from '../../src/optics/camera.ts';
import { imageField } from '../../src/optics/imageField.ts';
import { starImage } from '../../src/optics/psf.ts';
import { CLEAR_SKY } from '../../src/optics/sky.ts';
import { drawFrame, type Scene, USUAL_SCENE } from '../../src/optics/starField.ts';
import { scatterStars, USUAL_STARS } from '../../src/optics/starList.ts';
import { ALIGNED, type OpticalState } from '../../src/optics/state.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../../src/optics/telescope.ts';
import { wavefrontAt } from '../../src/optics/wavefront.ts';

const SMALL = { ...USUAL_CAMERA, width: 300, height: 200 };
const BARE: Telescope = { ...EXAMPLE_TELESCOPE, corrector: null };

describe('random numbers', () => {
  it('are the same for the same seed and stream, and others for another', () => {
    const first = seededRandom(7, 'stars');
    const again = seededRandom(7, 'stars');
    const other = seededRandom(7, 'noise');
    const values = [0, 1, 2, 3].map(() => first.uniform());
    expect([0, 1, 2, 3].map(() => again.uniform())).toEqual(values);
    expect([0, 1, 2, 3].map(() => other.uniform())).not.toEqual(values);
  });

  it('have the moments of their distributions', () => {
    const random = seededRandom(3);
    const count = 200_000;
    const moments = (draw: () => number): { mean: number; variance: number; third: number } => {
      const values = Array.from({ length: count }, draw);
      const mean = values.reduce((a, b) => a + b, 0) / count;
      const variance = values.reduce((a, b) => a + (b - mean) ** 2, 0) / count;
      return { mean, variance, third: values.reduce((a, b) => a + (b - mean) ** 3, 0) / count };
    };
    // Textbook moments; 5 sigma of the sample's own scatter.
    const uniform = moments(() => random.uniform());
    expect(Math.abs(uniform.mean - 0.5)).toBeLessThan(5 * Math.sqrt(1 / 12 / count));
    expect(Math.abs(uniform.variance * 12 - 1)).toBeLessThan(0.01);
    const normal = moments(() => random.normal());
    expect(Math.abs(normal.mean)).toBeLessThan(5 / Math.sqrt(count));
    expect(Math.abs(normal.variance - 1)).toBeLessThan(5 * Math.sqrt(2 / count));
    for (const mean of [0.3, 8, 100]) {
      const poisson = moments(() => random.poisson(mean));
      expect(Math.abs(poisson.mean - mean)).toBeLessThan(5 * Math.sqrt(mean / count));
      expect(Math.abs(poisson.variance / mean - 1)).toBeLessThan(0.02);
      if (mean < 64) expect(Math.abs(poisson.third / mean - 1)).toBeLessThan(0.12);
    }
    expect(() => random.poisson(-1)).toThrow(/poisson mean/);
  });
});

it('a photon transfer curve of drawn frames gives back gain and read noise within 2 %', () => {
  // Janesick, Photon Transfer (SPIE 2007): variance = read^2 + mean/gain in ADU; pairs of flats cancel fixed pattern.
  const camera = { ...USUAL_CAMERA, width: 400, height: 400, gainEPerAdu: 0.77, readNoiseE: 3.2 };
  const points = [0, 20, 60, 200, 1000, 5000, 20000].map((electrons) => {
    const frame = (seed: number): Uint16Array =>
      expose(new Float32Array(camera.width * camera.height).fill(electrons), camera, 1, seededRandom(seed, 'noise'));
    const a = frame(2 * electrons + 1);
    const b = frame(2 * electrons + 2);
    let sum = 0;
    let square = 0;
    for (let i = 0; i < a.length; i++) {
      sum += a[i] + b[i] - 2 * camera.offsetAdu;
      square += (a[i] - b[i]) ** 2;
    }
    return { mean: sum / (2 * a.length), variance: square / (2 * a.length) };
  });
  const dark = points[0];
  // Rounding to whole ADU adds 1/12.
  const read = Math.sqrt(dark.variance - 1 / 12) * camera.gainEPerAdu;
  expect(Math.abs(read / camera.readNoiseE - 1)).toBeLessThan(0.02);
  for (const point of points.slice(2)) {
    const gain = point.mean / (point.variance - dark.variance);
    expect(Math.abs(gain / camera.gainEPerAdu - 1)).toBeLessThan(0.02);
  }
});

it('no pixel exceeds the full well or sixteen bits', () => {
  const light = new Float32Array(SMALL.width * SMALL.height).fill(49_900);
  light[5] = 1e7;
  const pixels = expose(light, SMALL, 1, seededRandom(1));
  expect(Math.max(...pixels)).toBe(saturationAdu(SMALL));
  expect(saturationAdu(SMALL)).toBe(63_000);
  expect(saturationAdu({ ...SMALL, fullWellE: 90_000 })).toBe(65_535);
});

it('the same scene gives the same bytes; another seed of noise keeps the stars', () => {
  const scene: Scene = {
    ...USUAL_SCENE,
    camera: { ...SMALL, hotPixels: 1e-3 },
    stars: { ...USUAL_STARS, count: 30 },
    sky: { ...CLEAR_SKY, nebulosityE: 50, galaxies: 3, trails: 1, cosmicRays: 5, vignetting: 0.2 },
  };
  const first = drawFrame(scene);
  expect(drawFrame(scene).pixels).toEqual(first.pixels);
  const other = drawFrame({ ...scene, noiseSeed: 2 });
  expect(other.stars).toEqual(first.stars);
  expect(other.pixels).not.toEqual(first.pixels);
});

it('stars brighter than m grow by the asked slope for each magnitude', () => {
  const counts = { count: 20_000, faintestE: 1000, brightestE: 1e6, slopePerMagnitude: 0.35, minSeparationPx: 0 };
  const stars = scatterStars(counts, 4000, 3000, 0, seededRandom(5));
  expect(stars.length).toBe(20_000);
  const brighter = (electrons: number): number => stars.filter((star) => star.electrons > electrons).length;
  // One magnitude is a factor 2.512 in light; the bright end's cut is 0.2 % of the stars.
  const slope = Math.log10(brighter(2000) / brighter(2000 * 2.512 ** 2)) / 2;
  expect(Math.abs(slope - 0.35)).toBeLessThan(0.02);
  const apart = scatterStars({ ...counts, count: 400, minSeparationPx: 30 }, 1000, 1000, 0, seededRandom(5));
  let nearest = Number.POSITIVE_INFINITY;
  for (const a of apart)
    for (const b of apart) if (a !== b) nearest = Math.min(nearest, Math.hypot(a.x - b.x, a.y - b.y));
  expect(nearest).toBeGreaterThanOrEqual(30);
});

it("a lone star's light and place are those of the list", () => {
  const star = { x: 150.3, y: 99.6, electrons: 2e6 };
  const camera = { ...SMALL, readNoiseE: 0, fullWellE: 1e9, gainEPerAdu: 20, offsetAdu: 0 };
  const { pixels } = drawFrame({ ...USUAL_SCENE, camera, sky: { ...CLEAR_SKY, skyE: 0 }, stars: [star] });
  let sum = 0;
  let x = 0;
  let y = 0;
  for (let j = 0; j < camera.height; j++) {
    for (let i = 0; i < camera.width; i++) {
      const value = pixels[j * camera.width + i];
      sum += value;
      x += value * i;
      y += value * j;
    }
  }
  // Wings of seeing and diffraction beyond the stamp hold 2-4 % of the light.
  expect((sum * 20) / star.electrons).toBeGreaterThan(0.95);
  expect((sum * 20) / star.electrons).toBeLessThan(1);
  expect(x / sum).toBeCloseTo(star.x, 1);
  expect(y / sum).toBeCloseTo(star.y, 1);
});

describe('images blended over the field', () => {
  const state = (part: Partial<OpticalState>): OpticalState => ({ ...ALIGNED, ...part });
  const apsC = { halfWidthMm: 11.75, halfHeightMm: 7.85 };
  it.each<[string, Telescope, OpticalState, number]>([
    ['a tilted sensor', EXAMPLE_TELESCOPE, state({ sensorTiltArcmin: { x: 12, y: 5 } }), 1.5],
    ['a bare mirror', BARE, state({ primaryTiltArcmin: { x: 8, y: 3 } }), 2.5],
    ['a bare mirror out of focus', BARE, state({ focusUm: 150 }), 2.5],
    ['a curved field', EXAMPLE_TELESCOPE, state({ fieldCurvatureUmPerMm2: 0.75, focusUm: -40 }), 2.5],
    ['spacing and coma', EXAMPLE_TELESCOPE, state({ correctorSpacingMm: 6, primaryTiltArcmin: { x: 3, y: 3 } }), 2],
  ])('%s: within half a per cent of the peak of the star drawn there', (_, telescope, optical, seeingArcsec) => {
    const conditions = { pixelUm: 3.76, filter: 'mono' as const, seeingArcsec };
    const field = imageField(telescope, optical, conditions, apsC);
    const random = seededRandom(11);
    for (let k = 0; k < 8; k++) {
      const z = { x: apsC.halfWidthMm * (2 * random.uniform() - 1), y: apsC.halfHeightMm * (2 * random.uniform() - 1) };
      const blended = field.at(z);
      const exact = starImage(telescope, wavefrontAt(telescope, optical, z), {
        ...conditions,
        field: z,
        recentred: true,
        grid: { size: blended.size, oversample: blended.oversample },
      });
      let peak = 0;
      let worst = 0;
      for (let i = 0; i < exact.image.length; i++) {
        peak = Math.max(peak, exact.image[i]);
        worst = Math.max(worst, Math.abs(exact.image[i] - blended.image[i]));
      }
      expect(worst / peak).toBeLessThan(0.005);
    }
  });
});
