import { type Kernels, kernels, starAddress } from '../kernels/kernels.ts';
import { MAX_STARS, STAR_NUMBERS } from '../kernels/layout.ts';
import { backgroundSlope, RING } from './backgroundSlope.ts';
import {
  type Fitted,
  fitParameters,
  type GaussianFit,
  type GaussianParameters,
  MAX_ITERATIONS,
  PARAMETERS,
  ROUGH,
  TOLERANCE,
  withErrors,
} from './gaussianFit.ts';
import { type Shape, SIGMA_TO_FWHM } from './shape.ts';
import { cutStamp, kernelStamp, MAX_RADIUS, type Source, type Stamp } from './stamp.ts';
import { MAX_ROUNDS, SETTLED, SUMS_ABOVE_FWHM, thirdOrderByLeastSquares, thirdOrderBySums } from './thirdOrder.ts';

/** What is known of a star before it is measured. */
export interface StarGuess {
  /** Pixels. */
  readonly x: number;
  readonly y: number;
  readonly fwhm: number;
  /** ADU above the sky. */
  readonly peak: number;
  readonly sky: number;
  /** Sky noise of one pixel, ADU. */
  readonly noise: number;
  readonly gainEPerAdu: number;
}

export type StarFault = 'not-fitted' | 'border' | 'hot-or-cosmic' | 'extended';

export type MeasuredStar =
  | { readonly status: 'measured'; readonly shape: Shape }
  | { readonly status: 'rejected'; readonly reason: StarFault };

export const MEASURE_DEFAULTS = {
  /** Window radius in units of the FWHM of the stars there: the same for bright and faint stars. */
  windowFwhm: 2,
  /** Window follows the fit until its radius changes by less than this share. */
  windowSettled: 0.01,
  /** A given window is cut again where the star's centre lies further than this share of its radius from where it was cut. */
  centreSettled: 0.02,
  maxWindows: 6,
  /** Less of the window than this on good pixels is a border star. */
  minCoverage: 0.85,
  /** A lone pixel this many sigma above all its neighbours is left out of the window. */
  spikeSigma: 6,
} as const;

/** A mosaic's green pixels are sqrt 2 apart: sums over them need stars wider by that factor. */
const MOSAIC_SPACING = Math.SQRT2;
/** Variance of a uniform pixel: what pixel integration adds to a profile's second moment per axis (1/12 px^2). */
const PIXEL_VARIANCE = 1 / 12;

/** Re-used from star to star. */
let lists: Stamp | null = null;
const rejected = (reason: StarFault): MeasuredStar => ({ status: 'rejected', reason });

/** One star to measure. */
export interface StarToMeasure extends StarGuess {
  /**
   * With a window (radius, pixels) it stands as given; null lets it follow the star's own width, which serves where nothing is known
   * yet but lets the noise of the width feed back into itself (a quarter more scatter for wide-winged stars).
   */
  readonly window: number | null;
}

/** Elliptical Gaussian fit and third-order shape of one star. */
export function measureStar(source: Source, guess: StarGuess, window: number | null = null): MeasuredStar {
  return measureStars(source, [{ ...guess, window }])[0];
}

/** The same of many stars of one image. */
export function measureStars(source: Source, stars: readonly StarToMeasure[]): MeasuredStar[] {
  const compiled = kernels();
  const address = starAddress(source);
  if (compiled === null || address === null) return stars.map((star) => measureHere(source, star, star.window));
  const measured: MeasuredStar[] = [];
  for (let from = 0; from < stars.length; from += MAX_STARS)
    measureCompiled(compiled, address, source, stars.slice(from, from + MAX_STARS), measured);
  return measured;
}

/** Answers of the kernel, in its order. */
const ANSWERS = ['measured', 'not-fitted', 'border', 'hot-or-cosmic', 'extended'] as const;
const STARS_AT_ONCE = 16;

/** The same by src/kernels/assembly/measure.ts. */
function measureCompiled(
  compiled: Kernels,
  address: number,
  { data, width, height, greenParity }: Source,
  stars: readonly StarToMeasure[],
  measured: MeasuredStar[],
): void {
  const { stars: list, settings } = compiled;
  settings.set(SETTINGS);
  for (let n = 0, at = 0; n < stars.length; n++, at += STAR_NUMBERS) {
    const star = stars[n];
    list[at] = star.x;
    list[at + 1] = star.y;
    list[at + 2] = star.fwhm;
    list[at + 3] = star.peak;
    list[at + 4] = star.sky;
    list[at + 5] = star.noise;
    list[at + 6] = star.gainEPerAdu;
    list[at + 7] = star.window ?? -1;
  }
  const floats = data instanceof Float32Array ? 1 : 0;
  compiled.share('measureStars', [address, width, height, greenParity ?? -1, floats], stars.length, STARS_AT_ONCE);
  for (let n = 0, at = 0; n < stars.length; n++, at += STAR_NUMBERS) {
    const answer = ANSWERS[list[at + 7]];
    measured.push(answer === 'measured' ? { status: answer, shape: shapeAt(list, at + 8) } : rejected(answer));
  }
}

