import { gzipSync } from 'node:zlib';
import { CARD_LENGTH, type CardToWrite, cardText } from './cardText.ts';
import type { PixelArray } from './pixels.ts';

/** FITS files are made of blocks of 2880 bytes (FITS 4.0, section 3.1). */
export const BLOCK_LENGTH = 2880;

export interface ImageToWrite {
  readonly pixels: PixelArray;
  readonly width: number;
  readonly height: number;
  /** Planes after one another in `pixels`; 1 when absent. */
  readonly planes?: number;
  /** What the header tells beyond the structure (SIMPLE, BITPIX, NAXIS.., BZERO and BSCALE are written from the pixels). */
  readonly cards: readonly CardToWrite[];
}

const STRUCTURE = /^(SIMPLE|XTENSION|BITPIX|NAXIS\d*|EXTEND|PCOUNT|GCOUNT|BSCALE|BZERO|END)$/;

/** How an array type is stored: BITPIX and the BZERO of the unsigned conventions (FITS 4.0, table 11). */
export function storageOf(pixels: PixelArray): { bitpix: number; bzero: number } {
  if (pixels instanceof Uint8Array) return { bitpix: 8, bzero: 0 };
  if (pixels instanceof Int8Array) return { bitpix: 8, bzero: -128 };
  if (pixels instanceof Int16Array) return { bitpix: 16, bzero: 0 };
  if (pixels instanceof Uint16Array) return { bitpix: 16, bzero: 32768 };
  if (pixels instanceof Int32Array) return { bitpix: 32, bzero: 0 };
  if (pixels instanceof Uint32Array) return { bitpix: 32, bzero: 2147483648 };
  return { bitpix: pixels instanceof Float32Array ? -32 : -64, bzero: 0 };
}

/** Checks an image given to an encoder; a wrong one is the caller's mistake. */
export function checkImage(image: ImageToWrite): void {
  const expected = image.width * image.height * (image.planes ?? 1);
  if (image.pixels.length !== expected)
    throw new RangeError(`pixels holds ${image.pixels.length} values, width x height x planes is ${expected}`);
  const structural = image.cards.find((card) => STRUCTURE.test(card.keyword));
  if (structural) throw new RangeError(`cards must not hold ${structural.keyword}: it is written from the pixels`);
}

/** Structural cards, then the unsigned convention's BZERO where the type needs it, then the caller's. */
function imageCards(image: ImageToWrite, first: CardToWrite): CardToWrite[] {
  const { bitpix, bzero } = storageOf(image.pixels);
  const axes = [image.width, image.height, ...(image.planes === undefined ? [] : [image.planes])];
  return [
    first,
    { keyword: 'BITPIX', value: bitpix, comment: 'bits a stored value' },
    { keyword: 'NAXIS', value: axes.length, comment: 'number of axes' },
    ...axes.map((length, index) => ({ keyword: `NAXIS${index + 1}`, value: length })),
    ...(first.keyword === 'SIMPLE'
      ? [{ keyword: 'EXTEND', value: true }]
      : [
          { keyword: 'PCOUNT', value: 0 },
          { keyword: 'GCOUNT', value: 1 },
        ]),
    ...(bzero === 0
      ? []
      : [
          { keyword: 'BSCALE', value: 1 },
          { keyword: 'BZERO', value: bzero, comment: 'unsigned (or signed 8-bit) integers' },
        ]),
    ...image.cards,
  ];
}

/** HEASARC's verifier asks for this card where strings go on over CONTINUE cards. */
const LONG_STRINGS: CardToWrite = { keyword: 'LONGSTRN', value: 'OGIP 1.0', comment: 'long strings use CONTINUE' };

/** Cards, END and blanks to a whole number of blocks. */
export function encodeHeader(cards: readonly CardToWrite[]): Uint8Array {
  const texts = cards.map(cardText);
  if (texts.some((text) => text.includes('CONTINUE  ', CARD_LENGTH))) texts.push(cardText(LONG_STRINGS));
  const text = texts.join('') + 'END'.padEnd(CARD_LENGTH);
  const padded = text.padEnd(Math.ceil(text.length / BLOCK_LENGTH) * BLOCK_LENGTH);
  return Uint8Array.from(padded, (character) => character.charCodeAt(0));
}

/** Writes `pixels` big-endian, as stored, into `target` from its first byte. */
export function writePixels(pixels: PixelArray, target: Uint8Array): void {
  const view = new DataView(target.buffer, target.byteOffset, target.byteLength);
  const n = pixels.length;
  if (pixels instanceof Uint8Array) target.set(pixels);
  else if (pixels instanceof Int8Array) for (let i = 0; i < n; i++) target[i] = pixels[i] + 128;
  else if (pixels instanceof Int16Array) for (let i = 0; i < n; i++) view.setInt16(2 * i, pixels[i]);
  else if (pixels instanceof Uint16Array) for (let i = 0; i < n; i++) view.setUint16(2 * i, pixels[i] ^ 0x8000);
  else if (pixels instanceof Int32Array) for (let i = 0; i < n; i++) view.setInt32(4 * i, pixels[i]);
  else if (pixels instanceof Uint32Array) for (let i = 0; i < n; i++) view.setUint32(4 * i, pixels[i] ^ 0x80000000);
  else if (pixels instanceof Float32Array) for (let i = 0; i < n; i++) view.setFloat32(4 * i, pixels[i]);
  else for (let i = 0; i < n; i++) view.setFloat64(8 * i, pixels[i]);
}

function encodeImage(image: ImageToWrite, first: CardToWrite): Uint8Array {
  checkImage(image);
  const header = encodeHeader(imageCards(image, first));
  const blocks = Math.ceil(image.pixels.byteLength / BLOCK_LENGTH);
  const bytes = new Uint8Array(header.length + blocks * BLOCK_LENGTH);
  bytes.set(header);
  writePixels(image.pixels, bytes.subarray(header.length));
  return bytes;
}

const SIMPLE: CardToWrite = { keyword: 'SIMPLE', value: true, comment: 'FITS standard 4.0' };

/** A FITS file with the image in its primary HDU. */
export function encodeFits(image: ImageToWrite): Uint8Array {
  return encodeImage(image, SIMPLE);
}

/** The same file as `.gz`. */
export function encodeFitsGz(image: ImageToWrite): Uint8Array {
  return gzipSync(encodeFits(image), { level: 1 });
}

/** A primary HDU without data, for files whose images stand in extensions. */
export function encodeEmptyPrimary(cards: readonly CardToWrite[]): Uint8Array {
  return encodeHeader([
    SIMPLE,
    { keyword: 'BITPIX', value: 8 },
    { keyword: 'NAXIS', value: 0 },
    { keyword: 'EXTEND', value: true },
    ...cards,
  ]);
}

/** One IMAGE extension, to be put after a primary HDU. */
export function encodeExtension(image: ImageToWrite): Uint8Array {
  return encodeImage(image, { keyword: 'XTENSION', value: 'IMAGE', comment: 'image extension' });
}

/** HDUs after one another. */
export function joinHdus(hdus: readonly Uint8Array[]): Uint8Array {
  const bytes = new Uint8Array(hdus.reduce((sum, hdu) => sum + hdu.length, 0));
  let offset = 0;
  for (const hdu of hdus) {
    bytes.set(hdu, offset);
    offset += hdu.length;
  }
  return bytes;
}
