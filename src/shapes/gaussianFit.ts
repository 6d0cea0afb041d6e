import { kernels } from '../kernels/kernels.ts';
import { invertSymmetric } from '../numeric/linear.ts';
import { inKernels, type Stamp } from './stamp.ts';

/**
 * f(x, y) = A exp(-(a dx^2 + b dx dy + c dy^2)) + B, dx = x - x0, dy = y - y0: the seven numbers of one star.
 * The profile is the star as the pixels recorded it, that is after pixel integration.
 */
export interface GaussianParameters {
  /** Relative to the stamp's origin, pixels. */
  x0: number;
  y0: number;
  amplitude: number;
  a: number;
  b: number;
  c: number;
  background: number;
}

export interface Fitted {
  readonly parameters: GaussianParameters;
  readonly iterations: number;
  /** Weighted RMS residual over the amplitude: how far the star is from a Gaussian. */
  readonly misfit: number;
}

export interface GaussianFit extends Fitted {
  /** 7 x 7 row-major, order amplitude, x0, y0, a, b, c, background. */
  readonly covariance: Float64Array;
}

export const PARAMETERS = 7;
export const MAX_ITERATIONS = 40;
/** Stop when an accepted step gains less than this share of chi-square. */
export const TOLERANCE = 1e-6;
/** Enough for the place and size of the next window. */
export const ROUGH = 1e-3;
/** Quadratic form's limits, 1/px^2: sigma between 0.27 and 60 px. */
const FORM_MIN = 1.4e-4;
const FORM_MAX = 7;

/** Model value and its seven derivatives at one pixel; `out` receives d/dA, d/dx0, d/dy0, d/da, d/db, d/dc, d/dB. */
export function gaussianJacobian(p: GaussianParameters, x: number, y: number, out: Float64Array): number {
  const dx = x - p.x0;
  const dy = y - p.y0;
  const g = Math.exp(-(p.a * dx * dx + p.b * dx * dy + p.c * dy * dy));
  const ag = p.amplitude * g;
  out[0] = g;
  out[1] = ag * (2 * p.a * dx + p.b * dy);
  out[2] = ag * (p.b * dx + 2 * p.c * dy);
  out[3] = -ag * dx * dx;
  out[4] = -ag * dx * dy;
  out[5] = -ag * dy * dy;
  out[6] = 1;
  return ag + p.background;
}

const normal = new Float64Array(PARAMETERS * PARAMETERS);
const gradient = new Float64Array(PARAMETERS);
const damped = new Float64Array(PARAMETERS * PARAMETERS);

/**
 * Levenberg-Marquardt (Marquardt 1963, J. SIAM 11, 431) with Marquardt's scaling of the diagonal and analytic Jacobian.
 * Every pixel weighs the same but for the window's soft edge: with photon weights a bright star would be fitted by another
 * profile than a faint one, and its width would depend on its brightness. The errors do know the photon noise.
 * Null when it does not converge or ends on a limit.
 */
export function fitParameters(stamp: Stamp, start: GaussianParameters, tolerance = TOLERANCE): Fitted | null {
  if (stamp.count < PARAMETERS + 3) return null;
  const compiled = kernels();
  if (compiled === null) return fitHere(stamp, start, tolerance);
  const { run, out } = compiled;
  inKernels(stamp);
  const { amplitude, x0, y0, a, b, c, background } = start;
  if (!run.fitGaussian(stamp.count, amplitude, x0, y0, a, b, c, background, tolerance, MAX_ITERATIONS)) return null;
  return {
    parameters: { amplitude: out[0], x0: out[1], y0: out[2], a: out[3], b: out[4], c: out[5], background: out[6] },
    iterations: out[7],
    misfit: out[8],
  };
}

/** A finished fit with its errors; null where it has none, or does not stand above them. */
export function withErrors(stamp: Stamp, fitted: Fitted, noise: number, gainEPerAdu: number): GaussianFit | null {
  const { amplitude, x0, y0, a, b, c, background } = fitted.parameters;
  const compiled = kernels();
  if (compiled === null) {
    const covariance = sandwich(stamp, fitted.parameters, noise, gainEPerAdu);
    // What does not stand above its own error is no star.
    return covariance === null || !(amplitude > 3 * Math.sqrt(covariance[0])) ? null : { ...fitted, covariance };
  }
  const { run, out } = compiled;
  inKernels(stamp);
  if (!run.errorsAt(stamp.count, amplitude, x0, y0, a, b, c, background, noise, gainEPerAdu)) return null;
  return { ...fitted, covariance: out.slice(9, 9 + PARAMETERS * PARAMETERS) };
}

