import { type Kernels, kernels } from '../kernels/kernels.ts';
import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { inKernels, type Stamp } from './stamp.ts';

/**
 * The odd part of a star through a circular Gaussian weight w of the star's own sigma, zeta = (x + iy)/sigma about the
 * centre where the weighted first moment vanishes:
 *   coma3    = <w I zeta |zeta|^2>/<w I> - 2 <w I zeta>/<w I>    (spin 1, along the coma tail)
 *   trefoil3 = <w I zeta^3>/<w I>                               (spin 3)
 * Up to a factor these are the (3, 1) and (3, 3) polar shapelet coefficients (Refregier 2003, MNRAS 338, 35; Massey &
 * Refregier 2005, MNRAS 363, 197).
 */
export interface ThirdOrder {
  /** Centre, relative to the stamp's origin, pixels. */
  readonly x: number;
  readonly y: number;
  readonly coma: { readonly x: number; readonly y: number; readonly error: number };
  readonly trefoil: { readonly x: number; readonly y: number; readonly error: number };
}

export interface StarLight {
  readonly x0: number;
  readonly y0: number;
  /** Of the profile as recorded (pixel integration included), geometric mean of both axes, pixels. */
  readonly sigma: number;
  readonly amplitude: number;
  readonly background: number;
  /** Sky noise of a pixel, ADU. */
  readonly noise: number;
  readonly gainEPerAdu: number;
}

/** Sums over pixels alias below this FWHM (recorded profile, pixels); least squares takes over. */
export const SUMS_ABOVE_FWHM = 3;
export const MAX_ROUNDS = 30;
/** Centre converged when a round moves it by less than this, in sigma. */
export const SETTLED = { sums: 1e-7, leastSquares: 1e-6 } as const;

/** Weighted sums over pixels: exact enough where the star is well sampled and every pixel is there. */
export function thirdOrderBySums(stamp: Stamp, light: StarLight): ThirdOrder | null {
  const compiled = kernels();
  return compiled === null ? sumsHere(stamp, light) : compiledBy('bySums', compiled, stamp, light, SETTLED.sums);
}

/** Either way by src/kernels/assembly/thirdOrder.ts. */
function compiledBy(
  way: 'bySums' | 'byLeastSquares',
  { run, out }: Kernels,
  stamp: Stamp,
  { x0, y0, sigma, background, noise, gainEPerAdu }: StarLight,
  settled: number,
): ThirdOrder | null {
  inKernels(stamp);
  if (!run[way](stamp.count, x0, y0, sigma, background, noise, gainEPerAdu, MAX_ROUNDS, settled)) return null;
  return {
    x: out[0],
    y: out[1],
    coma: { x: out[2], y: out[3], error: out[4] },
    trefoil: { x: out[5], y: out[6], error: out[7] },
  };
}

/** A quarter is what a star of the weight's own sigma has; much less is no star's. */
const LEAST_NEWTON = 0.04;

function sumsHere(stamp: Stamp, light: StarLight): ThirdOrder | null {
  const { sigma } = light;
  let x = light.x0;
  let y = light.y0;
  const inverse = 1 / sigma;
  let flux = 0;
  for (let round = 0; round < MAX_ROUNDS; round++) {
    flux = 0;
    let mx = 0;
    let my = 0;
    let mxx = 0;
    let mxy = 0;
    let myy = 0;
    for (let k = 0; k < stamp.count; k++) {
      const u = (stamp.dx[k] - x) * inverse;
      const v = (stamp.dy[k] - y) * inverse;
      const wi = Math.exp(-0.5 * (u * u + v * v)) * stamp.weight[k] * (stamp.value[k] - light.background);
      flux += wi;
      mx += wi * u;
      my += wi * v;
      mxx += wi * u * u;
      mxy += wi * u * v;
      myy += wi * v * v;
    }
    if (!(flux > 0)) return null;
    // Newton's step to where the first moment vanishes; where it cannot be trusted: weight and star of the same sigma halve a shift.
    const [a, b, c] = [flux - mxx, -mxy, flux - myy];
    const det = a * c - b * b;
    const newton = a > 0 && det > LEAST_NEWTON * flux * flux;
    const sx = newton ? (c * mx - b * my) / det : (2 * mx) / flux;
    const sy = newton ? (a * my - b * mx) / det : (2 * my) / flux;
    x += sx * sigma;
    y += sy * sigma;
    if (Math.hypot(x - light.x0, y - light.y0) > 1.5 * sigma) return null;
    if (Math.hypot(sx, sy) < SETTLED.sums) break;
  }
  let cx = 0;
  let cy = 0;
  let tx = 0;
  let ty = 0;
  let varianceC = 0;
  let varianceT = 0;
  for (let k = 0; k < stamp.count; k++) {
    const u = (stamp.dx[k] - x) * inverse;
    const v = (stamp.dy[k] - y) * inverse;
    const r2 = u * u + v * v;
    const w = Math.exp(-0.5 * r2) * stamp.weight[k];
    const light0 = stamp.value[k] - light.background;
    const wi = w * light0;
    const radial = r2 - 2;
    cx += wi * u * radial;
    cy += wi * v * radial;
    tx += wi * u * (u * u - 3 * v * v);
    ty += wi * v * (3 * u * u - v * v);
    const wv = w * w * (light.noise * light.noise + Math.max(0, light0) / light.gainEPerAdu) * r2;
    varianceC += 0.5 * wv * radial * radial;
    varianceT += 0.5 * wv * r2 * r2;
  }
  return {
    x,
    y,
    coma: { x: cx / flux, y: cy / flux, error: Math.sqrt(varianceC) / flux },
    trefoil: { x: tx / flux, y: ty / flux, error: Math.sqrt(varianceT) / flux },
  };
}

