import { describe, expect, it } from 'vitest';
import { scale, ZERO } from '../../src/optics/complex.ts';
import { type ImageConditions, maxHalfSize, type Psf, stampAt, starImage } from '../../src/optics/psf.ts';
import { kolmogorovTransfer } from '../../src/optics/seeing.ts';
import { type Smear, STEADY, smearTransfer } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE, FOUR_VANES, type Telescope } from '../../src/optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, rayUm, UM_PER_RMS } from '../../src/optics/wavefront.ts';

const OPEN: Telescope = { ...EXAMPLE_TELESCOPE, obstruction: 0, vanes: [] };
const RING: Telescope = { ...EXAMPLE_TELESCOPE, obstruction: 0.35, vanes: [] };
const LAMBDA = 0.55;
const RATIO = 4;

/** Nearly the image itself: pixels of a quarter of a micrometre, no seeing. */
const SHARP: ImageConditions = {
  pixelUm: 0.25,
  filter: 'mono',
  seeingArcsec: 0,
  grid: { size: 1024, oversample: 1 },
};
const with_ = (part: Partial<Coefficients>): Coefficients => ({ ...NO_ABERRATION, ...part });
const middleOf = (psf: Psf): number => psf.image[(psf.size / 2) * psf.size + psf.size / 2];
const totalOf = (psf: Psf): number => psf.image.reduce((sum, value) => sum + value, 0);

/** Bessel function of the first kind, by its integral (Abramowitz & Stegun 9.1.21). */
function bessel(order: number, x: number): number {
  const steps = 400;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const t = (Math.PI * (i + 0.5)) / steps;
    sum += Math.cos(order * t - x * Math.sin(t));
  }
  return sum / steps;
}

function sinc(x: number): number {
  return x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x);
}

/** Transfer of an annulus: the autocorrelation by the areas of circles' lenses, pupils apart by `s` radii. */
function annulusTransfer(eps: number, s: number): number {
  const lens = (r1: number, r2: number): number => {
    if (s >= r1 + r2) return 0;
    if (s <= Math.abs(r1 - r2)) return Math.PI * Math.min(r1, r2) ** 2;
    const a1 = Math.acos((s * s + r1 * r1 - r2 * r2) / (2 * s * r1));
    const a2 = Math.acos((s * s + r2 * r2 - r1 * r1) / (2 * s * r2));
    return r1 * r1 * (a1 - Math.sin(2 * a1) / 2) + r2 * r2 * (a2 - Math.sin(2 * a2) / 2);
  };
  return (lens(1, 1) - 2 * lens(1, eps) + lens(eps, eps)) / (Math.PI * (1 - eps * eps));
}

/** Sum over the image of I cos(2 pi f x): the transfer function along x, f per um. */
function transferAlongX(psf: Psf, stepUm: number, f: number): number {
  let sum = 0;
  for (let j = 0; j < psf.size; j++) {
    for (let i = 0; i < psf.size; i++)
      sum += psf.image[j * psf.size + i] * Math.cos(2 * Math.PI * f * (i - psf.size / 2) * stepUm);
  }
  return sum;
}