/** Without kernels; src/kernels/assembly/gaussian.ts does the same. */
function fitHere(stamp: Stamp, start: GaussianParameters, tolerance: number): Fitted | null {
  let p = { ...start };
  let lambda = 1e-2;
  let chi2 = accumulate(stamp, p);
  if (!Number.isFinite(chi2)) return null;
  let iterations = 0;
  let converged = false;
  while (iterations < MAX_ITERATIONS && !converged) {
    iterations++;
    let accepted = false;
    for (let attempt = 0; attempt < 12 && !accepted; attempt++) {
      damped.set(normal);
      for (let j = 0; j < PARAMETERS; j++) damped[j * PARAMETERS + j] *= 1 + lambda;
      const inverse = invertSymmetric(damped, PARAMETERS, damped);
      const next = inverse === null ? null : step(p, inverse);
      const nextChi2 = next === null ? Infinity : chiSquare(stamp, next);
      if (next !== null && nextChi2 <= chi2) {
        converged = chi2 - nextChi2 <= tolerance * chi2;
        p = next;
        chi2 = nextChi2;
        lambda = Math.max(1e-7, lambda * 0.2);
        accepted = true;
      } else lambda *= 6;
    }
    // No step gains anything any more: the minimum to working precision, if the start was any good.
    if (!accepted) converged = true;
    if (!converged) accumulate(stamp, p);
  }
  if (!converged) return null;
  let weights = 0;
  for (let k = 0; k < stamp.count; k++) weights += stamp.weight[k];
  return { parameters: p, iterations, misfit: Math.sqrt(chi2 / weights) / p.amplitude };
}

/** Sums of q x^i y^j: fifteen with i + j <= 4, six with i + j <= 2, ordered by i + j and then by j. */
const moments = new Float64Array(15);
const withConstant = new Float64Array(6);
const withResidual = new Float64Array(6);
const MONOMIALS: readonly (readonly [number, number])[] = [
  [0, 0],
  [1, 0],
  [0, 1],
  [2, 0],
  [1, 1],
  [0, 2],
];
const place = (i: number, j: number): number => ((i + j) * (i + j + 1)) / 2 + j;
const PRODUCT_PLACE = MONOMIALS.map(([i, j]) => MONOMIALS.map(([k, l]) => place(i + k, j + l)));
const half = new Float64Array(36);

/** Six sums over monomials to sums over the first six columns of the Jacobian (both over g), in place, `stride` apart. */
function turnSix(p: GaussianParameters, sums: Float64Array, from = 0, stride = 1): void {
  const { a, b, c, amplitude } = p;
  const x = sums[from + stride];
  const y = sums[from + 2 * stride];
  sums[from + stride] = amplitude * (2 * a * x + b * y);
  sums[from + 2 * stride] = amplitude * (b * x + 2 * c * y);
  for (let i = 3; i < 6; i++) sums[from + i * stride] *= -amplitude;
}

/**
 * Fifteen sums over monomials to the 6 x 6 sums over products of the Jacobian's columns, in `half`, and with the constant's
 * column and own sum into a 7 x 7 matrix.
 */
function turnProducts(
  p: GaussianParameters,
  sums: Float64Array,
  constant: Float64Array,
  own: number,
  out: Float64Array,
): void {
  for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) half[i * 6 + j] = sums[PRODUCT_PLACE[i][j]];
  for (let i = 0; i < 6; i++) turnSix(p, half, i, 6);
  for (let i = 0; i < 6; i++) turnSix(p, half, 6 * i);
  const last = PARAMETERS - 1;
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) out[i * PARAMETERS + j] = half[i * 6 + j];
    out[i * PARAMETERS + last] = constant[i];
    out[last * PARAMETERS + i] = constant[i];
  }
  out[last * PARAMETERS + last] = own;
}

/**
 * Fills `normal` and `gradient`, returns the weighted sum of squared residuals. Every column of the Jacobian but the
 * constant is g times a polynomial of degree two, so 15 + 6 + 6 sums hold the whole normal matrix.
 */
