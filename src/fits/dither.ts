/**
 * Floating-point tiles kept as scaled integers, with or without subtractive dithering: FITS 4.0, sections 10.2 and
 * appendix I; Pence, Seaman & White 2009, PASP 121, 414; the seeded sequence is Park & Miller 1988, CACM 31, 1192.
 */

export const DITHERINGS = ['NO_DITHER', 'SUBTRACTIVE_DITHER_1', 'SUBTRACTIVE_DITHER_2'] as const;
export type Dithering = (typeof DITHERINGS)[number];

const RANDOM_COUNT = 10_000;
const MULTIPLIER = 16_807;
const MODULUS = 2_147_483_647;
/** With SUBTRACTIVE_DITHER_2 this integer stands for exactly 0. */
const EXACT_ZERO = -2_147_483_646;

let sequence: Float32Array | null = null;

/** The standard's 10000 random numbers in [0, 1), kept in single precision as the writers keep them. */
function randomSequence(): Float32Array {
  if (sequence !== null) return sequence;
  sequence = new Float32Array(RANDOM_COUNT);
  let seed = 1;
  for (let i = 0; i < RANDOM_COUNT; i++) {
    // Below 2^53: exact in doubles.
    seed = (MULTIPLIER * seed) % MODULUS;
    sequence[i] = seed / MODULUS;
  }
  return sequence;
}

export interface Quantisation {
  readonly scale: number;
  readonly zero: number;
  /** Integer that stands for NaN, if any. */
  readonly blank: number | undefined;
  readonly dithering: Dithering;
  /** Row of the tile in its table (from 0) plus ZDITHER0 - 1. */
  readonly row: number;
}

/** Integers back to floating point, into `target` of the same length. */
export function dequantise(
  integers: ArrayLike<number>,
  target: Float32Array | Float64Array,
  { scale, zero, blank, dithering, row }: Quantisation,
): void {
  const n = target.length;
  if (dithering === 'NO_DITHER') {
    for (let i = 0; i < n; i++) target[i] = integers[i] === blank ? NaN : integers[i] * scale + zero;
    return;
  }
  const random = randomSequence();
  const exactZero = dithering === 'SUBTRACTIVE_DITHER_2' ? EXACT_ZERO : NaN;
  let seed = row % RANDOM_COUNT;
  let next = Math.trunc(random[seed] * 500);
  for (let i = 0; i < n; i++) {
    const value = integers[i];
    if (value === blank) target[i] = NaN;
    else if (value === exactZero) target[i] = 0;
    else target[i] = (value - random[next] + 0.5) * scale + zero;
    if (++next < RANDOM_COUNT) continue;
    seed = (seed + 1) % RANDOM_COUNT;
    next = Math.trunc(random[seed] * 500);
  }
}