describe('diffraction of a clear circle', () => {
  const airy = starImage(OPEN, NO_ABERRATION, SHARP);

  it('is the Airy pattern, dark at 1.22 lambda N, 1.029 lambda N wide', () => {
    // Airy 1835; (2 J1(v)/v)^2 with v = pi r/(lambda N). A 0.25-um pixel blurs by 2e-3 of the peak.
    const peak = middleOf(airy);
    const half = airy.size / 2;
    for (let i = 1; i < 40; i++) {
      const v = (Math.PI * i * 0.25) / (LAMBDA * RATIO);
      const expected = ((2 * bessel(1, v)) / v) ** 2;
      expect(Math.abs(airy.image[half * airy.size + half + i] / peak - expected)).toBeLessThan(2e-3);
    }
    const profile = (um: number): number => {
      const at = um / 0.25;
      const low = Math.floor(at);
      const row = half * airy.size + half;
      return airy.image[row + low] + (at - low) * (airy.image[row + low + 1] - airy.image[row + low]);
    };
    expect(Math.abs(profile((1.029 * LAMBDA * RATIO) / 2) / peak - 0.5)).toBeLessThan(5e-3);
    // Airy radius 2.684 um at f/4, 0.55 um.
    expect(profile(2.684) / peak).toBeLessThan(2.5e-3);
  });

  it('encircles 83.8 % of the light in its first dark ring and 91.0 % in the second', () => {
    // Rayleigh 1881: 1 - J0^2 - J1^2; Born & Wolf, Principles of Optics, 8.5.2.
    for (const [v, share] of [
      [3.8317, 0.8378],
      [7.0156, 0.9099],
    ]) {
      expect(1 - bessel(0, v) ** 2 - bessel(1, v) ** 2).toBeCloseTo(share, 4);
      const radius = (v * LAMBDA * RATIO) / Math.PI;
      let inside = 0;
      for (let j = 0; j < airy.size; j++) {
        for (let i = 0; i < airy.size; i++) {
          const away = Math.hypot(i - airy.size / 2, j - airy.size / 2) * 0.25;
          // Pixels on the rim count by how far they reach in.
          inside += airy.image[j * airy.size + i] * Math.min(1, Math.max(0, 0.5 + (radius - away) / 0.25));
        }
      }
      expect(Math.abs(inside - share)).toBeLessThan(3e-3);
    }
  });
});

it('the transfer function of an obstructed circle is the overlap of its shifted pupils', () => {
  // O'Neill 1956, JOSA 46, 285.
  const psf = starImage(RING, NO_ABERRATION, SHARP);
  // A whole number of periods in the box, so that the cut wings do not leak.
  for (const periods of [6, 12, 23, 40, 58, 81, 105]) {
    const f = periods / (psf.size * 0.25);
    const s = 2 * f * LAMBDA * RATIO;
    const expected = annulusTransfer(RING.obstruction, s);
    expect(Math.abs(transferAlongX(psf, 0.25, f) / sinc(0.25 * f) - expected)).toBeLessThan(3e-3);
  }
});

describe('Strehl ratio', () => {
  const perfect = middleOf(starImage(OPEN, NO_ABERRATION, SHARP));
  const peakOf = (w: Partial<Coefficients>): number => {
    const psf = starImage(OPEN, with_(w), SHARP);
    return psf.image.reduce((peak, value) => Math.max(peak, value), 0) / perfect;
  };

  it('falls to .8106 two lambda N^2 out of focus, a quarter of a wave', () => {
    // (sin(pi/4)/(pi/4))^2; 17.6 um at f/4: Sacek, telescope-optics.net 4.4; d = dz/(8 N^2).
    const dz = 2 * LAMBDA * RATIO ** 2;
    expect(dz).toBeCloseTo(17.6, 12);
    expect(dz / (8 * RATIO ** 2)).toBeCloseTo(LAMBDA / 4, 12);
    expect(Math.abs(peakOf({ d: LAMBDA / 4 }) / 0.8106 - 1)).toBeLessThan(3e-3);
  });

  it.each(['d', 'a', 'c', 't'] as const)('of a small %s is exp(-(2 pi sigma)^2)', (name) => {
    // Mahajan 1983, JOSA 73, 860; lambda/20 of RMS, where the next term is below 1 %.
    const um = (LAMBDA / 20) * UM_PER_RMS[name];
    const w = name === 'd' ? { d: um } : { [name]: { x: 0.6 * um, y: 0.8 * um } };
    expect(Math.abs(peakOf(w) / Math.exp(-(((2 * Math.PI) / 20) ** 2)) - 1)).toBeLessThan(0.01);
  });

  it('is .8176 for coma of lambda/14 RMS, to the third figure', () => {
    // exp(-(2 pi/14)^2) = .8176; an FFT made beforehand gave .8166 at f/4, f/5 and f/6.
    expect(Math.abs(peakOf({ c: { x: (LAMBDA / 14) * UM_PER_RMS.c, y: 0 } }) - 0.8166)).toBeLessThan(3e-3);
  });
});

