import type { Random } from '../../src/numeric/random.ts';

/**
 * Star profiles drawn through real pixels by quadrature: independent of src/optics and of the measurement.
 * A profile is a function of r^2 in units of FWHM^2, 1 at the centre and 1/2 at r = FWHM/2.
 */
export type Profile = (r2: number) => number;

export const gaussian: Profile = (r2) => Math.exp(-4 * Math.LN2 * r2);

/** Moffat (1969, A&A 3, 455): FWHM = 2 alpha sqrt(2^(1/beta) - 1). */
export function moffat(beta: number): Profile {
  const k = 4 * (2 ** (1 / beta) - 1);
  return (r2) => (1 + k * r2) ** -beta;
}

/**
 * Long exposure through Kolmogorov turbulence: Hankel transform of exp(-3.44 (lambda nu/r0)^(5/3)) (Fried 1966, JOSA 56,
 * 1372), tabulated once and scaled by its own half width.
 */
export function kolmogorov(): Profile {
  kolmogorovTable ??= tabulateKolmogorov();
  const { step, values } = kolmogorovTable;
  return (r2) => {
    const t = Math.sqrt(r2) / step;
    const i = Math.min(values.length - 2, Math.floor(t));
    const f = t - i;
    return Math.max(0, values[i] * (1 - f) + values[i + 1] * f);
  };
}

let kolmogorovTable: { step: number; values: Float64Array } | null = null;

function tabulateKolmogorov(): { step: number; values: Float64Array } {
  // Profile at angle r in units of lambda/r0: integral of exp(-3.44 q^(5/3)) J0(2 pi q r) q dq.
  const at = (r: number): number => {
    let sum = 0;
    const n = 3000;
    const top = 3.2;
    for (let k = 0; k < n; k++) {
      const q = ((k + 0.5) * top) / n;
      sum += Math.exp(-3.44 * q ** (5 / 3)) * besselJ0(2 * Math.PI * q * r) * q;
    }
    return sum;
  };
  const centre = at(0);
  let low = 0.3;
  let high = 0.7;
  for (let k = 0; k < 40; k++) {
    const middle = (low + high) / 2;
    if (at(middle) > centre / 2) low = middle;
    else high = middle;
  }
  const step = 0.01;
  const values = Float64Array.from({ length: 600 }, (_, i) => at(i * step * 2 * low) / centre);
  return { step, values };
}

/** J0 by its integral: mean of cos(x sin t) over half a turn (Bessel). */
function besselJ0(x: number): number {
  const n = Math.max(16, Math.ceil(Math.abs(x)) + 16);
  let sum = 0;
  for (let k = 0; k < n; k++) sum += Math.cos(x * Math.sin(((k + 0.5) * Math.PI) / n));
  return sum / n;
}

export interface Shaping {
  /** Geometric mean, pixels. */
  readonly fwhm: number;
  /** Distortion (a2 - b2)/(a2 + b2) and its axis, radians from +x to +y. */
  readonly e: number;
  readonly theta: number;
}

/** Seven-point Gauss-Legendre on (-1/2, 1/2). */
const NODES = [
  [-0.9491079123427585, 0.1294849661688697],
  [-0.7415311855993945, 0.2797053914892766],
  [-0.4058451513773972, 0.3818300505051189],
  [0, 0.4179591836734694],
  [0.4058451513773972, 0.3818300505051189],
  [0.7415311855993945, 0.2797053914892766],
  [0.9491079123427585, 0.1294849661688697],
].map(([x, w]) => [(x ?? 0) / 2, (w ?? 0) / 2] as const);

/** Five points serve for broad profiles, which change little within a pixel. */
const FEW = [
  [-0.906179845938664, 0.2369268850561891],
  [-0.5384693101056831, 0.4786286704993665],
  [0, 0.5688888888888889],
  [0.5384693101056831, 0.4786286704993665],
  [0.906179845938664, 0.2369268850561891],
].map(([x, w]) => [(x ?? 0) / 2, (w ?? 0) / 2] as const);

/** (2 half + 1)^2 pixel means of a profile of peak 1 centred (dx, dy) pixels from the middle pixel's centre. */
export function drawStamp(profile: Profile, shaping: Shaping, half: number, dx: number, dy: number): Float64Array {
  const { fwhm, e, theta } = shaping;
  const q = ((1 + e) / (1 - e)) ** 0.25;
  const cos = Math.cos(theta) / (fwhm * q);
  const sin = Math.sin(theta) / (fwhm * q);
  const cosMinor = (Math.cos(theta) * q) / fwhm;
  const sinMinor = (Math.sin(theta) * q) / fwhm;
  const nodes = fwhm > 3.5 ? FEW : NODES;
  const width = 2 * half + 1;
  const out = new Float64Array(width * width);
  for (let j = 0; j < width; j++)
    for (let i = 0; i < width; i++) {
      let sum = 0;
      for (const [gy, wy] of nodes) {
        const y = j - half - dy + gy;
        for (const [gx, wx] of nodes) {
          const x = i - half - dx + gx;
          const u = x * cos + y * sin;
          const v = y * cosMinor - x * sinMinor;
          sum += wx * wy * profile(u * u + v * v);
        }
      }
      out[j * width + i] = sum;
    }
  return out;
}

export interface Noise {
  /** ADU. */
  readonly sky: number;
  /** Sky and read noise of one pixel together, ADU. */
  readonly sigma: number;
  readonly gainEPerAdu: number;
}

/** Adds sky, its noise and the star's own photon noise (normal approximation, well above 10 electrons here). */
export function withNoise(stamp: Float64Array, peak: number, noise: Noise, random: Random): Float32Array {
  return Float32Array.from(stamp, (v) => {
    const light = peak * v;
    return noise.sky + light + random.normal() * Math.sqrt(noise.sigma ** 2 + Math.max(0, light) / noise.gainEPerAdu);
  });
}
