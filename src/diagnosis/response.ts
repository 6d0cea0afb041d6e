import type { FilterName } from '../optics/filter.ts';
import { maxHalfSize, stampAt, starImage } from '../optics/psf.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, toDefocus } from '../optics/wavefront.ts';
import { measureStar } from '../shapes/measureStar.ts';
import type { Shape } from '../shapes/shape.ts';
import type { KnownOptics } from './setup.ts';

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
  /** The same when the star owes part of its width to a defocus of `DEFOCUS_UM`. */
  readonly comaUmDefocused: (coma3: number) => number;
  /** W131, um, to |coma3| in focus. */
  readonly coma3: (comaUm: number) => number;
  /** Blur in pixels of FWHM (in quadrature over the focused width) to defocus, um along the axis. */
  readonly defocusUm: (blurPx: number) => number;
  readonly blurPx: (defocusUm: number) => number;
  /** |trefoil3| to wavefront RMS, um. */
  readonly trefoilRmsUm: (trefoil3: number) => number;
  readonly trefoil3: (rmsUm: number) => number;
  /** FWHM blur in quadrature, pixels, of that much coma or trefoil alone. */
  readonly comaBlurPx: (comaUm: number) => number;
  readonly trefoilBlurPx: (rmsUm: number) => number;
}

/** One frame cannot tell defocus of this size from seeing: the other end of the amount's interval. */
export const DEFOCUS_UM = 30;
/** Noll RMS of a trefoil coefficient: |t| / sqrt 8. */
const TREFOIL_RMS = Math.sqrt(8);

/** The stars' image at given aberrations, measured. */
interface Model {
  (coefficients: Partial<Coefficients>, seeingArcsec: number): Shape | null;
}

