import type { FilterName } from '../optics/filter.ts';
import { PixelStars } from '../optics/pixelStars.ts';
import type { Telescope } from '../optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, toDefocus } from '../optics/wavefront.ts';
import type { Shape } from '../shapes/shape.ts';
import { FARTHEST_PX, measurePixels, telescopeFor } from './drawnStar.ts';
import type { KnownOptics } from './setup.ts';
import { focusZoneOf } from './tolerances.ts';

/**
 * From shape to wavefront: a star drawn by the optics of this telescope and measured through the very weights that
 * measured the sub. No constants: the response depends on seeing, pixel and defocus.
 */
export interface Response {
  readonly seeingArcsec: number;
  /** Width of a star with this seeing and no aberration, pixels. */
  readonly focusedFwhmPx: number;
  /** |coma3| to W131, um, in focus. */
  readonly comaUm: (coma3: number) => number;
  /** The same when the star owes part of its width to a defocus of half the critical focus zone: an imager's usual one. */
  readonly comaUmDefocused: (coma3: number) => number;
  /** trefoil3 along 3 phi and distortion along 2 phi that this much coma along phi makes by itself. */
  readonly comaTrefoil3: (comaUm: number) => number;
  readonly comaDistortion: (comaUm: number) => number;
  /** W131, um, to |coma3| in focus. */
  readonly coma3: (comaUm: number) => number;
  /** Blur in pixels of FWHM (in quadrature over the focused width) to defocus, um along the axis. */
  readonly defocusUm: (blurPx: number) => number;
  readonly blurPx: (defocusUm: number) => number;
  /** coma3 at a defocus (um along the axis) over coma3 in focus, at the same seeing. */
  readonly comaGain: (defocusUm: number) => number;
  /** |trefoil3| to wavefront RMS, um. */
  readonly trefoilRmsUm: (trefoil3: number) => number;
  /** The same at half the critical focus zone off: what a fault must survive. */
  readonly trefoilRmsUmDefocused: (trefoil3: number) => number;
  readonly trefoil3: (rmsUm: number) => number;
  /** FWHM blur in quadrature, pixels, of that much coma or trefoil alone. */
  readonly comaBlurPx: (comaUm: number) => number;
  readonly trefoilBlurPx: (rmsUm: number) => number;
}

/** Noll RMS of a trefoil coefficient: |t| / sqrt 8. */
const TREFOIL_RMS = Math.sqrt(8);

/** The stars' image at given aberrations, measured. */
interface Model {
  (coefficients: Partial<Coefficients>, seeingArcsec: number): Shape | null;
}

/** Wavelengths across the band: one at its middle, where the band is not so wide that its weight stands elsewhere. */
export const lightsFor = (filter: FilterName): number => (filter === 'none' ? 2 : 1);

interface DrawnStars {
  readonly model: Model;
  readonly telescope: Telescope;
}

function modelOf(optics: KnownOptics, filter: FilterName): DrawnStars {
  const telescope = telescopeFor(optics);
  const stars = new PixelStars(telescope, {
    pixelUm: optics.pixelUm,
    filter,
    recentred: true,
    samples: lightsFor(filter),
  });
  const known = new Map<string, Shape | null>();
  const model: Model = (coefficients, seeingArcsec) => {
    const w = { ...NO_ABERRATION, ...coefficients };
    const key = JSON.stringify([w, seeingArcsec]);
    let shape = known.get(key);
    if (shape === undefined) {
      shape = measurePixels(stars.draw(w, seeingArcsec, FARTHEST_PX));
      known.set(key, shape);
    }
    return shape;
  };
  return { model, telescope };
}

/** What the stars of the sub look like in the middle: enough to find the seeing that the model needs. */
export interface Observed {
  /** Pixels. */
  readonly fwhm: number;
  readonly coma3: number;
  readonly trefoil3: number;
}

/** Corrections of the seeing; three are usual. */
const MAX_SEEING_ROUNDS = 8;
/** At most so many rounds of seeing against coma and trefoil: each widens the star, and the seeing sets what each amounts to. */
const ROUNDS = 12;
const COMA_STEPS = [0, 0.06, 0.12, 0.25, 0.5, 0.8, 1.2, 2, 3.5];
const TREFOIL_STEPS = [0, 0.03, 0.06, 0.12, 0.2, 0.35];
/** Coma small enough to be answered in proportion. */
const SMALL_COMA_UM = 0.12;
/** um along the axis at f/4, wider by the square of the focal ratio. */
const DEFOCUS_STEPS = [0, 8, 16, 25, 35, 50, 70, 95, 130, 180];

