/**
 * Small dense symmetric systems, row-major n x n. For least squares over the field and the star kernel, where n <= 16.
 */

interface Scratch {
  readonly scale: Float64Array;
  readonly lower: Float64Array;
  readonly inverseLower: Float64Array;
}

const scratches: Scratch[] = [];

/** Working memory by size: content never outlives a call. Only lower triangles are ever written or read. */
function scratchOf(n: number): Scratch {
  return (scratches[n] ??= {
    scale: new Float64Array(n),
    lower: new Float64Array(n * n),
    inverseLower: new Float64Array(n * n),
  });
}

/**
 * Inverse of a symmetric positive definite matrix by Cholesky decomposition (Golub & Van Loan, Matrix Computations, 4.2);
 * null when it is not positive definite to working precision. The matrix is scaled to unit diagonal first.
 * `out` (n x n) receives the inverse; a new array by default. It may be `matrix` itself.
 */
export function invertSymmetric(
  matrix: ArrayLike<number>,
  n: number,
  out: Float64Array = new Float64Array(n * n),
): Float64Array | null {
  const { scale, lower, inverseLower } = scratchOf(n);
  for (let i = 0; i < n; i++) {
    const d = matrix[i * n + i];
    if (!(d > 0) || !Number.isFinite(d)) return null;
    scale[i] = 1 / Math.sqrt(d);
  }
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j] * scale[i] * scale[j];
      for (let k = 0; k < j; k++) sum -= lower[i * n + k] * lower[j * n + k];
      if (i === j) {
        if (!(sum > 1e-13)) return null;
        lower[i * n + i] = Math.sqrt(sum);
      } else lower[i * n + j] = sum / lower[j * n + j];
    }
  }
  for (let j = 0; j < n; j++) {
    inverseLower[j * n + j] = 1 / lower[j * n + j];
    for (let i = j + 1; i < n; i++) {
      let sum = 0;
      for (let k = j; k < i; k++) sum -= lower[i * n + k] * inverseLower[k * n + j];
      inverseLower[i * n + j] = sum / lower[i * n + i];
    }
  }
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let k = i; k < n; k++) sum += inverseLower[k * n + i] * inverseLower[k * n + j];
      sum *= scale[i] * scale[j];
      out[i * n + j] = sum;
      out[j * n + i] = sum;
    }
  }
  return out;
}

/** Natural logarithm of the determinant of a symmetric positive definite matrix, by Cholesky; null where it is not. */
export function logDeterminant(matrix: ArrayLike<number>, n: number): number | null {
  const lower = new Float64Array(n * n);
  let sum = 0;
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      let rest = matrix[i * n + j];
      for (let k = 0; k < j; k++) rest -= lower[i * n + k] * lower[j * n + k];
      if (i !== j) lower[i * n + j] = rest / lower[j * n + j];
      else if (rest > 0) {
        lower[i * n + i] = Math.sqrt(rest);
        sum += Math.log(rest);
      } else return null;
    }
  return sum;
}

/** matrix x vector, row-major n x n. */
export function multiply(matrix: ArrayLike<number>, vector: ArrayLike<number>, n: number): Float64Array {
  const out = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    let sum = 0;
    for (let j = 0; j < n; j++) sum += matrix[i * n + j] * vector[j];
    out[i] = sum;
  }
  return out;
}
