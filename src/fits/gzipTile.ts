import { gunzipSync } from 'node:zlib';

/** Inflates one gzip stream that may hold at most `most` bytes; null when it is damaged or holds more. */
export function gunzipAtMost(source: Uint8Array, most: number): Uint8Array | null {
  try {
    const out = gunzipSync(source, { maxOutputLength: Math.max(1, most) });
    return new Uint8Array(out.buffer, out.byteOffset, out.length);
  } catch {
    return null;
  }
}

/** Undoes GZIP_2's shuffle: all first bytes of the values, then all second ones, ... (FITS 4.0, section 10.4.2). */
export function unshuffled(bytes: Uint8Array, itemsize: number): Uint8Array {
  const n = bytes.length / itemsize;
  const out = new Uint8Array(bytes.length);
  for (let k = 0; k < itemsize; k++) {
    for (let i = 0, at = k * n, to = k; i < n; i++, at++, to += itemsize) out[to] = bytes[at];
  }
  return out;
}

/** GZIP_2's shuffle. */
export function shuffled(bytes: Uint8Array, itemsize: number): Uint8Array {
  const n = bytes.length / itemsize;
  const out = new Uint8Array(bytes.length);
  for (let k = 0; k < itemsize; k++) {
    for (let i = 0, to = k * n, at = k; i < n; i++, to++, at += itemsize) out[to] = bytes[at];
  }
  return out;
}