/** A shape as the kernel leaves it. */
function shapeAt(list: Float64Array, at: number): Shape {
  return {
    x: list[at],
    y: list[at + 1],
    positionError: list[at + 2],
    amplitude: list[at + 3],
    amplitudeError: list[at + 4],
    background: list[at + 5],
    sigmaMajor: list[at + 6],
    sigmaMinor: list[at + 7],
    theta: list[at + 8],
    fwhm: list[at + 9],
    fwhmError: list[at + 10],
    e1: list[at + 11],
    e2: list[at + 12],
    eError: list[at + 13],
    coma3: { x: list[at + 14], y: list[at + 15], error: list[at + 16] },
    trefoil3: { x: list[at + 17], y: list[at + 18], error: list[at + 19] },
    peakSnr: list[at + 20],
    misfit: list[at + 21],
    flux: list[at + 22],
    fluxError: list[at + 23],
  };
}

/** What the kernel is told beside the stars, in its order: constants that stand here and beside. */
const SETTINGS: readonly number[] = [
  ...[MEASURE_DEFAULTS.windowFwhm, MEASURE_DEFAULTS.windowSettled, MEASURE_DEFAULTS.maxWindows],
  ...[MEASURE_DEFAULTS.minCoverage, MEASURE_DEFAULTS.spikeSigma, MAX_RADIUS],
  ...[TOLERANCE, ROUGH, MAX_ITERATIONS],
  ...[SUMS_ABOVE_FWHM, MAX_ROUNDS, SETTLED.sums, SETTLED.leastSquares],
  ...[RING.inner, RING.outer, RING.minShare, RING.clipSigma, RING.rounds],
  MEASURE_DEFAULTS.centreSettled,
];

function measureHere(source: Source, guess: StarGuess, window: number | null): MeasuredStar {
  lists ??= kernelStamp();
  const stamp = lists;
  const { noise, gainEPerAdu } = guess;
  const form = (4 * Math.LN2) / guess.fwhm ** 2;
  let start = { amplitude: guess.peak, a: form, b: 0, c: form, background: guess.sky };
  let x = guess.x;
  let y = guess.y;
  let radius = window ?? windowRadius(guess.fwhm);
  let fitted: Fitted | null = null;
  const slope = backgroundSlope(source, x, y, radius, noise);
  let [cutX, cutY] = [x, y];
  let stale = true;
  for (let round = 0; round < MEASURE_DEFAULTS.maxWindows; round++) {
    if (stale) {
      [cutX, cutY] = [x, y];
      cutStamp(source, x, y, radius, MEASURE_DEFAULTS.spikeSigma * noise, stamp, slope);
      if (stamp.coverage < MEASURE_DEFAULTS.minCoverage) return rejected('border');
    }
    // The first fit only tells where the window belongs and how wide it is.
    const tolerance = round === 0 ? ROUGH : TOLERANCE;
    fitted = fitParameters(stamp, { ...start, x0: x - stamp.originX, y0: y - stamp.originY }, tolerance);
    if (fitted === null) return rejected('not-fitted');
    const p = fitted.parameters;
    const fwhm = SIGMA_TO_FWHM * recordedSigma(p);
    x = stamp.originX + p.x0;
    y = stamp.originY + p.y0;
    if (Math.hypot(x - guess.x, y - guess.y) > Math.max(2, 1.2 * guess.fwhm)) return rejected('not-fitted');
    const wanted = windowRadius(fwhm);
    if (wanted > MAX_RADIUS) return rejected('extended');
    if (window !== null) stale = Math.hypot(x - cutX, y - cutY) >= MEASURE_DEFAULTS.centreSettled * radius;
    const settled = window === null ? Math.abs(wanted - radius) <= MEASURE_DEFAULTS.windowSettled * radius : !stale;
    if (round > 0 && settled) break;
    start = p;
    if (window === null) radius = wanted;
  }
  const fit = fitted === null ? null : withErrors(stamp, fitted, noise, gainEPerAdu);
  return fit === null ? rejected('not-fitted') : describe(source, guess, stamp, fit);
}

/** Radius of the window for stars of that FWHM, pixels. */
export function windowRadius(fwhm: number): number {
  return Math.max(3, MEASURE_DEFAULTS.windowFwhm * fwhm);
}

/** Geometric mean sigma of the profile as recorded: det of the quadratic form is 1/(4 sigma^4). */
function recordedSigma(p: GaussianParameters): number {
  return (4 * p.a * p.c - p.b * p.b) ** -0.25;
}