function accumulate(stamp: Stamp, p: GaussianParameters): number {
  const { dx, dy, value, weight, count } = stamp;
  const { x0, y0, a, b, c, amplitude, background } = p;
  let chi2 = 0;
  let sw = 0;
  let sr = 0;
  let m0 = 0,
    m1 = 0,
    m2 = 0,
    m3 = 0,
    m4 = 0,
    m5 = 0,
    m6 = 0,
    m7 = 0;
  let m8 = 0,
    m9 = 0,
    m10 = 0,
    m11 = 0,
    m12 = 0,
    m13 = 0,
    m14 = 0;
  let c0 = 0,
    c1 = 0,
    c2 = 0,
    c3 = 0,
    c4 = 0,
    c5 = 0;
  let r0 = 0,
    r1 = 0,
    r2 = 0,
    r3 = 0,
    r4 = 0,
    r5 = 0;
  for (let k = 0; k < count; k++) {
    const x = dx[k] - x0;
    const y = dy[k] - y0;
    const w = weight[k];
    const xx = x * x;
    const xy = x * y;
    const yy = y * y;
    const g = Math.exp(-(a * xx + b * xy + c * yy));
    const r = value[k] - amplitude * g - background;
    const wg = w * g;
    const q = wg * g;
    const s = wg * r;
    sw += w;
    sr += w * r;
    chi2 += w * r * r;
    c0 += wg;
    c1 += wg * x;
    c2 += wg * y;
    c3 += wg * xx;
    c4 += wg * xy;
    c5 += wg * yy;
    r0 += s;
    r1 += s * x;
    r2 += s * y;
    r3 += s * xx;
    r4 += s * xy;
    r5 += s * yy;
    const qx = q * xx;
    const qm = q * xy;
    const qy = q * yy;
    m0 += q;
    m1 += q * x;
    m2 += q * y;
    m3 += qx;
    m4 += qm;
    m5 += qy;
    m6 += qx * x;
    m7 += qx * y;
    m8 += qy * x;
    m9 += qy * y;
    m10 += qx * xx;
    m11 += qx * xy;
    m12 += qx * yy;
    m13 += qy * xy;
    m14 += qy * yy;
  }
  moments.set([m0, m1, m2, m3, m4, m5, m6, m7, m8, m9, m10, m11, m12, m13, m14]);
  withConstant.set([c0, c1, c2, c3, c4, c5]);
  withResidual.set([r0, r1, r2, r3, r4, r5]);
  turnSix(p, withConstant);
  turnSix(p, withResidual);
  turnProducts(p, moments, withConstant, sw, normal);
  gradient.set(withResidual);
  gradient[PARAMETERS - 1] = sr;
  return chi2;
}

function chiSquare(stamp: Stamp, p: GaussianParameters): number {
  let chi2 = 0;
  for (let k = 0; k < stamp.count; k++) {
    const dx = stamp.dx[k] - p.x0;
    const dy = stamp.dy[k] - p.y0;
    const f = p.amplitude * Math.exp(-(p.a * dx * dx + p.b * dx * dy + p.c * dy * dy)) + p.background;
    const r = stamp.value[k] - f;
    chi2 += stamp.weight[k] * r * r;
  }
  return chi2;
}

/** The damped step, or null where it leaves the region in which the profile is an ellipse of sensible size. */
function step(p: GaussianParameters, inverse: Float64Array): GaussianParameters | null {
  const change = (i: number): number => {
    let sum = 0;
    for (let j = 0; j < PARAMETERS; j++) sum += inverse[i * PARAMETERS + j] * gradient[j];
    return sum;
  };
  const next = {
    amplitude: p.amplitude + change(0),
    x0: p.x0 + change(1),
    y0: p.y0 + change(2),
    a: p.a + change(3),
    b: p.b + change(4),
    c: p.c + change(5),
    background: p.background + change(6),
  };
  const ellipse =
    next.amplitude > 0 && next.a > FORM_MIN && next.c > FORM_MIN && next.a < FORM_MAX && next.c < FORM_MAX;
  return ellipse && 4 * next.a * next.c - next.b * next.b > 4 * FORM_MIN * FORM_MIN ? next : null;
}