it('seeing is a Kolmogorov long exposure: FWHM .976 lambda/r0, half of the light within .555 lambda/r0', () => {
  // Fried 1966, JOSA 56, 1372, transformed by quadrature; lambda/r0 = 1.
  const transfer = (f: number): number => Math.exp(-3.44 * f ** (5 / 3));
  expect(kolmogorovTransfer(0.976, 0.4)).toBeCloseTo(transfer(0.4), 3);
  const ours = (f: number): number => kolmogorovTransfer(0.97586, f);
  const integrate = (of: (f: number) => number): number => {
    const steps = 800;
    let sum = 0;
    for (let i = 0; i < steps; i++) sum += of((4 * (i + 0.5)) / steps);
    return (4 * sum) / steps;
  };
  const profile = (r: number): number => integrate((f) => ours(f) * f * bessel(0, 2 * Math.PI * f * r));
  expect(Math.abs(profile(0.976 / 2) / profile(0) - 0.5)).toBeLessThan(5e-4);
  // Light within r: r times the integral of T(f) J1(2 pi f r).
  const within = (r: number): number => 2 * Math.PI * r * integrate((f) => ours(f) * bessel(1, 2 * Math.PI * f * r));
  expect(Math.abs(within(0.5548) - 0.5)).toBeLessThan(1e-3);
});

it('a drawn star is as wide as the transforms of seeing and obstructed circle say', () => {
  const conditions: ImageConditions = {
    pixelUm: 0.5,
    filter: 'mono',
    seeingArcsec: 3,
    grid: { size: 512, oversample: 1 },
  };
  const psf = starImage(RING, NO_ABERRATION, conditions);
  const half = psf.size / 2;
  const seeingUm = 3 * (800 / 206.264806);
  // Hankel transform of the product: Fried 1966 times O'Neill 1956.
  const cutoff = 1 / (LAMBDA * RATIO);
  const profile = (r: number): number => {
    let sum = 0;
    for (let i = 0; i < 400; i++) {
      const f = (cutoff * (i + 0.5)) / 400;
      const transfer = annulusTransfer(RING.obstruction, (2 * f) / cutoff) * kolmogorovTransfer(seeingUm, f);
      sum += transfer * f * bessel(0, 2 * Math.PI * f * r);
    }
    return sum;
  };
  for (const i of [4, 8, 12, 16, 24, 40]) {
    const expected = profile(i * 0.5) / profile(0);
    expect(Math.abs(psf.image[half * psf.size + half + i] / middleOf(psf) - expected)).toBeLessThan(1e-3);
  }
});

it('coma puts the centre of gravity at 2N c (1 + obstruction^2) towards the tail', () => {
  // Mean of the rays: 2 M1 c; the window cuts a little of the wings, hence 1 %.
  const c = { x: 0.5, y: -0.3 };
  const psf = starImage(RING, with_({ c }), { ...SHARP, seeingArcsec: 1 });
  let x = 0;
  let y = 0;
  for (let j = 0; j < psf.size; j++) {
    for (let i = 0; i < psf.size; i++) {
      x += psf.image[j * psf.size + i] * (i - psf.size / 2) * 0.25;
      y += psf.image[j * psf.size + i] * (j - psf.size / 2) * 0.25;
    }
  }
  const factor = totalOf(psf) * 2 * RATIO * (1 + RING.obstruction ** 2);
  expect(Math.abs(x / (factor * c.x) - 1)).toBeLessThan(0.01);
  expect(Math.abs(y / (factor * c.y) - 1)).toBeLessThan(0.01);
});

