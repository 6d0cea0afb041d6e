import { errorsOfFit, fitGaussian } from './gaussian';
import { DX, DY, OUT, SETTINGS, STARS, VALUE, WEIGHT } from './layout';
import { get, set } from './linear';
import { cut, setFloats, slope } from './stamp';
import { byLeastSquares, bySums } from './thirdOrder';

/** measureStar of src/shapes/measureStar.ts for 16-bit or float32 pixels without a mask, the same steps in the same order. */

const MEASURED: i32 = 0;
const NOT_FITTED: i32 = 1;
const BORDER: i32 = 2;
const HOT_OR_COSMIC: i32 = 3;
const EXTENDED: i32 = 4;

const SIGMA_TO_FWHM: f64 = 2.3548200450309493;
const PIXEL_VARIANCE: f64 = 1.0 / 12.0;
const PARAMETERS: i32 = 7;
/** What is kept of the fit while the third order uses OUT: covariance of a, b, c, and three slopes. */
const SLOPES: usize = OUT + 512;
const COVARIANCE: usize = SLOPES + 72;
const FLUX_SLOPES: usize = COVARIANCE + 72;
const RESULT: usize = OUT + 1024;

/** What is told beside the stars: constants of the TypeScript, which writes them to SETTINGS once, in this order. */
let windowFwhm: f64 = 0;
let settled: f64 = 0;
let maxWindows: i32 = 0;
let minCoverage: f64 = 0;
let spikeSigma: f64 = 0;
let maxRadius: f64 = 0;
let tolerance: f64 = 0;
let rough: f64 = 0;
let maxIterations: i32 = 0;
let sumsAbove: f64 = 0;
let thirdRounds: i32 = 0;
let settledSums: f64 = 0;
let settledSquares: f64 = 0;
let ringInner: f64 = 0;
let ringOuter: f64 = 0;
let ringShare: f64 = 0;
let ringClip: f64 = 0;
let ringRounds: i32 = 0;
let moved: f64 = 0;

function readSettings(): void {
  windowFwhm = get(SETTINGS, 0);
  settled = get(SETTINGS, 1);
  maxWindows = <i32>get(SETTINGS, 2);
  minCoverage = get(SETTINGS, 3);
  spikeSigma = get(SETTINGS, 4);
  maxRadius = get(SETTINGS, 5);
  tolerance = get(SETTINGS, 6);
  rough = get(SETTINGS, 7);
  maxIterations = <i32>get(SETTINGS, 8);
  sumsAbove = get(SETTINGS, 9);
  thirdRounds = <i32>get(SETTINGS, 10);
  settledSums = get(SETTINGS, 11);
  settledSquares = get(SETTINGS, 12);
  ringInner = get(SETTINGS, 13);
  ringOuter = get(SETTINGS, 14);
  ringShare = get(SETTINGS, 15);
  ringClip = get(SETTINGS, 16);
  ringRounds = <i32>get(SETTINGS, 17);
  moved = get(SETTINGS, 18);
}

function windowRadius(fwhm: f64): f64 {
  return max<f64>(3, windowFwhm * fwhm);
}

function length(x: f64, y: f64): f64 {
  return Math.sqrt(x * x + y * y);
}

/**
 * Stars `from` to `to` of STARS: x, y, FWHM, peak, sky, noise, gain and window (< 0: none given) of each; the window gives way
 * to what the star is found to be (0: measured), and its RESULT (see `describe`) follows.
 */
export function measureStars(
  data: usize,
  width: i32,
  height: i32,
  greenParity: i32,
  floats: i32,
  from: i32,
  to: i32,
): void {
  readSettings();
  setFloats(floats != 0);
  for (let n = from; n < to; n++) {
    const star = STARS + ((<usize>n) << 8);
    const status = measureStar(
      data,
      width,
      height,
      greenParity,
      get(star, 0),
      get(star, 1),
      get(star, 2),
      get(star, 3),
      get(star, 4),
      get(star, 5),
      get(star, 6),
      get(star, 7),
    );
    set(star, 7, <f64>status);
    memory.copy(star + 64, RESULT, 192);
  }
}

