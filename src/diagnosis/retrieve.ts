import { type FrameStars, fieldPosition } from '../field/frameStars.ts';
import { MIN_FIELD_STARS } from '../field/spinFields.ts';
import { selectInPlace } from '../numeric/statistics.ts';
import { PixelStars } from '../optics/pixelStars.ts';
import { type DrawShape, type ResponseRange, type ResponseTable, responseTable } from '../optics/response.ts';
import type { Telescope } from '../optics/telescope.ts';
import { type Coefficients, NO_ABERRATION, toDefocus } from '../optics/wavefront.ts';
import { explainedVariance } from '../retrieval/explained.ts';
import {
  fitWavefront,
  type Retrieval,
  type RetrievalGuess,
  type RetrievalProgress,
  type ScanPoint,
} from '../retrieval/fitWavefront.ts';
import { wavefrontOf } from '../retrieval/model.ts';
import { verifyByDrawing } from '../retrieval/verify.ts';
import { type Amounts, filterName } from './amounts.ts';
import { FARTHEST_PX, measurePixels, telescopeFor } from './drawnStar.ts';
import { lightsFor } from './response.ts';
import { type Retrieved, retrievedAmounts, settled, type Vector } from './retrieved.ts';
import type { Setup } from './setup.ts';
import { focusZoneUm } from './tolerances.ts';

/** c that a corrector leaves, um a millimetre from the centre (optics.md: .007 to .010 by ray-traced designs), rounded up. */
const CORRECTOR_COMA_UM_PER_MM = 0.015;
/**
 * The table is the better the less it spans. With less seeing than this share of the guess, more than a quarter of the
 * width squared would be aberrations; farther from focus than so many sigma of the prior the star would be wider than it is.
 */
const LEAST_SEEING = 0.6;
const FOCUS_SIGMAS = 2.3;
/** The table goes on beyond the defocus that the guess has anywhere in the frame. */
const FAR_SHARE = 1.3;
/** Share of the stars that are no wider than what is called the widest, and how much beyond it the table goes. */
const WIDEST = 0.97;
const WIDEST_SHARE = 1.1;
/** Marechal's lambda/14 of astigmatism at 0.55 um is 0.096 um of the coefficient; what is usual is two thirds of a table's limit. */
const ASTIGMATISM_LIMIT_UM = 0.15;
const USUAL_ASTIGMATISM = 2 / 3;
/** Share of the table's time in the whole. */
const TABLE_SHARE = 0.5;

/** Half of the seeing-limited critical focus zone: where an imager's focus is expected, um along the axis, 1 sigma. */
export function focusPriorUm(amounts: Amounts): number {
  return focusZoneUm(amounts) / 2;
}

/**
 * The whole-field fit of this measurement; null where it has nothing to stand on (unknown optics, too few stars, a bare mirror,
 * whose coma grows beyond any table: there the node is the ruler) or did not settle.
 */
export function retrieveWavefront(
  frames: readonly FrameStars[],
  amounts: Amounts,
  setup: Setup,
  progress: RetrievalProgress = () => undefined,
): Retrieved | null {
  const { response, size, optics } = amounts;
  if (!amounts.physical || response === null || size === null || optics.bare) return null;
  if (frames.some((frame) => frame.shapes.length < MIN_FIELD_STARS)) return null;
  const guess = guessFrom(frames, amounts);
  const telescope = telescopeFor(optics);
  const draw = drawerOf(amounts, setup);
  const priors = {
    focus: toDefocus(telescope, focusPriorUm(amounts)),
    linearComa: CORRECTOR_COMA_UM_PER_MM * amounts.halfDiagonalMm,
    sameFocus: sameFocus(setup),
  };
  const fitWithin = (range: ResponseRange, from: Float64Array | null, done: number): Fitted | null => {
    const table = tableOf(telescope, draw, range);
    if (table === null) return null;
    progress(done + TABLE_SHARE * (1 - done));
    const astigmatism = USUAL_ASTIGMATISM * range.limits.a;
    const retrieval = fitWavefront(frames, table, guess, { ...priors, astigmatism }, from, (share) =>
      progress(done + (1 - done) * (TABLE_SHARE + (1 - TABLE_SHARE) * share)),
    );
    return retrieval === null || retrieval.scan.length === 0 ? null : { table, retrieval };
  };
  let fitted = fitWithin(rangeFor(frames, amounts, guess), null, 0);
  if (fitted === null) return null;
  const wider = widerRange(fitted);
  if (wider !== null) fitted = fitWithin(wider, null, CLOSER_FROM) ?? fitted;
  const closer = closerRange(fitted);
  if (closer !== null) fitted = fitWithin(closer, fitted.retrieval.best.parameters, CLOSER_FROM) ?? fitted;
  const { table, retrieval } = fitted;
  const explained = explainedVariance(frames, table, retrieval);
  const verified = verifyByDrawing(table, retrieval, draw);
  const found = retrievedAmounts(retrieval, optics, setup, explained, verified, astigmaticOf(retrieval, draw));
  return settled(found, retrieval) ? found : null;
}

