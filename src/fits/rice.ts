/**
 * Rice coding of pixel differences as FITS tiles use it: FITS 4.0, section 10.4.1; Pence, Seaman & White 2009,
 * PASP 121, 414. First the first pixel in full, then blocks: a code of `fsBits` bits says how many low bits of each
 * mapped difference follow its unary part (code 0: all differences zero; the highest: differences in full).
 */

export type RiceArray = Uint8Array | Int16Array | Int32Array;

interface RiceWidth {
  readonly fsBits: number;
  readonly fsMax: number;
  readonly bits: number;
}

const WIDTH: Record<number, RiceWidth> = {
  1: { fsBits: 3, fsMax: 6, bits: 8 },
  2: { fsBits: 4, fsMax: 14, bits: 16 },
  4: { fsBits: 5, fsMax: 25, bits: 32 },
};

/** Bytes a pixel that the coding knows. */
export const RICE_BYTES: readonly number[] = [1, 2, 4];

const PAST_END = 'the compressed bytes end too early';

/** Decodes `source` into all of `target`; the pixel's width is the array's. Returns null, or what is wrong in words. */
export function riceDecode(source: Uint8Array, target: RiceArray, blockSize: number): string | null {
  const { fsBits, fsMax, bits } = WIDTH[target.BYTES_PER_ELEMENT];
  const n = target.length;
  const end = source.length;
  let at = target.BYTES_PER_ELEMENT;
  if (at + 1 > end) return PAST_END;
  let last = 0;
  for (let i = 0; i < at; i++) last = (last << 8) | source[i];
  let buffer = source[at++];
  let held = 8;
  for (let i = 0; i < n; ) {
    held -= fsBits;
    if (held < 0) {
      if (at >= end) return PAST_END;
      buffer = (buffer << 8) | source[at++];
      held += 8;
    }
    const fs = (buffer >>> held) - 1;
    buffer &= (1 << held) - 1;
    const stop = Math.min(i + blockSize, n);
    if (fs < 0) {
      for (; i < stop; i++) target[i] = last;
    } else if (fs === fsMax) {
      for (; i < stop; i++) {
        let k = bits - held;
        // A shift by 32 is a shift by 0 in 32-bit arithmetic; `buffer` is 0 then anyway.
        let difference = k === 32 ? 0 : buffer << k;
        for (k -= 8; k >= 0; k -= 8) {
          if (at >= end) return PAST_END;
          difference |= source[at++] << k;
        }
        buffer = 0;
        if (held > 0) {
          if (at >= end) return PAST_END;
          const next = source[at++];
          difference |= next >>> -k;
          buffer = next & ((1 << held) - 1);
        }
        last = (difference & 1) === 0 ? last + (difference >>> 1) : last + ~(difference >>> 1);
        target[i] = last;
        last = target[i];
      }
    } else if (fs > fsMax) {
      return `a block says it keeps ${fs} low bits, at most ${fsMax} are possible`;
    } else {
      for (; i < stop; i++) {
        while (buffer === 0) {
          if (at >= end) return PAST_END;
          buffer = source[at++];
          held += 8;
        }
        const zeros = held - (32 - Math.clz32(buffer));
        held -= zeros + 1;
        buffer ^= 1 << held;
        held -= fs;
        while (held < 0) {
          if (at >= end) return PAST_END;
          buffer = (buffer << 8) | source[at++];
          held += 8;
        }
        const difference = (zeros << fs) | (buffer >>> held);
        buffer &= (1 << held) - 1;
        last = (difference & 1) === 0 ? last + (difference >>> 1) : last + ~(difference >>> 1);
        target[i] = last;
        last = target[i];
      }
    }
  }
  return null;
}