function measureStar(
  data: usize,
  width: i32,
  height: i32,
  greenParity: i32,
  guessX: f64,
  guessY: f64,
  guessFwhm: f64,
  peak: f64,
  sky: f64,
  noise: f64,
  gain: f64,
  window: f64,
): i32 {
  const given = window >= 0;
  const form = (4 * Math.LN2) / (guessFwhm * guessFwhm);
  let amplitude = peak;
  let a = form;
  let b: f64 = 0;
  let c = form;
  let background = sky;
  let x = guessX;
  let y = guessY;
  let radius = given ? window : windowRadius(guessFwhm);
  let originX: f64 = 0;
  let originY: f64 = 0;
  let coverage: f64 = 0;
  let count = 0;
  slope(
    data,
    width,
    height,
    greenParity,
    x,
    y,
    ringInner * radius,
    ringOuter * radius,
    ringShare,
    ringClip * noise,
    ringRounds,
  );
  const slopeX = get(OUT, 0);
  const slopeY = get(OUT, 1);
  let cutX = x;
  let cutY = y;
  let stale = true;
  for (let round = 0; round < maxWindows; round++) {
    if (stale) {
      cutX = x;
      cutY = y;
      const r = min<f64>(radius, maxRadius);
      count = cut(data, width, height, greenParity, x, y, r, spikeSigma * noise, slopeX, slopeY);
      originX = get(OUT, 0);
      originY = get(OUT, 1);
      coverage = get(OUT, 2);
      if (coverage < minCoverage) return BORDER;
      if (count < PARAMETERS + 3) return NOT_FITTED;
      // The pixel that makes the number even.
      set(DX, count, 0);
      set(DY, count, 0);
      set(VALUE, count, 0);
      set(WEIGHT, count, 0);
    }
    const stop = round == 0 ? rough : tolerance;
    if (!fitGaussian(count, amplitude, x - originX, y - originY, a, b, c, background, stop, maxIterations))
      return NOT_FITTED;
    const fa = get(OUT, 3);
    const fb = get(OUT, 4);
    const fc = get(OUT, 5);
    const fwhm = SIGMA_TO_FWHM / Math.sqrt(Math.sqrt(4 * fa * fc - fb * fb));
    x = originX + get(OUT, 1);
    y = originY + get(OUT, 2);
    if (length(x - guessX, y - guessY) > max<f64>(2, 1.2 * guessFwhm)) return NOT_FITTED;
    const wanted = windowRadius(fwhm);
    if (wanted > maxRadius) return EXTENDED;
    if (given) stale = length(x - cutX, y - cutY) >= moved * radius;
    if (round > 0 && (given ? !stale : Math.abs(wanted - radius) <= settled * radius)) break;
    amplitude = get(OUT, 0);
    a = fa;
    b = fb;
    c = fc;
    background = get(OUT, 6);
    if (!given) radius = wanted;
  }
  if (!errorsOfFit(count, noise, gain)) return NOT_FITTED;
  return describe(count, originX, originY, coverage, greenParity, noise, gain);
}

function propagate(dxx: f64, dxy: f64, dyy: f64): f64 {
  let variance: f64 = 0;
  for (let i = 0; i < 3; i++) {
    const di = dxx * get(SLOPES, i) + dxy * get(SLOPES, 3 + i) + dyy * get(SLOPES, 6 + i);
    for (let j = 0; j < 3; j++) {
      const dj = dxx * get(SLOPES, j) + dxy * get(SLOPES, 3 + j) + dyy * get(SLOPES, 6 + j);
      variance += di * dj * get(COVARIANCE, 3 * i + j);
    }
  }
  return Math.sqrt(max<f64>(0, variance));
}

/**
 * RESULT = x, y, position error, amplitude, amplitude error, background, sigma major, minor, theta, FWHM, its error, e1, e2, error,
 * coma3 x, y, error, trefoil3 x, y, error, peak S/N, misfit, flux, flux error.
 */