/** Volume under A exp(-(a x2 + b xy + c y2)): 2 pi A / sqrt(4ac - b2), with the error of A and width together. */
function fluxOf({ parameters: p, covariance }: GaussianFit): Pick<Shape, 'flux' | 'fluxError'> {
  const det = 4 * p.a * p.c - p.b * p.b;
  const flux = (2 * Math.PI * p.amplitude) / Math.sqrt(det);
  const slopes = [flux / p.amplitude, 0, 0, (-2 * p.c * flux) / det, (p.b * flux) / det, (-2 * p.a * flux) / det];
  let variance = 0;
  for (let i = 0; i < slopes.length; i++)
    for (let j = 0; j < slopes.length; j++) variance += slopes[i] * slopes[j] * covariance[i * PARAMETERS + j];
  return { flux, fluxError: Math.sqrt(Math.max(0, variance)) };
}

/** From the fitted quadratic form to second moments before pixel integration, with errors, and the odd part. */
function describe(source: Source, guess: StarGuess, stamp: Stamp, fit: GaussianFit): MeasuredStar {
  const p = fit.parameters;
  const det = 4 * p.a * p.c - p.b * p.b;
  // Covariance of the recorded profile: inverse of [[2a, b], [b, 2c]].
  const rxx = (2 * p.c) / det;
  const ryy = (2 * p.a) / det;
  const rxy = -p.b / det;
  const xx = rxx - PIXEL_VARIANCE;
  const yy = ryy - PIXEL_VARIANCE;
  const detC = xx * yy - rxy * rxy;
  if (!(xx > 0 && yy > 0 && detC > 0)) return rejected('hot-or-cosmic');
  const trace = xx + yy;
  const e1 = (xx - yy) / trace;
  const e2 = (2 * rxy) / trace;
  const e = Math.hypot(e1, e2);
  const sigmaMajor = Math.sqrt((trace * (1 + e)) / 2);
  const sigmaMinor = Math.sqrt((trace * (1 - e)) / 2);
  const fwhm = SIGMA_TO_FWHM * detC ** 0.25;
  // d(rxx, rxy, ryy)/d(a, b, c) = -R dQ R.
  const slopes = [
    [-2 * rxx * rxx, -2 * rxx * rxy, -2 * rxy * rxy],
    [-2 * rxx * rxy, -(rxx * ryy + rxy * rxy), -2 * rxy * ryy],
    [-2 * rxy * rxy, -2 * rxy * ryy, -2 * ryy * ryy],
  ];
  const propagate = (dxx: number, dxy: number, dyy: number): number => {
    const d = [0, 1, 2].map((i) => dxx * slopes[0][i] + dxy * slopes[1][i] + dyy * slopes[2][i]);
    let variance = 0;
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) variance += d[i] * d[j] * fit.covariance[(3 + i) * PARAMETERS + 3 + j];
    return Math.sqrt(Math.max(0, variance));
  };
  const k = fwhm / (4 * detC);
  const e1Error = propagate((2 * yy) / trace ** 2, 0, (-2 * xx) / trace ** 2);
  const e2Error = propagate(-e2 / trace, 2 / trace, -e2 / trace);
  const sigma = recordedSigma(p);
  const light = {
    x0: p.x0,
    y0: p.y0,
    sigma,
    amplitude: p.amplitude,
    background: p.background,
    noise: guess.noise,
    gainEPerAdu: guess.gainEPerAdu,
  };
  const sumsAbove = SUMS_ABOVE_FWHM * (source.greenParity === null ? 1 : MOSAIC_SPACING);
  const complete = stamp.coverage === 1;
  const thirdOrder =
    complete && SIGMA_TO_FWHM * sigma >= sumsAbove
      ? thirdOrderBySums(stamp, light)
      : thirdOrderByLeastSquares(stamp, light);
  if (thirdOrder === null) return rejected('not-fitted');
  const peakVariance = guess.noise ** 2 + p.amplitude / guess.gainEPerAdu;
  const shape: Shape = {
    x: stamp.originX + p.x0,
    y: stamp.originY + p.y0,
    positionError: Math.sqrt((fit.covariance[PARAMETERS + 1] + fit.covariance[2 * PARAMETERS + 2]) / 2),
    amplitude: p.amplitude,
    amplitudeError: Math.sqrt(fit.covariance[0]),
    background: p.background,
    ...fluxOf(fit),
    sigmaMajor,
    sigmaMinor,
    theta: 0.5 * Math.atan2(e2, e1),
    fwhm,
    fwhmError: propagate(k * yy, -2 * k * rxy, k * xx),
    e1,
    e2,
    eError: Math.sqrt((e1Error ** 2 + e2Error ** 2) / 2),
    coma3: thirdOrder.coma,
    trefoil3: thirdOrder.trefoil,
    peakSnr: p.amplitude / Math.sqrt(peakVariance),
    misfit: fit.misfit,
  };
  return { status: 'measured', shape };
}
