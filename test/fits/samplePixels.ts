import type { PixelArray } from '../../src/fits/pixels.ts';

/** Repeatable random numbers in [0, 1): Park & Miller 1988 would clash with what is tested, so Marsaglia's xorshift32 (2003). */
export function uniform(seed: number): () => number {
  let state = seed | 0 || 1;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return (state >>> 0) / 4294967296;
  };
}

/** Fills with noise from `least` to `most`. */
export function noise<T extends PixelArray>(pixels: T, least: number, most: number, seed = 7): T {
  const next = uniform(seed);
  const whole = !(pixels instanceof Float32Array || pixels instanceof Float64Array);
  for (let i = 0; i < pixels.length; i++) {
    const value = least + next() * (most - least + (whole ? 1 : 0));
    pixels[i] = whole ? Math.floor(value) : value;
  }
  return pixels;
}

/** A sky of 1000 with noise and a dozen stars, some of them bright. */
export function starLike<T extends PixelArray>(pixels: T, width: number, seed = 11): T {
  const next = uniform(seed);
  const height = pixels.length / width;
  for (let i = 0; i < pixels.length; i++) pixels[i] = 1000 + 30 * (next() + next() + next() - 1.5);
  for (let star = 0; star < 12; star++) {
    const [x0, y0, peak] = [next() * width, next() * height, 20000 * next() ** 3 + 100];
    for (let y = Math.max(0, Math.floor(y0 - 8)); y < Math.min(height, y0 + 8); y++) {
      for (let x = Math.max(0, Math.floor(x0 - 8)); x < Math.min(width, x0 + 8); x++) {
        pixels[y * width + x] += peak * Math.exp(-((x - x0) ** 2 + (y - y0) ** 2) / 4.5);
      }
    }
  }
  return pixels;
}
