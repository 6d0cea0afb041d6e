import type { RiceArray } from './rice.ts';

/** Writes the coding that rice.ts reads. */

/** Bits collected to bytes, highest first. */
class BitWriter {
  readonly bytes: Uint8Array;
  length = 0;
  #buffer = 0;
  #free = 8;

  constructor(capacity: number) {
    this.bytes = new Uint8Array(capacity);
  }

  /** The lowest `count` (0 to 32) bits of `value`. */
  put(value: number, count: number): void {
    let left = count;
    while (left > 0) {
      const take = Math.min(left, this.#free);
      left -= take;
      this.#buffer = (this.#buffer << take) | ((value >>> left) & ((1 << take) - 1));
      this.#free -= take;
      if (this.#free === 0) this.#flush();
    }
  }

  #flush(): void {
    this.bytes[this.length++] = this.#buffer;
    this.#buffer = 0;
    this.#free = 8;
  }

  /** What was written, the last byte filled with zeros. */
  finish(): Uint8Array {
    if (this.#free < 8) this.put(0, this.#free);
    return this.bytes.subarray(0, this.length);
  }
}

const WIDTH: Record<number, { fsBits: number; fsMax: number; bits: number }> = {
  1: { fsBits: 3, fsMax: 6, bits: 8 },
  2: { fsBits: 4, fsMax: 14, bits: 16 },
  4: { fsBits: 5, fsMax: 25, bits: 32 },
};

/** Difference in the pixel's own width, signs folded in: 0, -1, 1, -2, ... become 0, 1, 2, 3, ... */
function folded(difference: number, bits: number): number {
  const signed = (difference << (32 - bits)) >> (32 - bits);
  return (signed < 0 ? ~(signed << 1) : signed << 1) >>> 0;
}

/** Low bits to keep of each difference: the rule of the published coding, from the block's mean. */
function lowBits(sum: number, count: number): number {
  const mean = Math.max(0, (sum - (count >> 1) - 1) / count);
  let fs = 0;
  for (let rest = Math.floor(mean) >>> 1; rest > 0; rest >>>= 1) fs++;
  return fs;
}

/** Encodes integers in blocks of `blockSize`. */
export function riceEncode(pixels: RiceArray, blockSize: number): Uint8Array {
  const { fsBits, fsMax, bits } = WIDTH[pixels.BYTES_PER_ELEMENT];
  const out = new BitWriter(2 * pixels.byteLength + 64);
  const differences = new Uint32Array(blockSize);
  let last = pixels[0];
  out.put(last, bits);
  for (let start = 0; start < pixels.length; start += blockSize) {
    const count = Math.min(blockSize, pixels.length - start);
    let sum = 0;
    for (let i = 0; i < count; i++) {
      const value = pixels[start + i];
      differences[i] = folded(value - last, bits);
      sum += differences[i];
      last = value;
    }
    const fs = lowBits(sum, count);
    if (fs >= fsMax) {
      out.put(fsMax + 1, fsBits);
      for (let i = 0; i < count; i++) out.put(differences[i], bits);
    } else if (sum === 0) {
      out.put(0, fsBits);
    } else {
      out.put(fs + 1, fsBits);
      for (let i = 0; i < count; i++) {
        for (let zeros = differences[i] >>> fs; zeros > 0; zeros -= 32) out.put(0, Math.min(32, zeros));
        out.put(1, 1);
        out.put(differences[i], fs);
      }
    }
  }
  return out.finish();
}