/** Adds q x^i y^j, i + j <= 4. */
function addFifteen(sums: Float64Array, q: number, x: number, y: number): void {
  const xx = q * x * x;
  const yy = q * y * y;
  sums[0] += q;
  sums[1] += q * x;
  sums[2] += q * y;
  sums[3] += xx;
  sums[4] += q * x * y;
  sums[5] += yy;
  sums[6] += xx * x;
  sums[7] += xx * y;
  sums[8] += yy * x;
  sums[9] += yy * y;
  sums[10] += xx * x * x;
  sums[11] += xx * x * y;
  sums[12] += xx * y * y;
  sums[13] += yy * x * y;
  sums[14] += yy * y * y;
}

const residuals = new Float64Array(15);
const variances = new Float64Array(15);
const curved = new Float64Array(PARAMETERS * PARAMETERS);
const meat = new Float64Array(PARAMETERS * PARAMETERS);

/**
 * Covariance of least squares with a model that is not quite right: bread is the true Hessian, with the residuals' part, since
 * a real star's wings leave residuals that no noise made (White 1982, Econometrica 50, 1).
 */
function sandwich(stamp: Stamp, p: GaussianParameters, noise: number, gainEPerAdu: number): Float64Array | null {
  const n = PARAMETERS;
  accumulate(stamp, p);
  residuals.fill(0);
  variances.fill(0);
  withConstant.fill(0);
  let own = 0;
  for (let k = 0; k < stamp.count; k++) {
    const x = stamp.dx[k] - p.x0;
    const y = stamp.dy[k] - p.y0;
    const g = Math.exp(-(p.a * x * x + p.b * x * y + p.c * y * y));
    const model = p.amplitude * g + p.background;
    const w = stamp.weight[k];
    // The pixel's own light, which the wings have more of than the model, never less than the sky alone.
    const light = Math.max(0, Math.max(model, stamp.value[k]) - p.background);
    const wwv = w * w * (noise * noise + light / gainEPerAdu);
    addFifteen(residuals, w * g * (stamp.value[k] - model), x, y);
    addFifteen(variances, wwv * g * g, x, y);
    const wwvg = wwv * g;
    withConstant[0] += wwvg;
    withConstant[1] += wwvg * x;
    withConstant[2] += wwvg * y;
    withConstant[3] += wwvg * x * x;
    withConstant[4] += wwvg * x * y;
    withConstant[5] += wwvg * y * y;
    own += wwv;
  }
  turnSix(p, withConstant);
  turnProducts(p, variances, withConstant, own, meat);
  curveBread(p);
  const inverse = invertSymmetric(curved, n) ?? invertSymmetric(normal, n);
  return inverse === null ? null : product(product(inverse, meat), inverse);
}

/**
 * `curved` = `normal` less the sum of w r f_ij over the pixels, lower triangle. ln(A g) is a polynomial, so that the second
 * derivatives are f_ij = f_i f_j / (A g) + A g d2 ln(A g)/di dj; the constant has none.
 */
function curveBread(p: GaussianParameters): void {
  const n = PARAMETERS;
  const { amplitude } = p;
  const [s0, s1, s2] = residuals;
  withResidual.set(residuals.subarray(0, 6));
  turnSix(p, withResidual);
  curved.set(normal);
  turnProducts(p, residuals, withResidual, 0, curvature);
  for (let i = 1; i < 6; i++) {
    curved[i * n] -= withResidual[i] / amplitude;
    for (let j = 1; j <= i; j++) curved[i * n + j] -= curvature[i * n + j] / amplitude;
  }
  curved[n + 1] += 2 * p.a * amplitude * s0;
  curved[2 * n + 1] += p.b * amplitude * s0;
  curved[2 * n + 2] += 2 * p.c * amplitude * s0;
  curved[3 * n + 1] -= 2 * amplitude * s1;
  curved[4 * n + 1] -= amplitude * s2;
  curved[4 * n + 2] -= amplitude * s1;
  curved[5 * n + 2] -= 2 * amplitude * s2;
}

const curvature = new Float64Array(PARAMETERS * PARAMETERS);

function product(a: Float64Array, b: Float64Array): Float64Array {
  const n = PARAMETERS;
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      let sum = 0;
      for (let k = 0; k < n; k++) sum += a[i * n + k] * b[k * n + j];
      out[i * n + j] = sum;
    }
  return out;
}
