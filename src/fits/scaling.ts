import { damaged } from './damage.ts';
import type { Header } from './header.ts';
import type { PixelArray } from './pixels.ts';
import { numberCard } from './structure.ts';

/** How stored values become pixels: physical = BZERO + BSCALE x stored, BLANK compared before (FITS 4.0, section 4.4.2). */
export interface Scaling {
  /** none: stored values are the pixels; flip: BZERO of the unsigned (or signed 8-bit) convention; linear: all else. */
  readonly kind: 'none' | 'flip' | 'linear';
  readonly bscale: number;
  readonly bzero: number;
  /** Stored integer that means 'no value'. */
  readonly blank: number | bigint | undefined;
  readonly notes: readonly string[];
}

/** Arrays holding stored values in the machine's byte order; 64-bit integers become Float64 when scaled. */
export type StoredArray = PixelArray | BigInt64Array;

export interface PixelsAndMask {
  readonly pixels: PixelArray;
  /** 1 where the pixel holds no value; null when all do. */
  readonly mask: Uint8Array | null;
}

/** BZERO of the unsigned conventions, and of signed 8-bit integers (FITS 4.0, table 11). */
const FLIP_ZERO: Record<number, number> = { 8: -128, 16: 32768, 32: 2147483648, 64: 2 ** 63 };

/** BSCALE, BZERO and BLANK of an image whose stored values have `bitpix`; `blankKeyword` is ZBLANK or BLANK. */
export function scalingOf(header: Header, bitpix: number, blankKeyword: string, name: string): Scaling {
  const notes: string[] = [];
  const bscale = Number(numberCard(header, 'BSCALE', name) ?? 1);
  const bzero = Number(numberCard(header, 'BZERO', name) ?? 0);
  if (bscale === 0) {
    const at = header.cards.get('BSCALE')?.offset;
    throw damaged(name, `card BSCALE (byte ${at}) holds 0, which would make all pixels equal; expected another number`);
  }
  for (const keyword of ['BSCALE', 'BZERO', blankKeyword]) {
    const card = header.cards.get(keyword);
    if (card?.value === null) notes.push(`card ${keyword} (byte ${card.offset}) has no value and was taken as absent`);
    if (typeof card?.value === 'string')
      notes.push(`card ${keyword} (byte ${card.offset}) holds its number as a string`);
  }
  let blank = numberCard(header, blankKeyword, name);
  if (blank !== undefined && bitpix < 0) {
    notes.push(`${blankKeyword} means nothing for floating-point pixels and was ignored`);
    blank = undefined;
  } else if (typeof blank === 'number' && !Number.isInteger(blank)) {
    throw damaged(
      name,
      `card ${blankKeyword} (byte ${header.cards.get(blankKeyword)?.offset}) holds ${blank}, expected a whole number`,
    );
  }
  const kind = bscale !== 1 ? 'linear' : bzero === 0 ? 'none' : bzero === FLIP_ZERO[bitpix] ? 'flip' : 'linear';
  if (kind === 'linear' && bitpix < 0)
    notes.push(`BSCALE ${bscale} and BZERO ${bzero} were applied to floating-point pixels`);
  return { kind, bscale, bzero, blank, notes };
}

function blankMask(stored: StoredArray, blank: number | bigint): Uint8Array | null {
  let mask: Uint8Array | null = null;
  const value = stored instanceof BigInt64Array ? BigInt(blank) : blank;
  for (let i = 0; i < stored.length; i++) {
    if (stored[i] !== value) continue;
    mask ??= new Uint8Array(stored.length);
    mask[i] = 1;
  }
  return mask;
}

function nonFiniteMask(pixels: Float32Array | Float64Array): Uint8Array | null {
  let mask: Uint8Array | null = null;
  for (let i = 0; i < pixels.length; i++) {
    // x - x is 0 for finite numbers only.
    if (pixels[i] - pixels[i] === 0) continue;
    mask ??= new Uint8Array(pixels.length);
    mask[i] = 1;
  }
  return mask;
}