function describe(
  count: i32,
  originX: f64,
  originY: f64,
  coverage: f64,
  greenParity: i32,
  noise: f64,
  gain: f64,
): i32 {
  const amplitude = get(OUT, 0);
  const x0 = get(OUT, 1);
  const y0 = get(OUT, 2);
  const a = get(OUT, 3);
  const b = get(OUT, 4);
  const c = get(OUT, 5);
  const background = get(OUT, 6);
  const misfit = get(OUT, 8);
  const covariance = OUT + 72;
  const det = 4 * a * c - b * b;
  const rxx = (2 * c) / det;
  const ryy = (2 * a) / det;
  const rxy = -b / det;
  const xx = rxx - PIXEL_VARIANCE;
  const yy = ryy - PIXEL_VARIANCE;
  const detC = xx * yy - rxy * rxy;
  if (!(xx > 0 && yy > 0 && detC > 0)) return HOT_OR_COSMIC;
  const trace = xx + yy;
  const e1 = (xx - yy) / trace;
  const e2 = (2 * rxy) / trace;
  const e = length(e1, e2);
  const fwhm = SIGMA_TO_FWHM * Math.sqrt(Math.sqrt(detC));
  set(SLOPES, 0, -2 * rxx * rxx);
  set(SLOPES, 1, -2 * rxx * rxy);
  set(SLOPES, 2, -2 * rxy * rxy);
  set(SLOPES, 3, -2 * rxx * rxy);
  set(SLOPES, 4, -(rxx * ryy + rxy * rxy));
  set(SLOPES, 5, -2 * rxy * ryy);
  set(SLOPES, 6, -2 * rxy * rxy);
  set(SLOPES, 7, -2 * rxy * ryy);
  set(SLOPES, 8, -2 * ryy * ryy);
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) set(COVARIANCE, 3 * i + j, get(covariance, (3 + i) * PARAMETERS + 3 + j));
  const k = fwhm / (4 * detC);
  const e1Error = propagate((2 * yy) / (trace * trace), 0, (-2 * xx) / (trace * trace));
  const e2Error = propagate(-e2 / trace, 2 / trace, -e2 / trace);
  set(RESULT, 0, originX + x0);
  set(RESULT, 1, originY + y0);
  set(RESULT, 2, Math.sqrt((get(covariance, PARAMETERS + 1) + get(covariance, 2 * PARAMETERS + 2)) / 2));
  set(RESULT, 3, amplitude);
  set(RESULT, 4, Math.sqrt(get(covariance, 0)));
  set(RESULT, 5, background);
  set(RESULT, 6, Math.sqrt((trace * (1 + e)) / 2));
  set(RESULT, 7, Math.sqrt((trace * (1 - e)) / 2));
  set(RESULT, 8, 0.5 * Math.atan2(e2, e1));
  set(RESULT, 9, fwhm);
  set(RESULT, 10, propagate(k * yy, -2 * k * rxy, k * xx));
  set(RESULT, 11, e1);
  set(RESULT, 12, e2);
  set(RESULT, 13, Math.sqrt((e1Error * e1Error + e2Error * e2Error) / 2));
  set(RESULT, 20, amplitude / Math.sqrt(noise * noise + amplitude / gain));
  set(RESULT, 21, misfit);
  const flux = (2 * Math.PI * amplitude) / Math.sqrt(det);
  set(FLUX_SLOPES, 0, flux / amplitude);
  set(FLUX_SLOPES, 1, (-2 * c * flux) / det);
  set(FLUX_SLOPES, 2, (b * flux) / det);
  set(FLUX_SLOPES, 3, (-2 * a * flux) / det);
  let variance: f64 = 0;
  for (let i = 0; i < 4; i++)
    for (let j = 0; j < 4; j++) {
      // Amplitude, a, b, c among the seven.
      const at = (i == 0 ? 0 : i + 2) * PARAMETERS + (j == 0 ? 0 : j + 2);
      variance += get(FLUX_SLOPES, i) * get(FLUX_SLOPES, j) * get(covariance, at);
    }
  set(RESULT, 22, flux);
  set(RESULT, 23, Math.sqrt(max<f64>(0, variance)));
  const sigma = 1 / Math.sqrt(Math.sqrt(det));
  // A mosaic's green pixels are sqrt 2 apart: sums over them need stars wider by that factor.
  const above = greenParity < 0 ? sumsAbove : sumsAbove * Math.SQRT2;
  const found =
    coverage == 1 && SIGMA_TO_FWHM * sigma >= above
      ? bySums(count, x0, y0, sigma, background, noise, gain, thirdRounds, settledSums)
      : count >= 20 && byLeastSquares(count, x0, y0, sigma, background, noise, gain, thirdRounds, settledSquares);
  if (!found) return NOT_FITTED;
  for (let i = 0; i < 6; i++) set(RESULT, 14 + i, get(OUT, 2 + i));
  return MEASURED;
}
