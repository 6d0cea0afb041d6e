import { type Random, seededRandom } from '../numeric/random.ts';
import type { Complex } from './complex.ts';

/** Light and dirt in the frame besides the stars. */
export interface Sky {
  /** Electrons of sky light a pixel in the middle of the frame. */
  readonly skyE: number;
  /** Change of the sky from the middle to the frame's edge, as a share, along each axis. */
  readonly gradient: Complex;
  /** Light lost in the corner, as a share; falls with the square of the distance from the middle. */
  readonly vignetting: number;
  /** Brightest nebulosity, electrons a pixel. */
  readonly nebulosityE: number;
  readonly galaxies: number;
  /** Satellite trails across the frame. */
  readonly trails: number;
  readonly cosmicRays: number;
}

export const CLEAR_SKY: Sky = {
  skyE: 400,
  gradient: { x: 0, y: 0 },
  vignetting: 0,
  nebulosityE: 0,
  galaxies: 0,
  trails: 0,
  cosmicRays: 0,
};

/** Blobs that make up the nebulosity, their sigma as a share of the frame's height. */
const NEBULA_BLOBS = 9;
const NEBULA_SIGMA = { from: 0.03, to: 0.25 };
/** Scale length of an exponential galaxy, pixels, and its light, electrons. */
const GALAXY_SCALE_PX = { from: 1.5, to: 6 };
const GALAXY_E = { from: 20_000, to: 400_000 };
/** A trail's light, electrons a pixel of its length, and its sigma across, pixels. */
const TRAIL_E = 900;
const TRAIL_SIGMA_PX = 1.3;
/** Electrons a cosmic ray leaves in each pixel it crosses, and how many it crosses at most. */
const RAY_E = { from: 800, to: 12_000 };
const RAY_LENGTH_PX = 9;

interface Canvas {
  readonly light: Float32Array;
  readonly width: number;
  readonly height: number;
}

const between = (range: { from: number; to: number }, random: Random): number =>
  range.from * (range.to / range.from) ** random.uniform();

function addBlob(
  canvas: Canvas,
  x0: number,
  y0: number,
  reach: number,
  profile: (dx: number, dy: number) => number,
): void {
  const { light, width, height } = canvas;
  for (let y = Math.max(0, Math.ceil(y0 - reach)); y <= Math.min(height - 1, y0 + reach); y++) {
    for (let x = Math.max(0, Math.ceil(x0 - reach)); x <= Math.min(width - 1, x0 + reach); x++) {
      const at = y * width + x;
      light[at] = light[at] + profile(x - x0, y - y0);
    }
  }
}

function addNebulosity(canvas: Canvas, peakE: number, shift: Complex, random: Random): void {
  for (let i = 0; i < NEBULA_BLOBS; i++) {
    const sigma = canvas.height * between(NEBULA_SIGMA, random);
    const peak = peakE * (0.3 + 0.7 * random.uniform());
    const x = random.uniform() * canvas.width + shift.x;
    const y = random.uniform() * canvas.height + shift.y;
    const inverse = 1 / (2 * sigma * sigma);
    addBlob(canvas, x, y, 4 * sigma, (dx, dy) => peak * Math.exp(-(dx * dx + dy * dy) * inverse));
  }
}

function addGalaxies(canvas: Canvas, count: number, softPx: number, shift: Complex, random: Random): void {
  for (let i = 0; i < count; i++) {
    const scalePx = between(GALAXY_SCALE_PX, random);
    const ratio = 0.3 + 0.7 * random.uniform();
    const turn = Math.PI * random.uniform();
    const electrons = between(GALAXY_E, random);
    const x = random.uniform() * canvas.width + shift.x;
    const y = random.uniform() * canvas.height + shift.y;
    const cos = Math.cos(turn);
    const sin = Math.sin(turn);
    // Exponential disc, its cusp softened by the seeing.
    const centre = electrons / (2 * Math.PI * (scalePx * scalePx + softPx * softPx) * ratio);
    addBlob(canvas, x, y, 9 * scalePx + 4 * softPx, (dx, dy) => {
      const along = dx * cos + dy * sin;
      const across = (dy * cos - dx * sin) / ratio;
      const r = Math.sqrt(along * along + across * across + softPx * softPx) - softPx;
      return centre * Math.exp(-r / scalePx);
    });
  }
}

function addTrail(canvas: Canvas, random: Random): void {
  const { light, width, height } = canvas;
  const turn = Math.PI * random.uniform();
  const normalX = -Math.sin(turn);
  const normalY = Math.cos(turn);
  const x0 = width * (0.2 + 0.6 * random.uniform());
  const y0 = height * (0.2 + 0.6 * random.uniform());
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const away = ((x - x0) * normalX + (y - y0) * normalY) / TRAIL_SIGMA_PX;
      if (Math.abs(away) < 6) light[y * width + x] = light[y * width + x] + TRAIL_E * Math.exp(-0.5 * away * away);
    }
  }
}

/** Particles hit the silicon itself: no optics, no seeing. */
export function addCosmicRays(canvas: Canvas, count: number, random: Random): void {
  const { light, width, height } = canvas;
  for (let i = 0; i < count; i++) {
    const turn = 2 * Math.PI * random.uniform();
    const steps = 1 + random.integer(RAY_LENGTH_PX);
    const electrons = between(RAY_E, random);
    let x = random.uniform() * (width - 1);
    let y = random.uniform() * (height - 1);
    for (let step = 0; step < steps; step++) {
      const column = Math.round(x);
      const row = Math.round(y);
      if (column < 0 || column >= width || row < 0 || row >= height) break;
      light[row * width + column] = light[row * width + column] + electrons;
      x += Math.cos(turn);
      y += Math.sin(turn);
    }
  }
}

/** Sky, nebulosity, galaxies and trails, electrons a pixel, before vignetting. `shift`: where the sky stands, pixels. */
export function skyLight(
  sky: Sky,
  width: number,
  height: number,
  softPx: number,
  shift: Complex,
  fieldSeed: number,
  noiseSeed: number,
): Float32Array {
  const light = new Float32Array(width * height);
  const canvas = { light, width, height };
  for (let y = 0; y < height; y++) {
    const v = (2 * y) / (height - 1) - 1;
    for (let x = 0; x < width; x++) {
      const u = (2 * x) / (width - 1) - 1;
      light[y * width + x] = sky.skyE * (1 + sky.gradient.x * u + sky.gradient.y * v);
    }
  }
  if (sky.nebulosityE > 0) addNebulosity(canvas, sky.nebulosityE, shift, seededRandom(fieldSeed, 'nebulosity'));
  if (sky.galaxies > 0) addGalaxies(canvas, sky.galaxies, softPx, shift, seededRandom(fieldSeed, 'galaxies'));
  const trails = seededRandom(noiseSeed, 'trails');
  for (let i = 0; i < sky.trails; i++) addTrail(canvas, trails);
  return light;
}

/** Dims the light towards the corners. */
export function vignette(light: Float32Array, width: number, height: number, atCorner: number): void {
  if (atCorner === 0) return;
  for (let y = 0; y < height; y++) {
    const v = (2 * y) / (height - 1) - 1;
    for (let x = 0; x < width; x++) {
      const u = (2 * x) / (width - 1) - 1;
      const r2 = (u * u * width * width + v * v * height * height) / (width * width + height * height);
      light[y * width + x] = light[y * width + x] * (1 - atCorner * r2);
    }
  }
}
