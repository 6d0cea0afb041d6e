import { add, type Complex, scale, ZERO } from '../optics/complex.ts';
import type { ResponseTable, StarShape } from '../optics/response.ts';
import type { Coefficients } from '../optics/wavefront.ts';
import { QUANTITIES } from './cells.ts';
import type { Layout } from './layout.ts';
import { smearedStar, type ThirdOrder } from './smearedStar.ts';

/** Place in the field of one sub, half-diagonals, stored axes. */
export interface FieldPlace {
  readonly frame: number;
  readonly u: number;
  readonly v: number;
}

/** Wavefront of a star there, um: the terms that third-order misalignment allows (Shack & Thompson 1980). */
export function wavefrontOf(layout: Layout, p: ArrayLike<number>, { frame, u, v }: FieldPlace): Coefficients {
  const { tilt, astigmatism: a0, linearAstigmatism: a1, coma: c0, trefoil: t0 } = layout;
  const a2 = p[layout.radialAstigmatism];
  const c1 = p[layout.linearComa];
  return {
    d: p[layout.focus(frame)] + p[tilt] * u + p[tilt + 1] * v + p[layout.curvature] * (u * u + v * v),
    a: {
      x: p[a0] + p[a1] * u - p[a1 + 1] * v + a2 * (u * u - v * v),
      y: p[a0 + 1] + p[a1] * v + p[a1 + 1] * u + a2 * 2 * u * v,
    },
    c: { x: p[c0] + c1 * u, y: p[c0 + 1] + c1 * v },
    t: { x: p[t0], y: p[t0 + 1] },
    s: 0,
  };
}

/** trefoil3 over coma3 of a skewed smear through the Gaussian weight (drawn stars: 0.9 to 0.97). */
export const SKEW_TREFOIL = 0.94;
/** Squared coma3 below which a skew has no direction. */
const NO_SKEW = 1e-16;

export interface Prediction {
  readonly values: Float64Array;
  /** QUANTITIES rows of layout.length, row-major. */
  readonly jacobian: Float64Array;
}

/** What the stars at one place look like: the values of `predict`, written to `out` from `at` on. */
export function predictValues(
  layout: Layout,
  table: Pick<ResponseTable, 'at'>,
  p: ArrayLike<number>,
  place: FieldPlace,
  out: Float64Array,
  at: number,
): void {
  const w = wavefrontOf(layout, p, place);
  setValues(layout, p, place.frame, w.d, table.at(p[layout.seeing(place.frame)], w), out, at);
}

/** Defocus, um of d, beyond which the shadow's own outline shows in the star and not only its diffraction. */
const SHADOW_OUTLINE_UM = 0.24;

/**
 * How an offset shadow's coma3 goes with the defocus, um, times arcsec^2 of seeing: drawn stars (150 to 300 mm, f/4 to f/5.5,
 * seeing 1.6 to 4.2", d to 1.2 um) follow 5.14 offset ratio^2 (200 mm/D)^2 times this over seeing^2 within 16 % (1 sigma);
 * offset in pupil radii.
 */
export const shadowRise = (d: number): number => d * Math.sqrt(1 + (d / SHADOW_OUTLINE_UM) ** 2);

/** coma3 arcsec^2 by which `shadowRise` is multiplied for an offset of one pupil radius. */
export const shadowScale = (apertureMm: number, obstruction: number): number =>
  5.14 * obstruction ** 2 * (200 / apertureMm) ** 2;

/**
 * A smear adds its second moment to the star's; its traceless part turns and lengthens, and mixes the third order (`smearedStar`), its
 * trace is seeing. A skew is coma3 = k e^{i phi} together with trefoil3 = 0.94 k e^{3 i phi}.
 */