/** Exponents (i, j) of the terms u^i v^j exp(-(u^2 + v^2)/2), by total order and then by j; a constant comes last. */
const TERMS: readonly (readonly [number, number])[] = [0, 1, 2, 3, 4].flatMap((order) =>
  Array.from({ length: order + 1 }, (_, j) => [order - j, j] as const),
);
const CONSTANT = TERMS.length;
const COUNT = TERMS.length + 1;
/** Powers of u and v up to the product of two terms. */
const POWERS = 9;

/** The pixels seen from a centre, in units of sigma, with the terms' common factor g = exp(-(u^2 + v^2)/2). */
interface Seen {
  readonly u: Float64Array;
  readonly v: Float64Array;
  readonly g: Float64Array;
}

/**
 * The same quantities from a least-squares fit of Gauss-Hermite terms (and a constant) to the pixels: no aliasing, and
 * missing pixels (the other colours of a mosaic) do no harm. The terms describe the star as recorded, pixel integration
 * included, exactly as the sums do, so that the two agree where both hold.
 * With weight exp(-u^2/2) and Hermite orthogonality: coma3 = (6 c30 + 2 c12, 6 c03 + 2 c21)/c00,
 * trefoil3 = (6 c30 - 6 c12, 6 c21 - 6 c03)/c00, first moment = (c10, c01)/c00, c the factors of H_n(u) H_m(v) g. The fit
 * itself is in monomials: every entry of its normal matrix is then one of 45 sums.
 */
export function thirdOrderByLeastSquares(stamp: Stamp, light: StarLight): ThirdOrder | null {
  if (stamp.count < COUNT + 4) return null;
  const compiled = kernels();
  return compiled === null
    ? leastSquaresHere(stamp, light)
    : compiledBy('byLeastSquares', compiled, stamp, light, SETTLED.leastSquares);
}

function leastSquaresHere(stamp: Stamp, light: StarLight): ThirdOrder | null {
  const { sigma } = light;
  let x = light.x0;
  let y = light.y0;
  const pixels = {
    u: new Float64Array(stamp.count),
    v: new Float64Array(stamp.count),
    g: new Float64Array(stamp.count),
  };
  const wgValue = new Float64Array(stamp.count);
  for (let round = 0; round < MAX_ROUNDS; round++) {
    let own = 0;
    for (let k = 0; k < stamp.count; k++) {
      const u = (stamp.dx[k] - x) / sigma;
      const v = (stamp.dy[k] - y) / sigma;
      pixels.u[k] = u;
      pixels.v[k] = v;
      pixels.g[k] = Math.exp(-0.5 * (u * u + v * v));
      wgValue[k] = stamp.weight[k] * pixels.g[k] * stamp.value[k];
      own += stamp.weight[k] * stamp.value[k];
    }
    const inverse = invertSymmetric(normalMatrix(pixels, stamp.weight), COUNT);
    if (inverse === null) return null;
    const right = new Float64Array(COUNT);
    const sums = momentSums(pixels, wgValue, 4);
    TERMS.forEach(([i, j], t) => {
      right[t] = sums[i * POWERS + j];
    });
    right[CONSTANT] = own;
    const c = hermiteFactors(multiply(inverse, right, COUNT));
    if (!(c.c00 > 0)) return null;
    const sx = (2 * c.c10) / c.c00;
    const sy = (2 * c.c01) / c.c00;
    if (Math.hypot(sx, sy) < SETTLED.leastSquares || round === MAX_ROUNDS - 1) {
      const errors = combinationErrors(stamp, light, pixels, inverse, c.c00);
      return {
        x,
        y,
        coma: { x: (6 * c.c30 + 2 * c.c12) / c.c00, y: (6 * c.c03 + 2 * c.c21) / c.c00, error: errors.coma },
        trefoil: { x: (6 * c.c30 - 6 * c.c12) / c.c00, y: (6 * c.c21 - 6 * c.c03) / c.c00, error: errors.trefoil },
      };
    }
    x += sx * sigma;
    y += sy * sigma;
    if (Math.hypot(x - light.x0, y - light.y0) > 1.5 * sigma) return null;
  }
  return null;
}

