import { kernels } from '../kernels/kernels.ts';
import type { StoredArray } from './scaling.ts';

/** Stored big-endian values turned to the machine's byte order, in place. */

const LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;

const SWAPPED_AT_ONCE = 1 << 19;

function swap16(bytes: Uint8Array, flip: boolean): void {
  const { buffer, byteOffset, length } = bytes;
  const compiled = kernels();
  const address = compiled?.addressOf(bytes) ?? null;
  if (compiled !== null && address !== null) {
    compiled.share('swap16', [address, flip ? 0x8000 : 0], length >>> 1, SWAPPED_AT_ONCE);
    return;
  }
  const flip32 = flip ? 0x80008000 : 0;
  // Two pixels at once: a third faster than one by one.
  const pairs = new Uint32Array(buffer, byteOffset, length >>> 2);
  for (let i = 0; i < pairs.length; i++) {
    const v = pairs[i];
    pairs[i] = (((v & 0x00ff00ff) << 8) | ((v >>> 8) & 0x00ff00ff)) ^ flip32;
  }
  if (length % 4 === 2) {
    const last = new Uint16Array(buffer, byteOffset + length - 2, 1);
    last[0] = ((last[0] << 8) | (last[0] >>> 8)) ^ (flip32 & 0x8000);
  }
}

function swap32(words: Uint32Array): void {
  for (let i = 0; i < words.length; i++) {
    const v = words[i];
    words[i] = (v << 24) | ((v & 0xff00) << 8) | ((v >>> 8) & 0xff00) | (v >>> 24);
  }
}

function exchangeHalves(words: Uint32Array): void {
  for (let i = 0; i + 1 < words.length; i += 2) {
    const v = words[i];
    words[i] = words[i + 1];
    words[i + 1] = v;
  }
}

/** Memory that begins where the type needs it: the same bytes where they do, a copy otherwise. */
function aligned(bytes: Uint8Array, itemsize: number): Uint8Array {
  return bytes.byteOffset % Math.max(4, itemsize) === 0 ? bytes : bytes.slice();
}

/**
 * `count` values of type `bitpix` from byte `start` on, in the machine's byte order and in the memory of `bytes` itself,
 * which must not be read as a file again. `flip16` also turns the top bit of 16-bit values: one pass instead of two.
 */
export function storedValues(
  bytes: Uint8Array,
  start: number,
  count: number,
  bitpix: number,
  flip16 = false,
): StoredArray {
  const itemsize = Math.abs(bitpix) / 8;
  const part = aligned(bytes.subarray(start, start + count * itemsize), itemsize);
  const { buffer, byteOffset } = part;
  if (itemsize === 1) return part;
  if (!LITTLE_ENDIAN) throw new RangeError('big-endian machines are not supported');
  if (itemsize === 2) {
    swap16(part, flip16);
    return flip16 ? new Uint16Array(buffer, byteOffset, count) : new Int16Array(buffer, byteOffset, count);
  }
  const words = new Uint32Array(buffer, byteOffset, (count * itemsize) / 4);
  swap32(words);
  if (bitpix === 32) return new Int32Array(buffer, byteOffset, count);
  if (bitpix === -32) return new Float32Array(buffer, byteOffset, count);
  exchangeHalves(words);
  return bitpix === 64 ? new BigInt64Array(buffer, byteOffset, count) : new Float64Array(buffer, byteOffset, count);
}