interface Fitted {
  readonly table: ResponseTable;
  readonly retrieval: Retrieval;
}

/** Share of the work that is done when the fit begins anew on a closer table. */
const CLOSER_FROM = 0.5;
/** A table no better than this decides with the stars: shares of sigma^2, shapes. */
const ROUGH = { sigma2: 0.01, e: 0.004, coma3: 0.003, trefoil3: 0.004 } as const;
/** Places of the scan with less than this probability need no table. */
const UNLIKELY = 1e-3;
/** What the fit found, and so much more, the closer table holds. */
const CLOSER = { seeing: 0.07, share: 1.2, um: 0.03 } as const;
/** Astigmatism beyond this share of its limit was held by it. */
const HELD = 0.7;
const WIDER = 4;

const likely = ({ scan }: Retrieval): readonly ScanPoint[] => scan.filter((point) => point.weight > UNLIKELY);

/** The same range with more room for astigmatism, where that was held by its limit; null where it was not. */
function widerRange({ table: { range }, retrieval }: Fitted): ResponseRange | null {
  const { astigmatism, linearAstigmatism, radialAstigmatism } = retrieval.layout;
  const terms = [astigmatism, astigmatism + 1, linearAstigmatism, linearAstigmatism + 1, radialAstigmatism];
  const { limits } = range;
  const held = likely(retrieval).some(({ parameters }) => terms.some((i) => Math.abs(parameters[i]) > HELD * limits.a));
  return held ? { ...range, limits: { ...limits, a: WIDER * limits.a } } : null;
}

/** A smaller range about what was found, where the table was too rough for it; null where it served. */
function closerRange({ table, retrieval }: Fitted): ResponseRange | null {
  const rough = (Object.keys(ROUGH) as (keyof typeof ROUGH)[]).some((name) => table.rms[name] > ROUGH[name]);
  if (!rough) return null;
  const { layout, cells } = retrieval;
  const points = likely(retrieval);
  const waves = points.flatMap(({ parameters }) => cells.map((cell) => wavefrontOf(layout, parameters, cell)));
  const within = (of: (w: Coefficients) => number, limit: number): number =>
    Math.min(limit, CLOSER.share * waves.reduce((top, w) => Math.max(top, of(w)), 0) + CLOSER.um);
  const seeings = points.flatMap(({ parameters }) =>
    Array.from({ length: layout.subs }, (_, f) => parameters[layout.seeing(f)]),
  );
  const { limits, defocusUm, seeingArcsec } = table.range;
  return {
    seeingArcsec: {
      from: Math.max(seeingArcsec.from, (1 - CLOSER.seeing) * Math.min(...seeings)),
      to: (1 + CLOSER.seeing) * Math.max(...seeings),
    },
    defocusUm: (defocusUm / table.defocusLimit) * within(({ d }) => Math.abs(d), table.defocusLimit),
    limits: {
      a: Math.max(
        ASTIGMATISM_LIMIT_UM,
        within(({ a }) => Math.hypot(a.x, a.y), limits.a),
      ),
      c: within(({ c }) => Math.hypot(c.x, c.y), limits.c),
      t: within(({ t }) => Math.hypot(t.x, t.y), limits.t),
    },
  };
}

/** Stars of this telescope, measured as the sub's are. */
function drawerOf({ optics }: Amounts, setup: Setup): DrawShape {
  const filter = filterName(setup.filter, setup.mosaic);
  const stars = new PixelStars(telescopeFor(optics), {
    pixelUm: optics.pixelUm,
    filter,
    recentred: true,
    samples: lightsFor(filter),
  });
  return (seeingArcsec, w) => {
    const shape = measurePixels(stars.draw(w, seeingArcsec, FARTHEST_PX));
    if (shape === null) return null;
    const { sigmaMajor, sigmaMinor, e1, e2, coma3, trefoil3 } = shape;
    return { sigma2: sigmaMajor * sigmaMinor, e: { x: e1, y: e2 }, coma3, trefoil3 };
  };
}

/** (e1, e2) that the uniform astigmatism alone makes of the stars in the middle of each sub. */
function astigmaticOf({ layout, best: { parameters: p } }: Retrieval, draw: DrawShape): Vector[] {
  const a = { x: p[layout.astigmatism], y: p[layout.astigmatism + 1] };
  return Array.from({ length: layout.subs }, (_, f) => {
    const shape = draw(p[layout.seeing(f)], { ...NO_ABERRATION, d: p[layout.focus(f)], a });
    return shape?.e ?? { x: 0, y: 0 };
  });
}