const comaCurve = (model: Model, seeing: number, d: number): Curve =>
  risingCurve(COMA_STEPS, (c) => model({ c: { x: c, y: 0 }, d }, seeing)?.coma3.x ?? null);

const trefoilCurve = (model: Model, seeing: number, d = 0): Curve =>
  risingCurve(TREFOIL_STEPS, (rms) => model({ t: { x: rms * TREFOIL_RMS, y: 0 }, d }, seeing)?.trefoil3.x ?? null);

/** Null where the model cannot be as sharp as the sub (wrong focal length or pixel size). */
export function responseFor(optics: KnownOptics, filter: FilterName, observed: Observed): Response | null {
  const drawn = modelOf(optics, filter);
  const { model } = drawn;
  let c = 0;
  let t = 0;
  let seeing = 0;
  const comaBracket = bracket();
  const trefoilBracket = bracket();
  for (let round = 0; round < ROUNDS; round++) {
    const next = seeingFor(model, optics, observed.fwhm, { c: { x: c, y: 0 }, t: { x: t, y: 0 } });
    if (next === null) {
      if (c === 0 && t === 0) return null;
      // These aberrations alone are wider than the star.
      c = comaBracket(c, 0);
      t = trefoilBracket(t, 0);
      continue;
    }
    seeing = next;
    const nextC = comaCurve(model, seeing, 0).inverse(observed.coma3);
    const nextT = TREFOIL_RMS * trefoilCurve(model, seeing).inverse(observed.trefoil3);
    const settled = Math.abs(nextC - c) < 0.02 + 0.04 * c && Math.abs(nextT - t) < 0.03 + 0.04 * t;
    if (settled) break;
    c = comaBracket(c, nextC);
    t = trefoilBracket(t, nextT);
  }
  return curvesAt(drawn, optics, seeing);
}

/** The same where the seeing is known, from the whole-field fit. */
export function responseAt(optics: KnownOptics, filter: FilterName, seeingArcsec: number): Response | null {
  return curvesAt(modelOf(optics, filter), optics, seeingArcsec);
}

function curvesAt({ model, telescope }: DrawnStars, optics: KnownOptics, seeing: number): Response | null {
  const focused = model({}, seeing);
  if (focused === null) return null;
  const inFocus = comaCurve(model, seeing, 0);
  const trefoil = trefoilCurve(model, seeing);
  const blur = (coefficients: Partial<Coefficients>): number | null => {
    const shape = model(coefficients, seeing);
    return shape === null ? null : Math.sqrt(Math.max(0, shape.fwhm ** 2 - focused.fwhm ** 2));
  };
  const d = toDefocus(telescope, focusZoneOf(optics, seeing) / 2);
  const blurredSeeing = later(() => seeingFor(model, optics, focused.fwhm, { d }));
  const comaDefocused = later(() => {
    const blurred = blurredSeeing();
    return blurred === null ? null : comaCurve(model, blurred, d);
  });
  const trefoilDefocused = later(() => {
    const blurred = blurredSeeing();
    return blurred === null ? null : trefoilCurve(model, blurred, d);
  });
  const ratio = optics.focalLengthMm / optics.apertureMm;
  const steps = DEFOCUS_STEPS.map((um) => um * (ratio / 4) ** 2);
  const defocus = risingCurve(steps, (um) => blur({ d: toDefocus(telescope, um) }));
  const small = (d: number): number => model({ c: { x: SMALL_COMA_UM, y: 0 }, d }, seeing)?.coma3.x ?? Number.NaN;
  const gain = risingCurve(steps, (um) => small(toDefocus(telescope, um)) / small(0) - 1);
  const comaBlur = risingCurve(COMA_STEPS, (um) => blur({ c: { x: um, y: 0 } }));
  const trefoilBlur = risingCurve(TREFOIL_STEPS, (rms) => blur({ t: { x: rms * TREFOIL_RMS, y: 0 } }));
  const byComa = COMA_STEPS.map((c) => later(() => (c === 0 ? null : model({ c: { x: c, y: 0 } }, seeing))));
  const ofComa =
    (pick: (shape: Shape) => number) =>
    (comaUm: number): number =>
      between(
        COMA_STEPS,
        (i) => {
          const shape = byComa[i]();
          return shape === null ? 0 : pick(shape);
        },
        comaUm,
      );
  return {
    seeingArcsec: seeing,
    focusedFwhmPx: focused.fwhm,
    comaUm: inFocus.inverse,
    comaUmDefocused: (v) => (comaDefocused() ?? inFocus).inverse(v),
    comaTrefoil3: ofComa((shape) => shape.trefoil3.x),
    comaDistortion: ofComa((shape) => shape.e1),
    coma3: inFocus.forward,
    defocusUm: defocus.inverse,
    blurPx: defocus.forward,
    comaGain: (um) => 1 + gain.forward(Math.abs(um)),
    trefoilRmsUm: trefoil.inverse,
    trefoilRmsUmDefocused: (v) => (trefoilDefocused() ?? trefoil).inverse(v),
    trefoil3: trefoil.forward,
    comaBlurPx: comaBlur.forward,
    trefoilBlurPx: trefoilBlur.forward,
  };
}

