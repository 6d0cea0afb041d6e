/** Small symmetric systems, row-major n x n, as in src/numeric/linear.ts: scaled to unit diagonal, Cholesky. */

// @ts-ignore: decorators stand on functions here
@inline
export function get(base: usize, i: i32): f64 {
  return load<f64>(base + ((<usize>i) << 3));
}

// @ts-ignore: decorators stand on functions here
@inline
export function set(base: usize, i: i32, value: f64): void {
  store<f64>(base + ((<usize>i) << 3), value);
}

// @ts-ignore: decorators stand on functions here
@inline
export function add(base: usize, i: i32, value: f64): void {
  const at = base + ((<usize>i) << 3);
  store<f64>(at, load<f64>(at) + value);
}

/** Lower triangle into `lower`, scales into `scale`; false where the matrix is not positive definite. */
export function decompose(matrix: usize, n: i32, lower: usize, scale: usize): bool {
  for (let i = 0; i < n; i++) {
    const d = get(matrix, i * n + i);
    if (!(d > 0) || !isFinite(d)) return false;
    set(scale, i, 1 / Math.sqrt(d));
  }
  for (let i = 0; i < n; i++) {
    const si = get(scale, i);
    for (let j = 0; j <= i; j++) {
      let sum = get(matrix, i * n + j) * si * get(scale, j);
      for (let k = 0; k < j; k++) sum -= get(lower, i * n + k) * get(lower, j * n + k);
      if (i == j) {
        if (!(sum > 1e-13)) return false;
        set(lower, i * n + i, Math.sqrt(sum));
      } else set(lower, i * n + j, sum / get(lower, j * n + j));
    }
  }
  return true;
}

/** Solution into `out`, which may be `right` itself. */
export function substitute(lower: usize, scale: usize, right: usize, n: i32, out: usize): void {
  for (let i = 0; i < n; i++) {
    let sum = get(right, i) * get(scale, i);
    for (let k = 0; k < i; k++) sum -= get(lower, i * n + k) * get(out, k);
    set(out, i, sum / get(lower, i * n + i));
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = get(out, i);
    for (let k = i + 1; k < n; k++) sum -= get(lower, k * n + i) * get(out, k);
    set(out, i, sum / get(lower, i * n + i));
  }
  for (let i = 0; i < n; i++) set(out, i, get(out, i) * get(scale, i));
}

/** Inverse of a decomposed matrix, column by column. */
export function inverseOf(lower: usize, scale: usize, n: i32, out: usize): void {
  for (let j = 0; j < n; j++) {
    const column = out + ((<usize>(j * n)) << 3);
    for (let i = 0; i < n; i++) set(column, i, i == j ? 1 : 0);
    substitute(lower, scale, column, n, column);
  }
}

/** invertSymmetric of src/numeric/linear.ts, the same steps in the same order; `out` may be `matrix`. Scratch: a vector and two matrices. */
export function invertSymmetric(matrix: usize, n: i32, out: usize, scratch: usize): bool {
  const scale = scratch;
  const lower = scratch + ((<usize>n) << 3);
  const inverse = lower + ((<usize>(n * n)) << 3);
  if (!decompose(matrix, n, lower, scale)) return false;
  for (let j = 0; j < n; j++) {
    set(inverse, j * n + j, 1 / get(lower, j * n + j));
    for (let i = j + 1; i < n; i++) {
      let sum: f64 = 0;
      for (let k = j; k < i; k++) sum -= get(lower, i * n + k) * get(inverse, k * n + j);
      set(inverse, i * n + j, sum / get(lower, i * n + i));
    }
  }
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum: f64 = 0;
      for (let k = i; k < n; k++) sum += get(inverse, k * n + i) * get(inverse, k * n + j);
      sum *= get(scale, i) * get(scale, j);
      set(out, i * n + j, sum);
      set(out, j * n + i, sum);
    }
  }
  return true;
}

/** matrix x vector, row-major n x n. */
export function multiply(matrix: usize, vector: usize, n: i32, out: usize): void {
  for (let i = 0; i < n; i++) {
    let sum: f64 = 0;
    for (let j = 0; j < n; j++) sum += get(matrix, i * n + j) * get(vector, j);
    set(out, i, sum);
  }
}