it('(d, a, s) with the opposite sign draws the same star: one frame cannot tell inside from outside focus', () => {
  // Exact for a pupil symmetric about its centre: W(p) -> -W(-p).
  const w: Coefficients = { d: 0.4, a: { x: 0.2, y: 0.1 }, c: { x: 0.3, y: -0.2 }, t: { x: 0.15, y: 0.1 }, s: 0.1 };
  const flipped: Coefficients = { ...w, d: -w.d, a: scale(w.a, -1), s: -w.s };
  const conditions: ImageConditions = { pixelUm: 3.76, filter: 'L', seeingArcsec: 1.5 };
  const telescope = { ...RING, vanes: FOUR_VANES };
  const one = starImage(telescope, w, conditions);
  const other = starImage(telescope, flipped, conditions);
  let worst = 0;
  for (let i = 0; i < one.image.length; i++) worst = Math.max(worst, Math.abs(one.image[i] - other.image[i]));
  expect(worst / middleOf(one)).toBeLessThan(1e-6);
  // The check can fail: with coma reversed too it is another star.
  const turned = starImage(telescope, { ...flipped, c: scale(w.c, -1) }, conditions);
  let differs = 0;
  for (let i = 0; i < one.image.length; i++) differs = Math.max(differs, Math.abs(one.image[i] - turned.image[i]));
  expect(differs / middleOf(one)).toBeGreaterThan(0.1);
});

describe('image on camera pixels', () => {
  const conditions: ImageConditions = { pixelUm: 3.76, filter: 'mono', seeingArcsec: 1.5 };
  const w = with_({ c: { x: 0.3, y: 0.1 }, d: 0.1 });

  it('is right at any place between the drawn points, to 2e-4 of the peak', () => {
    // Exact: the image drawn with the place as a wavefront tilt, read at its own points.
    for (const [x, y] of [
      [0.13, -0.41],
      [-0.5, 0.29],
      [0.37, 0.5],
    ]) {
      const stamp = stampAt(starImage(RING, w, conditions), x, y, 8);
      const shifted = starImage(RING, w, { ...conditions, shiftUm: () => ({ x: x * 3.76, y: y * 3.76 }) });
      const exact = stampAt(shifted, 0, 0, 8);
      const peak = exact.reduce((a, b) => Math.max(a, b), 0);
      for (let i = 0; i < exact.length; i++) expect(Math.abs(stamp[i] - exact[i]) / peak).toBeLessThan(2e-4);
    }
  });

  it("holds the star's light and refuses a stamp beyond its box", () => {
    const psf = starImage(RING, NO_ABERRATION, conditions);
    // But for the far wings of diffraction, which fall outside the box.
    const held = totalOf(psf) / psf.oversample ** 2;
    expect(held).toBeGreaterThan(0.97);
    expect(held).toBeLessThan(1);
    expect(() => stampAt(psf, 0, 0, maxHalfSize(psf) + 1)).toThrow(/halfSize/);
  });

  it('recentred, the image is only moved', () => {
    const plain = stampAt(starImage(RING, w, conditions), 0, 0, 6);
    const psf = starImage(RING, w, { ...conditions, recentred: true });
    const back = (2 * RATIO * (1 + RING.obstruction ** 2)) / 3.76;
    const moved = stampAt(psf, 0.3 * back, 0.1 * back, 6);
    const peak = plain.reduce((a, b) => Math.max(a, b), 0);
    for (let i = 0; i < plain.length; i++) expect(Math.abs(plain[i] - moved[i]) / peak).toBeLessThan(5e-4);
  });
});

