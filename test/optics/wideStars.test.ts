import { describe, expect, it } from 'vitest';
import { type Complex, polar, ZERO } from '../../src/optics/complex.ts';
import { gridFor, type ImageConditions, maxHalfSize, type Psf, stampAt, starImage } from '../../src/optics/psf.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../../src/optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, toDefocus } from '../../src/optics/wavefront.ts';

const CONDITIONS: ImageConditions = { pixelUm: 3.76, filter: 'L', seeingArcsec: 2.5, recentred: true };
const RATIO = 4;

/** Light-weighted mean place, pixels, and the light, of the pixels that `part` picks. */
function gravity(psf: Psf, part: (x: number, y: number) => boolean): { light: number; place: Complex } {
  let light = 0;
  let x = 0;
  let y = 0;
  for (let j = 0; j < psf.size; j++) {
    for (let i = 0; i < psf.size; i++) {
      const dx = (i - psf.size / 2) / psf.oversample;
      const dy = (j - psf.size / 2) / psf.oversample;
      if (!part(dx, dy)) continue;
      const value = psf.image[j * psf.size + i] / psf.oversample ** 2;
      light += value;
      x += value * dx;
      y += value * dy;
    }
  }
  return { light, place: light === 0 ? ZERO : { x: x / light, y: y / light } };
}

function worstShare(one: Float64Array, other: Float64Array): number {
  const peak = one.reduce((a, b) => Math.max(a, b), 0);
  return one.reduce((worst, value, i) => Math.max(worst, Math.abs(value - other[i])), 0) / peak;
}

it('long tails on the coarse grid are those of a fine one within 1e-3 of the peak, at any place between its points', () => {
  // Half a per cent is allowed for everything that is interpolated; the blending over the field takes the rest.
  const w: Coefficients = { ...NO_ABERRATION, c: { x: 2.4, y: 1.5 }, d: 0.2 };
  const grid = gridFor(EXAMPLE_TELESCOPE, w, CONDITIONS, 14);
  expect(grid).toEqual({ size: 256, oversample: 3 });
  const coarse = starImage(EXAMPLE_TELESCOPE, w, { ...CONDITIONS, grid });
  const fine = starImage(EXAMPLE_TELESCOPE, w, { ...CONDITIONS, grid: { size: 1024, oversample: 6 } });
  for (const [x, y] of [
    [0.5, 0.5],
    [0.17, -0.33],
    [-0.41, 0.08],
  ]) {
    expect(worstShare(stampAt(fine, x, y, 25), stampAt(coarse, x, y, 25))).toBeLessThan(1e-3);
  }
});

it('poor sampling is not offered to discs, nor to stars sharp enough to show it', () => {
  const tail: Coefficients = { ...NO_ABERRATION, c: { x: 3.4, y: 0 } };
  expect(gridFor(EXAMPLE_TELESCOPE, tail, { ...CONDITIONS, seeingArcsec: 1 }, 14).oversample).toBeGreaterThan(3);
  const disc: Coefficients = { ...NO_ABERRATION, d: toDefocus(EXAMPLE_TELESCOPE, 500) };
  expect(gridFor(EXAMPLE_TELESCOPE, disc, CONDITIONS, 14).oversample).toBeGreaterThan(3);
});