/** Sums of list u^i v^j, i + j <= degree, at i * POWERS + j: along each row of pixels first, whose v is the same. */
function momentSums({ u, v }: Seen, list: Float64Array, degree: number): Float64Array {
  const sums = new Float64Array(POWERS * POWERS);
  const row = new Float64Array(POWERS);
  for (let k = 0; k < u.length; ) {
    const height = v[k];
    row.fill(0);
    for (; k < u.length && v[k] === height; k++)
      for (let i = 0, term = list[k]; i <= degree; i++, term *= u[k]) row[i] += term;
    for (let j = 0, power = 1; j <= degree; j++, power *= height)
      for (let i = 0; i + j <= degree; i++) sums[i * POWERS + j] += power * row[i];
  }
  return sums;
}

/** Sums over the pixels of weight x (products of two columns of the design), the constant's column included. */
function normalMatrix(pixels: Seen, weight: Float64Array): Float64Array {
  const { g } = pixels;
  const wg = new Float64Array(g.length);
  const wgg = new Float64Array(g.length);
  let own = 0;
  for (let k = 0; k < g.length; k++) {
    own += weight[k];
    wg[k] = weight[k] * g[k];
    wgg[k] = wg[k] * g[k];
  }
  const products = momentSums(pixels, wgg, 8);
  const single = momentSums(pixels, wg, 4);
  const matrix = new Float64Array(COUNT * COUNT);
  TERMS.forEach(([i, j], s) => {
    TERMS.forEach(([k, l], t) => {
      matrix[s * COUNT + t] = products[(i + k) * POWERS + j + l];
    });
    matrix[s * COUNT + CONSTANT] = single[i * POWERS + j];
    matrix[CONSTANT * COUNT + s] = single[i * POWERS + j];
  });
  matrix[CONSTANT * COUNT + CONSTANT] = own;
  return matrix;
}

const at = (i: number, j: number): number => TERMS.findIndex(([a, b]) => a === i && b === j);
const M30 = at(3, 0);
const M21 = at(2, 1);
const M12 = at(1, 2);
const M03 = at(0, 3);
/** u^3 = (H3 + 6 H1)/8, u^2 = (H2 + 2)/4 and so on, physicists' Hermite polynomials. */
const THIRD = 1 / 8;

function hermiteFactors(m: Float64Array): Record<'c00' | 'c10' | 'c01' | 'c30' | 'c21' | 'c12' | 'c03', number> {
  const [c30, c21, c12, c03] = [M30, M21, M12, M03].map((k) => THIRD * m[k]);
  return {
    c00: m[0] + (m[at(2, 0)] + m[at(0, 2)]) / 2 + 0.75 * (m[at(4, 0)] + m[at(0, 4)]) + m[at(2, 2)] / 4,
    c10: m[1] / 2 + 6 * c30 + 2 * c12,
    c01: m[2] / 2 + 6 * c03 + 2 * c21,
    c30,
    c21,
    c12,
    c03,
  };
}

/** Errors of one component of coma3 and trefoil3 from the pixel noise through the linear solution. */
function combinationErrors(
  stamp: Stamp,
  light: StarLight,
  pixels: Seen,
  inverse: Float64Array,
  c00: number,
): { coma: number; trefoil: number } {
  const wwv = Float64Array.from({ length: stamp.count }, (_, k) => {
    const variance = light.noise ** 2 + Math.max(0, stamp.value[k] - light.background) / light.gainEPerAdu;
    return stamp.weight[k] ** 2 * variance;
  });
  const meat = normalMatrix(pixels, wwv);
  const variance = (a: number, fa: number, b: number, fb: number): number => {
    const row = Float64Array.from(
      { length: COUNT },
      (_, j) => fa * inverse[a * COUNT + j] + fb * inverse[b * COUNT + j],
    );
    return multiply(meat, row, COUNT).reduce((sum, value, j) => sum + value * row[j], 0);
  };
  const error = (sum: number): number => (THIRD * Math.sqrt(sum / 2)) / c00;
  return {
    coma: error(variance(M30, 6, M12, 2) + variance(M03, 6, M21, 2)),
    trefoil: error(variance(M30, 6, M12, -6) + variance(M21, 6, M03, -6)),
  };
}