describe('smear', () => {
  /** Second and third cumulants of where the image dwells along x, by differences of the logarithm of its transfer. */
  const cumulants = (smear: Smear, ux: number, uy: number): { second: number; third: number } => {
    const h = 1e-3;
    const log = (k: number): { re: number; im: number } => {
      const t = smearTransfer(smear, k * ux, k * uy);
      return { re: Math.log(Math.hypot(t.x, t.y)), im: Math.atan2(t.y, t.x) };
    };
    const w = 2 * Math.PI;
    const second = -(2 * log(h).re) / (h * w) ** 2;
    // log transfer = sum k_n (-i w f)^n / n!: the third is +i w^3 f^3 k3 / 6, beside -i w f k1.
    const third = ((log(2 * h).im - 2 * log(h).im) / (6 * h ** 3)) * (6 / w ** 3);
    return { second, third };
  };

  it('of a steady drift of length L adds L^2/12 along it and nothing odd', () => {
    // Variance of a uniform distribution; odd cumulants of a symmetric one vanish.
    const smear = { ...STEADY, driftUm: { x: 6, y: 8 } };
    expect(cumulants(smear, 0.6, 0.8).second).toBeCloseTo(100 / 12, 2);
    expect(cumulants(smear, 0.8, -0.6).second).toBeCloseTo(0, 6);
    expect(cumulants(smear, 0.6, 0.8).third).toBeCloseTo(0, 6);
  });

  it('of a jump has the third cumulant f(1-f)(1-2f) J^3 along it', () => {
    // Cumulants of the Bernoulli distribution.
    const smear = { ...STEADY, jumpUm: { x: 4, y: 0 }, jumpFraction: 0.2 };
    expect(Math.abs(cumulants(smear, 1, 0).second / (0.16 * 16) - 1)).toBeLessThan(1e-3);
    expect(Math.abs(cumulants(smear, 1, 0).third / (0.16 * 0.6 * 64) - 1)).toBeLessThan(2e-3);
  });

  it('of a whole-period swing A adds A^2/2', () => {
    // Variance of the arcsine distribution.
    const smear = { ...STEADY, swingUm: { x: 0, y: 3 }, swingCycles: 2 };
    expect(Math.abs(cumulants(smear, 0, 1).second / 4.5 - 1)).toBeLessThan(1e-3);
  });

  it('jitter and shake are Gaussian', () => {
    const smear = { ...STEADY, jitterUm: 2, shakeUm: { x: 3, y: 0 } };
    expect(cumulants(smear, 1, 0).second).toBeCloseTo(13, 6);
    expect(cumulants(smear, 0, 1).second).toBeCloseTo(4, 6);
  });
});

describe('defocused star', () => {
  it('rim and hole move apart by C_T (1 - obstruction^2) towards the head, the same on both sides of focus', () => {
    // Derived: circles fitted to the rays of rim and hole; |c| << |d|.
    const c = 0.02;
    // By rays first: the first harmonic of the distance from the middle, round the pupil, is a circle's displacement.
    const centre = (d: number, radius: number): number => {
      let shift = 0;
      for (let k = 0; k < 64; k++) {
        const turn = (2 * Math.PI * k) / 64;
        const ray = rayUm(with_({ d, c: { x: c, y: 0 } }), RATIO, radius * Math.cos(turn), radius * Math.sin(turn));
        shift += (2 * Math.hypot(ray.x, ray.y) * Math.sign(d) * Math.cos(turn)) / 64;
      }
      return shift;
    };
    const eps = RING.obstruction;
    for (const d of [4, -4]) {
      const expected = -6 * RATIO * c * (1 - eps * eps);
      expect(Math.abs((centre(d, eps) - centre(d, 1)) / expected - 1)).toBeLessThan(0.01);
    }
    // Then on the drawn star: fringes at the edges and uneven light shift the steepest place by up to 15 %.
    for (const d of [10, -10]) {
      const offset = holeMinusRim(starImage(RING, with_({ d, c: { x: c * 10, y: 0 } }), DONUT), DONUT.pixelUm);
      const expected = -6 * RATIO * c * 10 * (1 - RING.obstruction ** 2);
      expect(Math.abs(offset / expected - 1)).toBeLessThan(0.2);
    }
  });

  it('a shadow off the centre by w moves the hole by 4N d w, which turns round through focus', () => {
    const shifted: Telescope = { ...RING, obstructionOffset: { x: 0.06, y: 0 } };
    for (const d of [10, -10]) {
      const offset = holeMinusRim(starImage(shifted, with_({ d }), DONUT), DONUT.pixelUm);
      expect(Math.abs(offset / (4 * RATIO * d * 0.06) - 1)).toBeLessThan(0.06);
    }
  });

  it('grows in half-flux diameter by sqrt((1 + obstruction^2)/2)/N for each um of defocus', () => {
    // Geometry of the annulus of uniform light; Goldman & Megdal, Sky & Telescope, August 2010, use the same line.
    const halfFlux = (d: number): number => {
      const psf = starImage(RING, with_({ d }), DONUT);
      const list: [number, number][] = [];
      for (let j = 0; j < psf.size; j++) {
        for (let i = 0; i < psf.size; i++) {
          list.push([Math.hypot(i - psf.size / 2, j - psf.size / 2), psf.image[j * psf.size + i]]);
        }
      }
      list.sort((p, q) => p[0] - q[0]);
      const total = totalOf(psf);
      let sum = 0;
      for (const [radius, value] of list) {
        sum += value;
        if (sum > total / 2) return 2 * radius * (psf.pixelUm / psf.oversample);
      }
      return Number.NaN;
    };
    const slope = (halfFlux(9) - halfFlux(3)) / (6 * 8 * RATIO ** 2);
    expect(Math.abs(slope / (Math.sqrt((1 + RING.obstruction ** 2) / 2) / RATIO) - 1)).toBeLessThan(0.01);
  });
});