/** Turns the top bit of each value, in place: subtracting the convention's BZERO without leaving the integers. */
function flipped(stored: StoredArray): PixelArray {
  const { buffer, byteOffset, length } = stored;
  if (stored instanceof Int16Array) {
    const pixels = new Uint16Array(buffer, byteOffset, length);
    for (let i = 0; i < length; i++) pixels[i] ^= 0x8000;
    return pixels;
  }
  if (stored instanceof Int32Array) {
    const pixels = new Uint32Array(buffer, byteOffset, length);
    for (let i = 0; i < length; i++) pixels[i] ^= 0x80000000;
    return pixels;
  }
  if (stored instanceof BigInt64Array) return wideToFloat(stored, true);
  const pixels = new Int8Array(buffer, byteOffset, length);
  for (let i = 0; i < length; i++) pixels[i] ^= 0x80;
  return pixels;
}

/** 64-bit integers as the nearest doubles, in the same memory. */
function wideToFloat(stored: BigInt64Array, flip: boolean): Float64Array {
  const { buffer, byteOffset, length } = stored;
  const pixels = new Float64Array(buffer, byteOffset, length);
  const low = new Uint32Array(buffer, byteOffset, 2 * length);
  const high = new Int32Array(buffer, byteOffset, 2 * length);
  for (let i = 0; i < length; i++) {
    const top = flip ? (high[2 * i + 1] ^ 0x80000000) >>> 0 : high[2 * i + 1];
    // Both terms are exact, so their sum is rounded once.
    pixels[i] = top * 4294967296 + low[2 * i];
  }
  return pixels;
}

/** Largest BZERO with which single precision still tells stored values of 16 bits and steps of BSCALE apart. */
const MOST_STEPS = 2 ** 23;

/** Double precision where the values or the scaling need it. */
function needsDouble(values: PixelArray, { bscale, bzero }: Scaling): boolean {
  if (values instanceof Float64Array || values instanceof Int32Array || values instanceof Uint32Array) return true;
  if (!Number.isFinite(Math.fround(bscale * 65536)) || Math.fround(bscale) === 0) return true;
  return Math.abs(bzero) > MOST_STEPS * Math.min(1, Math.abs(bscale));
}

/** Single precision for up to 16 bits, as astropy computes it (product and sum each rounded); else double. */
function linear(stored: StoredArray, scaling: Scaling): Float32Array | Float64Array {
  const { bscale, bzero } = scaling;
  const n = stored.length;
  const values = stored instanceof BigInt64Array ? wideToFloat(stored, false) : stored;
  if (needsDouble(values, scaling)) {
    const pixels = values instanceof Float64Array ? values : new Float64Array(n);
    for (let i = 0; i < n; i++) pixels[i] = values[i] * bscale + bzero;
    return pixels;
  }
  const pixels = values instanceof Float32Array ? values : new Float32Array(n);
  const scale = Math.fround(bscale);
  const zero = Math.fround(bzero);
  for (let i = 0; i < n; i++) pixels[i] = Math.fround(values[i] * scale) + zero;
  return pixels;
}

/** Pixels and mask from stored values, in the same memory where the type allows. */
export function physicalPixels(stored: StoredArray, scaling: Scaling): PixelsAndMask {
  let mask = scaling.blank === undefined ? null : blankMask(stored, scaling.blank);
  let pixels: PixelArray;
  if (scaling.kind === 'flip') pixels = flipped(stored);
  else if (scaling.kind === 'linear') pixels = linear(stored, scaling);
  else pixels = stored instanceof BigInt64Array ? wideToFloat(stored, false) : stored;
  if (mask !== null && (pixels instanceof Float32Array || pixels instanceof Float64Array)) {
    for (let i = 0; i < mask.length; i++) if (mask[i] === 1) pixels[i] = NaN;
  }
  if (pixels instanceof Float32Array || pixels instanceof Float64Array) mask = nonFiniteMask(pixels);
  return { pixels, mask };
}
