import FFT from 'fft.js';

/** Columns copied together when transposing, so that both sides stay in the cache. */
const BLOCK = 16;

/** Square two-dimensional complex transform, kernel exp(-2 pi i (jx kx + jy ky) / n), not scaled. */
export interface Fft2d {
  readonly size: number;
  /**
   * `input` is n x n complex values, interleaved real and imaginary, row-major; it is overwritten. Only the first
   * `usedRows` rows are read as non-zero. The result comes TRANSPOSED: output[(kx * n + ky) * 2]; a second transform
   * turns it back.
   */
  transform(input: Float64Array, output: Float64Array, usedRows?: number): void;
}

function transpose(from: Float64Array, to: Float64Array, n: number): void {
  for (let y0 = 0; y0 < n; y0 += BLOCK) {
    for (let x0 = 0; x0 < n; x0 += BLOCK) {
      for (let y = y0; y < y0 + BLOCK; y++) {
        for (let x = x0; x < x0 + BLOCK; x++) {
          const source = 2 * (y * n + x);
          const target = 2 * (x * n + y);
          to[target] = from[source];
          to[target + 1] = from[source + 1];
        }
      }
    }
  }
}

export function fft2d(size: number): Fft2d {
  if (size < BLOCK || (size & (size - 1)) !== 0) {
    throw new RangeError(`size must be a power of two of at least ${BLOCK}, got ${size}`);
  }
  const line = new FFT(size);
  const row = new Float64Array(2 * size);
  const half = new Float64Array(2 * size * size);

  const transform = (input: Float64Array, output: Float64Array, usedRows = size): void => {
    for (let y = 0; y < usedRows; y++) {
      row.set(input.subarray(2 * y * size, 2 * (y + 1) * size));
      line.transform(input.subarray(2 * y * size, 2 * (y + 1) * size), row);
    }
    if (usedRows < size) input.fill(0, 2 * usedRows * size);
    transpose(input, half, size);
    for (let x = 0; x < size; x++) {
      const at = 2 * x * size;
      line.transform(output.subarray(at, at + 2 * size), half.subarray(at, at + 2 * size));
    }
  };
  return { size, transform };
}