/** Discs 320 um wide, softened by a little seeing so that diffraction rings do not confuse the edges. */
const DONUT: ImageConditions = {
  pixelUm: 1,
  filter: 'L',
  samples: 5,
  seeingArcsec: 1.2,
  grid: { size: 512, oversample: 1 },
};

/** Hole's centre less the rim's along x, um: circles through the steepest edges, by the first harmonic. */
function holeMinusRim(psf: Psf, pixelUm: number): number {
  const step = pixelUm / psf.oversample;
  const half = psf.size / 2;
  const at = (x: number, y: number): number => {
    const i = Math.floor(x);
    const j = Math.floor(y);
    const u = x - i;
    const v = y - j;
    const value = (di: number, dj: number): number => psf.image[(half + j + dj) * psf.size + half + i + di];
    return (1 - v) * ((1 - u) * value(0, 0) + u * value(1, 0)) + v * ((1 - u) * value(0, 1) + u * value(1, 1));
  };
  let rim = 0;
  let hole = 0;
  const spokes = 48;
  const steepest = (slope: number[], from: number, to: number): number => {
    let best = from;
    for (let k = from; k < to; k++) if (slope[k] > slope[best]) best = k;
    const [a, b, c] = [slope[best - 1], slope[best], slope[best + 1]];
    return best + (a - c) / (2 * (a - 2 * b + c));
  };
  for (let k = 0; k < spokes; k++) {
    const turn = (2 * Math.PI * (k + 0.5)) / spokes;
    const profile: number[] = [];
    for (let r = 0; r < 220; r++) profile.push(at(r * Math.cos(turn), r * Math.sin(turn)));
    const slope = profile.map((_, i) => profile[Math.min(219, i + 2)] - profile[Math.max(0, i - 2)]);
    const inner = steepest(slope, 30, 85);
    const outer = steepest(
      slope.map((value) => -value),
      140,
      190,
    );
    hole += (2 * inner * step * Math.cos(turn)) / spokes;
    rim += (2 * outer * step * Math.cos(turn)) / spokes;
  }
  return hole - rim;
}

it('refuses a grid too coarse for the telescope', () => {
  expect(() =>
    starImage(OPEN, NO_ABERRATION, { ...SHARP, grid: { size: 64, oversample: 1 }, pixelUm: 4, field: ZERO }),
  ).toThrow(/too coarse/);
});