/** Pairs of subs whose focuser did not move. */
function sameFocus({ focusPositions }: Setup): (readonly [number, number])[] {
  return focusPositions.flatMap((position, g) => {
    if (position === null) return [];
    const f = focusPositions.indexOf(position);
    return f < g ? [[f, g] as const] : [];
  });
}

function guessFrom(frames: readonly FrameStars[], amounts: Amounts): RetrievalGuess {
  const { response, size, optics, coma, trefoil, skew, comaUm } = amounts;
  if (response === null || size === null) throw new RangeError('guessFrom needs a response and a size field');
  const telescope = telescopeFor(optics);
  const defocus = (blur: number): number => Math.sign(blur) * toDefocus(telescope, response.defocusUm(Math.abs(blur)));
  const length = Math.hypot(coma.x, coma.y);
  const c = length === 0 ? 0 : (comaUm?.value ?? 0) / length;
  const trefoilLength = Math.hypot(trefoil.x, trefoil.y);
  const t = trefoilLength === 0 ? 0 : (Math.sqrt(8) * response.trefoilRmsUm(trefoilLength)) / trefoilLength;
  const tilt = Math.hypot(size.tilt.x, size.tilt.y);
  const slope = tilt === 0 ? 0 : defocus(tilt) / tilt;
  const { seeingArcsec, focusedFwhmPx } = response;
  return {
    // Widths of the subs at their best focus, but never told apart by more than focus explains badly.
    seeing: frames.map((_, f) => seeingArcsec * Math.min(1.1, Math.max(0.7, size.floor[f] / focusedFwhmPx))),
    focus: size.centre.map(defocus),
    tilt: { x: slope * size.tilt.x, y: slope * size.tilt.y },
    curvature: defocus(size.curvature.value),
    coma: { x: c * coma.x, y: c * coma.y },
    trefoil: { x: t * trefoil.x, y: t * trefoil.y },
    skew: skew === null ? null : skew.coma3,
  };
}

/** What the table must hold to begin with: all that seeing and defocus may share out between them. */
function rangeFor(frames: readonly FrameStars[], amounts: Amounts, guess: RetrievalGuess): ResponseRange {
  const { response, optics, comaUm } = amounts;
  if (response === null) throw new RangeError('rangeFor needs a response');
  const sharpest = Math.min(...guess.seeing);
  // No star is narrower than the seeing.
  const softest = (206.264806 * optics.pixelUm * amounts.fwhm) / optics.focalLengthMm;
  const umOfFocus = 1 / toDefocus(telescopeFor(optics), 1);
  const far = FAR_SHARE * umOfFocus * farthestDefocus(frames, guess);
  // However the guess shares them out, seeing and defocus together make no star wider than the widest.
  const widest = WIDEST_SHARE * Math.max(...frames.map(widestOf));
  const sharpestPx = (LEAST_SEEING * sharpest * response.focusedFwhmPx) / response.seeingArcsec;
  const farthest = response.defocusUm(Math.sqrt(Math.max(0, widest ** 2 - sharpestPx ** 2)));
  const trefoil = Math.hypot(guess.trefoil.x, guess.trefoil.y);
  return {
    seeingArcsec: { from: LEAST_SEEING * sharpest, to: Math.max(softest, 1.05 * Math.max(...guess.seeing)) },
    defocusUm: Math.min(Math.max(FOCUS_SIGMAS * focusPriorUm(amounts), far), farthest),
    limits: { a: ASTIGMATISM_LIMIT_UM, c: 0.08 + 1.4 * (comaUm?.high ?? 0), t: 0.08 + 1.3 * trefoil },
  };
}

function widestOf({ shapes }: FrameStars): number {
  return selectInPlace(
    shapes.map((s) => s.fwhm),
    Math.floor(WIDEST * (shapes.length - 1)),
  );
}

/** Largest |d| that the guess has over the stars of any sub, um. */
function farthestDefocus(frames: readonly FrameStars[], { focus, tilt, curvature }: RetrievalGuess): number {
  const offs = frames.flatMap((frame, f) =>
    frame.shapes.map((s) => {
      const { u, v } = fieldPosition(frame, s.x, s.y);
      return Math.abs(focus[f]) + Math.abs(tilt.x * u + tilt.y * v) + Math.abs(curvature) * (u * u + v * v);
    }),
  );
  return offs.reduce((top, off) => Math.max(top, off), 0);
}

function tableOf(telescope: Telescope, draw: DrawShape, range: ResponseRange): ResponseTable | null {
  try {
    return responseTable(telescope, draw, range);
  } catch (error) {
    // Too few of the drawn stars were measurable: aberrations beyond what the stars' window holds.
    if (error instanceof RangeError) return null;
    throw error;
  }
}