function setValues(
  layout: Layout,
  p: ArrayLike<number>,
  frame: number,
  d: number,
  shape: StarShape,
  out: Float64Array,
  at: number,
): void {
  const { sigma2, e } = shape;
  // Second moments A(1 + e): A^2 (1 - |e|^2) = sigma2^2.
  const a = sigma2 / Math.sqrt(unstretched(e));
  const smear = layout.smear(frame);
  const drawnOut = { x: p[smear] / (2 * a), y: p[smear + 1] / (2 * a) };
  const ex = e.x + drawnOut.x;
  const ey = e.y + drawnOut.y;
  out[at] = a * Math.sqrt(unstretched({ x: ex, y: ey }));
  out[at + 1] = ex;
  out[at + 2] = ey;
  const star = withShadow(layout, p, frame, d, shape);
  const { coma3, trefoil3 } = smearedStar(drawnOut).added(star);
  out[at + 3] = star.coma3.x + coma3.x;
  out[at + 4] = star.coma3.y + coma3.y;
  out[at + 5] = star.trefoil3.x + trefoil3.x;
  out[at + 6] = star.trefoil3.y + trefoil3.y;
  const skew = layout.skew(frame);
  if (skew < 0) return;
  const kx = p[skew];
  const ky = p[skew + 1];
  const k2 = kx * kx + ky * ky;
  out[at + 3] += kx;
  out[at + 4] += ky;
  if (k2 < NO_SKEW) return;
  out[at + 5] += (SKEW_TREFOIL * kx * (kx * kx - 3 * ky * ky)) / k2;
  out[at + 6] += (SKEW_TREFOIL * ky * (3 * kx * kx - ky * ky)) / k2;
}

/** Third order of a star that nothing smears, an offset shadow's coma with it. */
function withShadow(
  layout: Layout,
  p: ArrayLike<number>,
  frame: number,
  d: number,
  { coma3, trefoil3 }: StarShape,
): ThirdOrder {
  const shadow = { x: p[layout.shadow], y: p[layout.shadow + 1] };
  return { coma3: add(coma3, scale(shadow, shadowRise(d) / p[layout.seeing(frame)] ** 2)), trefoil3 };
}

/** 1 - |e|^2, kept off nothing. */
const unstretched = (e: { readonly x: number; readonly y: number }): number => Math.max(0.05, 1 - e.x ** 2 - e.y ** 2);

/** Shape of the stars at one place and its derivatives by all parameters. */
export function predict(
  layout: Layout,
  table: Pick<ResponseTable, 'slopesAt'>,
  p: ArrayLike<number>,
  place: FieldPlace,
): Prediction {
  const { frame, u, v } = place;
  const n = layout.length;
  const w = wavefrontOf(layout, p, place);
  const { shape, slopes } = table.slopesAt(p[layout.seeing(frame)], w);
  const values = new Float64Array(QUANTITIES);
  setValues(layout, p, frame, w.d, shape, values, 0);
  const jacobian = new Float64Array(QUANTITIES * n);
  const smear = layout.smear(frame);
  const mx = p[smear];
  const my = p[smear + 1];

  const q2 = unstretched(shape.e);
  const q = Math.sqrt(q2);
  const a = shape.sigma2 / q;
  const [, ex, ey] = values;
  const r = Math.sqrt(unstretched({ x: ex, y: ey }));

  const star = withShadow(layout, p, frame, w.d, shape);
  const smeared = smearedStar({ x: mx / (2 * a), y: my / (2 * a) });
  const thirdOrder = (index: number, { coma3: c, trefoil3: t }: ThirdOrder, factor: number): void => {
    jacobian[3 * n + index] += factor * c.x;
    jacobian[4 * n + index] += factor * c.y;
    jacobian[5 * n + index] += factor * t.x;
    jacobian[6 * n + index] += factor * t.y;
  };

  const column = (index: number, slope: StarShape, factor: number): void => {
    const da = slope.sigma2 / q + (shape.sigma2 * (shape.e.x * slope.e.x + shape.e.y * slope.e.y)) / (q2 * q);
    const dex = slope.e.x - (mx * da) / (2 * a * a);
    const dey = slope.e.y - (my * da) / (2 * a * a);
    jacobian[index] += factor * (da * r - (a * (ex * dex + ey * dey)) / r);
    jacobian[n + index] += factor * dex;
    jacobian[2 * n + index] += factor * dey;
    thirdOrder(index, slope, factor);
    thirdOrder(index, smeared.added(slope), factor);
    // A wider star is drawn out less by the same smear.
    const less = -da / (2 * a * a);
    thirdOrder(index, smeared.slope(star, { x: mx * less, y: my * less }), factor);
  };
  const { tilt, astigmatism: a0, linearAstigmatism: a1, coma: c0, trefoil: t0 } = layout;
  const r2 = u * u + v * v;
  column(layout.seeing(frame), slopes.seeing, 1);
  column(layout.focus(frame), slopes.d, 1);
  column(tilt, slopes.d, u);
  column(tilt + 1, slopes.d, v);
  column(layout.curvature, slopes.d, r2);
  column(a0, slopes.ax, 1);
  column(a0 + 1, slopes.ay, 1);
  column(a1, slopes.ax, u);
  column(a1, slopes.ay, v);
  column(a1 + 1, slopes.ax, -v);
  column(a1 + 1, slopes.ay, u);
  column(layout.radialAstigmatism, slopes.ax, u * u - v * v);
  column(layout.radialAstigmatism, slopes.ay, 2 * u * v);
  column(c0, slopes.cx, 1);
  column(c0 + 1, slopes.cy, 1);
  column(layout.linearComa, slopes.cx, u);
  column(layout.linearComa, slopes.cy, v);
  column(t0, slopes.tx, 1);
  column(t0 + 1, slopes.ty, 1);

  for (const [k, index] of [smear, smear + 1].entries()) {
    const dex = k === 0 ? 1 / (2 * a) : 0;
    const dey = k === 0 ? 0 : 1 / (2 * a);
    jacobian[index] = (-a * (ex * dex + ey * dey)) / r;
    jacobian[n + index] = dex;
    jacobian[2 * n + index] = dey;
    thirdOrder(index, smeared.slope(star, { x: dex, y: dey }), 1);
  }
  addShadowSlopes(layout, p, w.d, place, (index, coma3) => {
    const slope = { coma3, trefoil3: ZERO };
    thirdOrder(index, slope, 1);
    thirdOrder(index, smeared.added(slope), 1);
  });
  if (layout.skew(frame) >= 0) addSkewSlopes(layout, p, frame, jacobian);
  return { values, jacobian };
}