describe('a disc of sixty pixels', () => {
  // Geometry: the cone of light, cut dz from its tip, is dz/N wide; the hole is the obstruction's share of that.
  const defocusUm = 60 * CONDITIONS.pixelUm * RATIO;
  const disc = (part: Partial<Telescope>, side = 1): Psf =>
    starImage(
      { ...EXAMPLE_TELESCOPE, vanes: [], ...part },
      { ...NO_ABERRATION, d: toDefocus(EXAMPLE_TELESCOPE, side * defocusUm) },
      CONDITIONS,
    );

  it('is as wide and as hollow as geometry says, and holds its light', () => {
    const psf = disc({});
    expect(maxHalfSize(psf)).toBeGreaterThan(35);
    // At the shadow of a straight edge diffraction leaves a quarter of the plateau (Fresnel; Born & Wolf sec. 8.7).
    const ring = (radius: number): number => {
      const { light } = gravity(psf, (x, y) => Math.abs(Math.hypot(x, y) - radius) < 0.5);
      return light / (2 * Math.PI * radius);
    };
    const plateau = (ring(18) + ring(20) + ring(22)) / 3;
    const edgeAt = (from: number, to: number): number => {
      for (let r = from; r < to; r += 0.1) if (ring(r) > plateau / 4 !== ring(from) > plateau / 4) return r;
      return Number.NaN;
    };
    expect(Math.abs(edgeAt(24, 36) - 30)).toBeLessThan(0.6);
    // Wings of the whole disc fall into the hole and make it look smaller, by less than half of the seeing's width.
    expect(Math.abs(edgeAt(4, 16) - 10.5)).toBeLessThan(1.3);
    // Half of an evenly lit annulus' light lies within sqrt((1 + obstruction^2)/2) of its radius.
    const within = 30 * Math.sqrt((1 + 0.35 ** 2) / 2);
    const { light: inner } = gravity(psf, (x, y) => Math.hypot(x, y) < within);
    expect(Math.abs(inner - 0.5)).toBeLessThan(0.015);
    // Uniform brightness of the annulus: the whole light over its area.
    expect(Math.abs(plateau * Math.PI * 900 * (1 - 0.35 ** 2) - 1)).toBeLessThan(0.03);
    const { light } = gravity(psf, () => true);
    expect(light).toBeGreaterThan(0.97);
    expect(light).toBeLessThan(1.0001);
  });

  it.each([1, -1])('a clipped cone cuts it on the clipped side, mirrored beyond focus (side %i)', (side) => {
    // Sensor inside focus: the disc stands as the pupil does, u = 4 N d p. The stop, moved by 0.5, covers the pupil at +x.
    const cone = { radius: 1.05, offset: { x: -0.5, y: 0 }, shiftPerMm: 0 };
    const cut = disc({ lightCone: cone }, side);
    const share = (sign: number): number => gravity(cut, (x) => sign * x > 18).light;
    expect(share(-side)).toBeGreaterThan(10 * share(side));
  });

  it('the stop moves over the pupil with the field', () => {
    const cone = { radius: 1.05, offset: ZERO, shiftPerMm: 0.05 };
    const telescope = { ...EXAMPLE_TELESCOPE, vanes: [], lightCone: cone };
    const w = { ...NO_ABERRATION, d: toDefocus(EXAMPLE_TELESCOPE, defocusUm) };
    const at = (x: number): number =>
      gravity(starImage(telescope, w, { ...CONDITIONS, field: { x, y: 0 } }), () => true).place.x;
    // Moved towards +x by 0.5 radii at 10 mm: light is lost on the -x side.
    expect(at(10)).toBeGreaterThan(2);
    expect(at(-10) / -at(10)).toBeCloseTo(1, 3);
    expect(at(0)).toBeCloseTo(0, 3);
  });
});

describe('vanes', () => {
  /** Direction of the spikes, degrees 0..180: the brightest of 180 directions on a ring outside the star's core. */
  const spike = (telescope: Telescope): number => {
    const psf = starImage(telescope, NO_ABERRATION, {
      pixelUm: 3.76,
      filter: 'L',
      samples: 9,
      seeingArcsec: 1,
      grid: { size: 512, oversample: 4 },
    });
    const along = (deg: number): number => {
      let sum = 0;
      for (const radius of [14, 18, 22, 26, 30]) {
        for (const sign of [1, -1]) {
          const { x, y } = polar(sign * radius * psf.oversample, (deg * Math.PI) / 180);
          sum += radius ** 2 * psf.image[Math.round(y + psf.size / 2) * psf.size + Math.round(x + psf.size / 2)];
        }
      }
      return sum;
    };
    let best = 0;
    for (let deg = 0; deg < 180; deg++) if (along(deg) > along(best)) best = deg;
    return best;
  };
  const one = (angleDeg: number, offsetMm = 0): Telescope => ({
    ...EXAMPLE_TELESCOPE,
    vanes: [{ angle: (angleDeg * Math.PI) / 180, widthMm: 3, offsetMm }],
  });

  it.each([0, 25, 110])('a vane at %i degrees throws its spikes across it', (angle) => {
    // A straight obstacle diffracts at right angles to itself (Babinet's principle).
    const away = Math.abs(spike(one(angle)) - ((angle + 90) % 180));
    expect(Math.min(away, 180 - away)).toBeLessThanOrEqual(2);
  });

  it('a vane moved sideways keeps the direction of its spikes', () => {
    expect(Math.abs(spike(one(0, 20)) - 90)).toBeLessThanOrEqual(2);
  });
});
