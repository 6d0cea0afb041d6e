import { invertSymmetric } from '../numeric/linear.ts';
import type { Stamp } from './stamp.ts';

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
const MAX_ROUNDS = 30;
/** Centre converged when a round moves it by less than this, in sigma. */
const SETTLED = 1e-7;

/** Weighted sums over pixels: exact enough where the star is well sampled and every pixel is there. */
export function thirdOrderBySums(stamp: Stamp, light: StarLight): ThirdOrder | null {
  const { sigma } = light;
  let x = light.x0;
  let y = light.y0;
  const inverse = 1 / sigma;
  let flux = 0;
  for (let round = 0; round < MAX_ROUNDS; round++) {
    flux = 0;
    let mx = 0;
    let my = 0;
    for (let k = 0; k < stamp.count; k++) {
      const u = (stamp.dx[k] - x) * inverse;
      const v = (stamp.dy[k] - y) * inverse;
      const wi = Math.exp(-0.5 * (u * u + v * v)) * stamp.weight[k] * (stamp.value[k] - light.background);
      flux += wi;
      mx += wi * u;
      my += wi * v;
    }
    if (!(flux > 0)) return null;
    // Weight and star of the same sigma halve a shift.
    const sx = (2 * mx) / flux;
    const sy = (2 * my) / flux;
    x += sx * sigma;
    y += sy * sigma;
    if (Math.hypot(x - light.x0, y - light.y0) > 1.5 * sigma) return null;
    if (Math.hypot(sx, sy) < SETTLED) break;
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

/** Exponents (n, m) of the Gauss-Hermite terms H_n(u) H_m(v) exp(-(u^2 + v^2)/2), total order 0 to 4. */
const TERMS: readonly (readonly [number, number])[] = [0, 1, 2, 3, 4].flatMap((order) =>
  Array.from({ length: order + 1 }, (_, m) => [order - m, m] as const),
);
const COUNT = TERMS.length + 1;
const at = (n: number, m: number): number => TERMS.findIndex(([a, b]) => a === n && b === m);
const C10 = at(1, 0);
const C01 = at(0, 1);
const C30 = at(3, 0);
const C21 = at(2, 1);
const C12 = at(1, 2);
const C03 = at(0, 3);

/**
 * The same quantities from a least-squares fit of Gauss-Hermite terms (and a constant) to the pixels: no aliasing, and
 * missing pixels (the other colours of a mosaic) do no harm. The terms describe the star as recorded, pixel integration
 * included, exactly as the sums do, so that the two agree where both hold.
 * With weight exp(-u^2/2) and Hermite orthogonality: coma3 = (6 c30 + 2 c12, 6 c03 + 2 c21)/c00,
 * trefoil3 = (6 c30 - 6 c12, 6 c21 - 6 c03)/c00, first moment = (c10, c01)/c00.
 */
export function thirdOrderByLeastSquares(stamp: Stamp, light: StarLight): ThirdOrder | null {
  if (stamp.count < COUNT + 4) return null;
  const { sigma } = light;
  let x = light.x0;
  let y = light.y0;
  const design = new Float64Array(stamp.count * COUNT);
  for (let round = 0; round < MAX_ROUNDS; round++) {
    fillDesign(stamp, x, y, sigma, design);
    const solved = solveDesign(stamp, design);
    if (solved === null) return null;
    const { coefficients: c, inverse } = solved;
    if (!(c[0] > 0)) return null;
    const sx = (2 * c[C10]) / c[0];
    const sy = (2 * c[C01]) / c[0];
    if (Math.hypot(sx, sy) < 1e-6 || round === MAX_ROUNDS - 1) {
      const variances = combinationVariances(stamp, light, design, inverse, c[0]);
      return {
        x,
        y,
        coma: { x: (6 * c[C30] + 2 * c[C12]) / c[0], y: (6 * c[C03] + 2 * c[C21]) / c[0], error: variances.coma },
        trefoil: { x: (6 * c[C30] - 6 * c[C12]) / c[0], y: (6 * c[C21] - 6 * c[C03]) / c[0], error: variances.trefoil },
      };
    }
    x += sx * sigma;
    y += sy * sigma;
    if (Math.hypot(x - light.x0, y - light.y0) > 1.5 * sigma) return null;
  }
  return null;
}

function fillDesign(stamp: Stamp, x: number, y: number, sigma: number, design: Float64Array): void {
  const hu = new Float64Array(5);
  const hv = new Float64Array(5);
  for (let k = 0; k < stamp.count; k++) {
    const u = (stamp.dx[k] - x) / sigma;
    const v = (stamp.dy[k] - y) / sigma;
    const g = Math.exp(-0.5 * (u * u + v * v));
    hermite(u, hu);
    hermite(v, hv);
    for (let t = 0; t < TERMS.length; t++) design[k * COUNT + t] = g * hu[TERMS[t][0]] * hv[TERMS[t][1]];
    design[k * COUNT + COUNT - 1] = 1;
  }
}

/** Physicists' Hermite polynomials H_0 to H_4. */
function hermite(u: number, out: Float64Array): void {
  out[0] = 1;
  out[1] = 2 * u;
  for (let n = 1; n < 4; n++) out[n + 1] = 2 * u * out[n] - 2 * n * out[n - 1];
}

function solveDesign(stamp: Stamp, design: Float64Array): { coefficients: Float64Array; inverse: Float64Array } | null {
  const matrix = new Float64Array(COUNT * COUNT);
  const right = new Float64Array(COUNT);
  for (let k = 0; k < stamp.count; k++) {
    const w = stamp.weight[k];
    const row = k * COUNT;
    for (let i = 0; i < COUNT; i++) {
      const wi = w * design[row + i];
      right[i] += wi * stamp.value[k];
      for (let j = 0; j <= i; j++) matrix[i * COUNT + j] += wi * design[row + j];
    }
  }
  for (let i = 0; i < COUNT; i++) for (let j = 0; j < i; j++) matrix[j * COUNT + i] = matrix[i * COUNT + j];
  const inverse = invertSymmetric(matrix, COUNT);
  if (inverse === null) return null;
  const coefficients = new Float64Array(COUNT);
  for (let i = 0; i < COUNT; i++) for (let j = 0; j < COUNT; j++) coefficients[i] += inverse[i * COUNT + j] * right[j];
  return { coefficients, inverse };
}

/** Errors of one component of coma3 and trefoil3 from the pixel noise through the linear solution. */
function combinationVariances(
  stamp: Stamp,
  light: StarLight,
  design: Float64Array,
  inverse: Float64Array,
  c00: number,
): { coma: number; trefoil: number } {
  const combos = [
    { a: C30, fa: 6, b: C12, fb: 2 },
    { a: C03, fa: 6, b: C21, fb: 2 },
    { a: C30, fa: 6, b: C12, fb: -6 },
    { a: C21, fa: 6, b: C03, fb: -6 },
  ];
  const sums = combos.map(({ a, fa, b, fb }) => {
    const row = new Float64Array(COUNT);
    for (let j = 0; j < COUNT; j++) row[j] = fa * inverse[a * COUNT + j] + fb * inverse[b * COUNT + j];
    let sum = 0;
    for (let k = 0; k < stamp.count; k++) {
      let influence = 0;
      for (let j = 0; j < COUNT; j++) influence += row[j] * design[k * COUNT + j];
      const variance = light.noise ** 2 + Math.max(0, stamp.value[k] - light.background) / light.gainEPerAdu;
      sum += (stamp.weight[k] * influence) ** 2 * variance;
    }
    return sum / c00 ** 2;
  });
  return { coma: Math.sqrt((sums[0] + sums[1]) / 2), trefoil: Math.sqrt((sums[2] + sums[3]) / 2) };
}