/** `put` takes the slope of coma3 with one number. */
function addShadowSlopes(
  layout: Layout,
  p: ArrayLike<number>,
  d: number,
  { frame, u, v }: FieldPlace,
  put: (index: number, coma3: Complex) => void,
): void {
  const seeing = p[layout.seeing(frame)];
  const shadow = scale({ x: p[layout.shadow], y: p[layout.shadow + 1] }, 1 / seeing ** 2);
  const x2 = (d / SHADOW_OUTLINE_UM) ** 2;
  const rise = shadowRise(d);
  const slope = (1 + 2 * x2) / Math.sqrt(1 + x2);
  put(layout.shadow, { x: rise / seeing ** 2, y: 0 });
  put(layout.shadow + 1, { x: 0, y: rise / seeing ** 2 });
  put(layout.seeing(frame), scale(shadow, (-2 * rise) / seeing));
  put(layout.focus(frame), scale(shadow, slope));
  put(layout.tilt, scale(shadow, slope * u));
  put(layout.tilt + 1, scale(shadow, slope * v));
  put(layout.curvature, scale(shadow, slope * (u * u + v * v)));
}

function addSkewSlopes(layout: Layout, p: ArrayLike<number>, frame: number, jacobian: Float64Array): void {
  const n = layout.length;
  const at = layout.skew(frame);
  const kx = p[at];
  const ky = p[at + 1];
  const k2 = kx * kx + ky * ky;
  jacobian[3 * n + at] = 1;
  jacobian[4 * n + at + 1] = 1;
  if (k2 < NO_SKEW) return;
  // k^3/|k|^2 as a complex number, and its derivatives.
  const cubeX = kx * (kx * kx - 3 * ky * ky);
  const cubeY = ky * (3 * kx * kx - ky * ky);
  const squareX = kx * kx - ky * ky;
  const squareY = 2 * kx * ky;
  jacobian[5 * n + at] = SKEW_TREFOIL * ((3 * squareX) / k2 - (2 * kx * cubeX) / k2 ** 2);
  jacobian[5 * n + at + 1] = SKEW_TREFOIL * ((-3 * squareY) / k2 - (2 * ky * cubeX) / k2 ** 2);
  jacobian[6 * n + at] = SKEW_TREFOIL * ((3 * squareY) / k2 - (2 * kx * cubeY) / k2 ** 2);
  jacobian[6 * n + at + 1] = SKEW_TREFOIL * ((3 * squareX) / k2 - (2 * ky * cubeY) / k2 ** 2);
}