function modelOf(optics: KnownOptics, filter: FilterName): { readonly model: Model; readonly telescope: Telescope } {
  const telescope: Telescope = {
    ...EXAMPLE_TELESCOPE,
    apertureMm: optics.apertureMm,
    primaryFocalLengthMm: optics.primaryFocalLengthMm,
    effectiveFocalLengthMm: optics.focalLengthMm,
    corrector: optics.bare ? null : EXAMPLE_TELESCOPE.corrector,
  };
  const model: Model = (coefficients, seeingArcsec) => {
    const psf = starImage(
      telescope,
      { ...NO_ABERRATION, ...coefficients },
      { pixelUm: optics.pixelUm, filter, seeingArcsec, recentred: true, samples: 1 },
    );
    const half = Math.min(40, maxHalfSize(psf));
    const stamp = stampAt(psf, 0, 0, half);
    const width = 2 * half + 1;
    const data = Float32Array.from(stamp, (v) => v * 1e6);
    const peak = data.reduce((a, b) => Math.max(a, b), 0);
    const measured = measureStar(
      { data, width, height: width, mask: null, greenParity: null },
      { x: half, y: half, fwhm: 3, peak, sky: 0, noise: peak * 1e-4, gainEPerAdu: 1e6 },
    );
    return measured.status === 'measured' ? measured.shape : null;
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

/** Rounds of seeing against coma and trefoil: each widens the star, and the seeing sets what each amounts to. */
const ROUNDS = 3;
const COMA_STEPS = [0, 0.06, 0.12, 0.25, 0.5, 0.8, 1.2, 2, 3.5];
const TREFOIL_STEPS = [0, 0.03, 0.06, 0.12, 0.2, 0.35];
const DEFOCUS_STEPS = [0, 8, 16, 25, 35, 50, 70, 95, 130, 180];

/** Null where the model cannot be as sharp as the sub (wrong focal length or pixel size). */
export function responseFor(optics: KnownOptics, filter: FilterName, observed: Observed): Response | null {
  const { model, telescope } = modelOf(optics, filter);
  const comaTableAt = (seeing: number, d: number): Table =>
    rising(
      COMA_STEPS,
      COMA_STEPS.map((c) => (c === 0 ? 0 : (model({ c: { x: c, y: 0 }, d }, seeing)?.coma3.x ?? null))),
    );
  const trefoilTableAt = (seeing: number): Table =>
    rising(
      TREFOIL_STEPS,
      TREFOIL_STEPS.map((rms) =>
        rms === 0 ? 0 : (model({ t: { x: rms * TREFOIL_RMS, y: 0 } }, seeing)?.trefoil3.x ?? null),
      ),
    );
  let c = 0;
  let t = 0;
  let seeing: number | null = null;
  let comaTable: Table = { x: [0, 1], y: [0, 1] };
  let trefoilTable = comaTable;
  for (let round = 0; round < ROUNDS; round++) {
    seeing = seeingFor(model, optics, observed.fwhm, { c: { x: c, y: 0 }, t: { x: t, y: 0 } });
    if (seeing === null) return null;
    comaTable = comaTableAt(seeing, 0);
    trefoilTable = trefoilTableAt(seeing);
    const nextC = Math.min(inverse(comaTable, observed.coma3), last(comaTable.x));
    const nextT = TREFOIL_RMS * Math.min(inverse(trefoilTable, observed.trefoil3), last(trefoilTable.x));
    const settled = Math.abs(nextC - c) < 0.02 && Math.abs(nextT - t) < 0.02;
    c = nextC;
    t = nextT;
    if (settled) break;
  }
  if (seeing === null) return null;
  const focused = model({}, seeing);
  if (focused === null) return null;
  const floor = seeing;
  const blur = (coefficients: Partial<Coefficients>): number | null => {
    const shape = model(coefficients, floor);
    return shape === null ? null : Math.sqrt(Math.max(0, shape.fwhm ** 2 - focused.fwhm ** 2));
  };
  const d = toDefocus(telescope, DEFOCUS_UM);
  const blurredSeeing = seeingFor(model, optics, focused.fwhm, { d });
  const blurredTable = blurredSeeing === null ? comaTable : comaTableAt(blurredSeeing, d);
  const defocusTable = rising(
    DEFOCUS_STEPS,
    DEFOCUS_STEPS.map((um) => blur({ d: toDefocus(telescope, um) })),
  );
  const comaBlur = rising(
    COMA_STEPS,
    COMA_STEPS.map((um) => blur({ c: { x: um, y: 0 } })),
  );
  const trefoilBlur = rising(
    TREFOIL_STEPS,
    TREFOIL_STEPS.map((rms) => blur({ t: { x: rms * TREFOIL_RMS, y: 0 } })),
  );
  return {
    seeingArcsec: seeing,
    focusedFwhmPx: focused.fwhm,
    comaUm: (v) => inverse(comaTable, v),
    comaUmDefocused: (v) => inverse(blurredTable, v),
    coma3: (v) => forward(comaTable, v),
    defocusUm: (v) => inverse(defocusTable, v),
    blurPx: (v) => forward(defocusTable, v),
    trefoilRmsUm: (v) => inverse(trefoilTable, v),
    trefoil3: (v) => forward(trefoilTable, v),
    comaBlurPx: (v) => forward(comaBlur, v),
    trefoilBlurPx: (v) => forward(trefoilBlur, v),
  };
}

const last = (values: readonly number[]): number => values[values.length - 1];

/** Seeing that gives the model, with the given aberrations, the measured width: bisection. */
function seeingFor(
  model: Model,
  optics: KnownOptics,
  fwhmPx: number,
  coefficients: Partial<Coefficients>,
): number | null {
  const arcsec = ((206.264806 * optics.pixelUm) / optics.focalLengthMm) * fwhmPx;
  let low = 0.15 * arcsec;
  let high = 1.3 * arcsec;
  const at = (seeing: number): number => (model(coefficients, seeing)?.fwhm ?? Number.POSITIVE_INFINITY) - fwhmPx;
  if (at(low) > 0) return null;
  for (let round = 0; round < 9; round++) {
    const middle = (low + high) / 2;
    if (at(middle) > 0) high = middle;
    else low = middle;
  }
  return (low + high) / 2;
}

interface Table {
  readonly x: readonly number[];
  readonly y: readonly number[];
}

/** The rising part of a response from (0, 0): a gross aberration may answer with less than a smaller one. */
function rising(x: readonly number[], y: readonly (number | null)[]): Table {
  const outX = [0];
  const outY = [0];
  for (let i = 1; i < x.length; i++) {
    const value = y[i];
    if (value === null || value === undefined || value <= outY[outY.length - 1]) break;
    outX.push(x[i]);
    outY.push(value);
  }
  if (outX.length === 1) {
    outX.push(1);
    outY.push(1e9);
  }
  return { x: outX, y: outY };
}

function interpolate(from: readonly number[], to: readonly number[], value: number): number {
  const n = from.length;
  let i = 1;
  while (i < n - 1 && from[i] < value) i++;
  const t = (value - from[i - 1]) / (from[i] - from[i - 1]);
  return Math.max(0, to[i - 1] + t * (to[i] - to[i - 1]));
}

const forward = (table: Table, x: number): number => interpolate(table.x, table.y, x);
const inverse = (table: Table, y: number): number => interpolate(table.y, table.x, y);
