/** FITS files put together from raw cards, right or wrong, for tests of reading. */

const BLOCK = 2880;

export const latin1 = (text: string): Uint8Array => Uint8Array.from(text, (character) => character.charCodeAt(0));

/** Cards of 80 characters, END, blanks to whole blocks. */
export function rawHeader(cards: readonly string[]): Uint8Array {
  const text = [...cards, 'END'].map((card) => card.padEnd(80).slice(0, 80)).join('');
  return latin1(text.padEnd(Math.ceil(text.length / BLOCK) * BLOCK));
}

export function join(...parts: readonly Uint8Array[]): Uint8Array {
  const bytes = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let offset = 0;
  for (const part of parts) {
    bytes.set(part, offset);
    offset += part.length;
  }
  return bytes;
}

export function padded(data: Uint8Array): Uint8Array {
  return join(data, new Uint8Array((BLOCK - (data.length % BLOCK)) % BLOCK));
}

/** `SIMPLE = T`, the cards, the data with its padding. */
export function fitsFile(cards: readonly string[], data: Uint8Array): Uint8Array {
  return join(rawHeader(['SIMPLE  =                    T', ...cards]), padded(data));
}
