/**
 * A multivariate normal that is learnt from: Bayesian linear least squares, one pair of numbers at a time (the Kalman form of
 * it, R. E. Kalman, J. Basic Eng. 82, 35, 1960). Covariances are row-major n x n.
 */
export interface Gaussian {
  readonly mean: Float64Array;
  readonly cov: Float64Array;
}

export interface Vector2 {
  readonly x: number;
  readonly y: number;
}

/** Covariance of a vector in the plane. */
export interface Spread2 {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** A row of the design matrix: its entries that are not zero. */
export type Row = readonly (readonly [index: number, factor: number])[];

/** z = (rows) x + noise. */
export interface Observation {
  readonly z: Vector2;
  readonly rows: readonly [Row, Row];
  readonly noise: Spread2;
}

export const round2 = (variance: number): Spread2 => ({ xx: variance, xy: 0, yy: variance });

export const sum2 = (a: Spread2, b: Spread2): Spread2 => ({ xx: a.xx + b.xx, xy: a.xy + b.xy, yy: a.yy + b.yy });

/** Variance along one direction only. */
export function along2({ x, y }: Vector2, variancePerSquare: number): Spread2 {
  return { xx: variancePerSquare * x * x, xy: variancePerSquare * x * y, yy: variancePerSquare * y * y };
}

/** Logarithm of the normal density of a vector in the plane. */
export function logDensity2({ x, y }: Vector2, { xx, xy, yy }: Spread2): number {
  const det = xx * yy - xy * xy;
  const chi2 = (yy * x * x - 2 * xy * x * y + xx * y * y) / det;
  return -0.5 * chi2 - 0.5 * Math.log(det) - Math.log(2 * Math.PI);
}

/** What the observation leaves, and the logarithm of how likely it was. */
export function observe(given: Gaussian, { z, rows, noise }: Observation): { after: Gaussian; logLikelihood: number } {
  const n = given.mean.length;
  const [gx, gy] = rows.map((row) => columnsTimes(given.cov, row, n)) as [Float64Array, Float64Array];
  const [rx, ry] = rows;
  const spread: Spread2 = {
    xx: rowTimes(rx, gx) + noise.xx,
    xy: rowTimes(rx, gy) + noise.xy,
    yy: rowTimes(ry, gy) + noise.yy,
  };
  const off = { x: z.x - rowTimes(rx, given.mean), y: z.y - rowTimes(ry, given.mean) };
  const det = spread.xx * spread.yy - spread.xy * spread.xy;
  const mean = Float64Array.from(given.mean);
  const cov = Float64Array.from(given.cov);
  for (let i = 0; i < n; i++) {
    const kx = (gx[i] * spread.yy - gy[i] * spread.xy) / det;
    const ky = (gy[i] * spread.xx - gx[i] * spread.xy) / det;
    mean[i] += kx * off.x + ky * off.y;
    for (let j = 0; j < n; j++) cov[i * n + j] -= kx * gx[j] + ky * gy[j];
  }
  return { after: { mean, cov }, logLikelihood: logDensity2(off, spread) };
}

/** x' = T x + noise, T given by its rows; rows that are left out stay as they are. */
export function transform(
  given: Gaussian,
  rows: ReadonlyMap<number, Row>,
  noise: readonly (readonly [row: number, column: number, variance: number])[],
): Gaussian {
  const n = given.mean.length;
  const mean = Float64Array.from(given.mean);
  const half = Float64Array.from(given.cov);
  for (const [i, row] of rows) {
    mean[i] = rowTimes(row, given.mean);
    half.set(columnsTimes(given.cov, row, n), i * n);
  }
  const cov = Float64Array.from(half);
  for (const [j, row] of rows)
    for (let i = 0; i < n; i++) {
      let sum = 0;
      for (const [k, factor] of row) sum += factor * half[i * n + k];
      cov[i * n + j] = sum;
    }
  for (const [i, j, variance] of noise) cov[i * n + j] += variance;
  return { mean, cov };
}

function columnsTimes(cov: Float64Array, row: Row, n: number): Float64Array {
  const out = new Float64Array(n);
  for (const [k, factor] of row) for (let i = 0; i < n; i++) out[i] += factor * cov[i * n + k];
  return out;
}

function rowTimes(row: Row, vector: Float64Array): number {
  let sum = 0;
  for (const [k, factor] of row) sum += factor * vector[k];
  return sum;
}