/**
 * Next guess of an amount: halfway to what the seeing of the present one asks for, kept between the guesses known to be too
 * small and too large. A wider aberration leaves less seeing, which answers more strongly and asks for less: the answer falls
 * as the guess rises, so the bracket closes where plain steps would swing.
 */
function bracket(): (guess: number, answer: number) => number {
  let low = 0;
  let high = Number.POSITIVE_INFINITY;
  return (guess, answer) => {
    if (answer > guess) low = Math.max(low, guess);
    else high = Math.min(high, guess);
    const halfway = (guess + answer) / 2;
    return halfway > low && halfway < high ? halfway : (low + Math.min(high, 2 * guess + 0.1)) / 2;
  };
}

/** Computes once, when first asked. */
function later<T>(compute: () => T): () => T {
  let known: { readonly value: T } | null = null;
  return () => (known ??= { value: compute() }).value;
}

/**
 * Seeing that gives the model, with the given aberrations, the measured width. Squares of widths nearly add, so a few
 * corrections of the squared seeing do; null where the aberrations alone are wider than the star.
 */
function seeingFor(
  model: Model,
  optics: KnownOptics,
  fwhmPx: number,
  coefficients: Partial<Coefficients>,
): number | null {
  const scale = (206.264806 * optics.pixelUm) / optics.focalLengthMm;
  const arcsec = scale * fwhmPx;
  const sharpest = 0.15 * arcsec;
  let seeing = 0.9 * arcsec;
  for (let round = 0; round < MAX_SEEING_ROUNDS; round++) {
    const width = model(coefficients, seeing)?.fwhm;
    if (width === undefined) return null;
    if (Math.abs(width - fwhmPx) < 1e-3 * fwhmPx) return seeing;
    const squared = seeing ** 2 + (fwhmPx ** 2 - width ** 2) * scale ** 2;
    if (squared < sharpest ** 2) {
      if (seeing === sharpest) return null;
      seeing = sharpest;
    } else seeing = Math.sqrt(squared);
  }
  return seeing;
}

/** A response and its inverse between drawn steps; straight lines between them, the last one carried on. */
interface Curve {
  readonly forward: (x: number) => number;
  readonly inverse: (y: number) => number;
}

/**
 * The rising part of a response from (0, 0): a gross aberration may answer with less than a smaller one, and there it ends.
 * Steps are drawn only as far as somebody asks, because the gross ones are the dear ones.
 */
function risingCurve(steps: readonly number[], respond: (x: number) => number | null): Curve {
  const x = [0];
  const y = [0];
  let next = 1;
  const extendUntil = (enough: () => boolean): void => {
    while (next < steps.length && (x.length < 2 || !enough())) {
      const step = steps[next++];
      const value = respond(step);
      if (value === null || value <= y[y.length - 1]) next = steps.length;
      else {
        x.push(step);
        y.push(value);
      }
    }
    if (x.length === 1) {
      // No answer at all: whatever is asked amounts to nothing.
      x.push(steps[1]);
      y.push(Number.MAX_VALUE);
    }
  };
  return {
    forward: (value) => {
      extendUntil(() => x[x.length - 1] >= value);
      return interpolate(x, y, value);
    },
    inverse: (value) => {
      extendUntil(() => y[y.length - 1] >= value);
      return Math.min(interpolate(y, x, value), 2 * x[x.length - 1]);
    },
  };
}

/** Straight lines between computed steps, the last value held; only the two steps around x are computed. */
function between(steps: readonly number[], at: (i: number) => number, x: number): number {
  let i = 1;
  while (i < steps.length - 1 && steps[i] < x) i++;
  const t = Math.min(1, Math.max(0, (x - steps[i - 1]) / (steps[i] - steps[i - 1])));
  return at(i - 1) * (1 - t) + at(i) * t;
}

function interpolate(from: readonly number[], to: readonly number[], value: number): number {
  const n = from.length;
  let i = 1;
  while (i < n - 1 && from[i] < value) i++;
  const t = (value - from[i - 1]) / (from[i] - from[i - 1]);
  return Math.max(0, to[i - 1] + t * (to[i] - to[i - 1]));
}
