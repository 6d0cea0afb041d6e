import type { FrameStars } from '../field/frameStars.ts';
import { MIN_FIELD_STARS } from '../field/spinFields.ts';
import { PixelStars } from '../optics/pixelStars.ts';
import { type DrawShape, type ResponseTable, responseTable } from '../optics/response.ts';
import { toDefocus } from '../optics/wavefront.ts';
import { explainedVariance } from '../retrieval/explained.ts';
import { fitWavefront, type RetrievalGuess, type RetrievalProgress } from '../retrieval/fitWavefront.ts';
import { verifyByDrawing } from '../retrieval/verify.ts';
import { type Amounts, filterName } from './amounts.ts';
import { FARTHEST_PX, measurePixels, telescopeFor } from './drawnStar.ts';
import { lightsFor } from './response.ts';
import { type Retrieved, retrievedAmounts, settled } from './retrieved.ts';
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
/** Three times Marechal's lambda/14 of astigmatism at 0.55 um would be 0.29; the fit's prior is a third of that. */
const ASTIGMATISM_LIMIT_UM = 0.15;
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
  const table = tableFor(amounts, draw, guess);
  if (table === null) return null;
  progress(TABLE_SHARE);
  const retrieval = fitWavefront(
    frames,
    table,
    guess,
    {
      focus: toDefocus(telescope, focusPriorUm(amounts)),
      linearComa: CORRECTOR_COMA_UM_PER_MM * amounts.halfDiagonalMm,
      sameFocus: sameFocus(setup),
    },
    (share) => progress(TABLE_SHARE + (1 - TABLE_SHARE) * share),
  );
  if (retrieval === null || retrieval.scan.length === 0) return null;
  const explained = explainedVariance(frames, table, retrieval);
  const verified = verifyByDrawing(table, retrieval, draw);
  const found = retrievedAmounts(retrieval, optics, setup, explained, verified);
  return settled(found, retrieval) ? found : null;
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

function tableFor(amounts: Amounts, draw: DrawShape, guess: RetrievalGuess): ResponseTable | null {
  const { response, optics, comaUm } = amounts;
  if (response === null) return null;
  const telescope = telescopeFor(optics);
  const sharpest = Math.min(...guess.seeing);
  // No star is narrower than the seeing.
  const softest = (206.264806 * optics.pixelUm * amounts.fwhm) / optics.focalLengthMm;
  const far =
    Math.max(...guess.focus.map(Math.abs)) + Math.hypot(guess.tilt.x, guess.tilt.y) + Math.abs(guess.curvature);
  const umOfFocus = 1 / toDefocus(telescope, 1);
  const trefoil = Math.hypot(guess.trefoil.x, guess.trefoil.y);
  try {
    return responseTable(telescope, draw, {
      seeingArcsec: { from: LEAST_SEEING * sharpest, to: Math.max(softest, 1.05 * Math.max(...guess.seeing)) },
      defocusUm: Math.max(FOCUS_SIGMAS * focusPriorUm(amounts), 1.3 * far * umOfFocus),
      limits: { a: ASTIGMATISM_LIMIT_UM, c: 0.08 + 1.4 * (comaUm?.high ?? 0), t: 0.08 + 1.3 * trefoil },
    });
  } catch (error) {
    // Too few of the drawn stars were measurable: aberrations beyond what the stars' window holds.
    if (error instanceof RangeError) return null;
    throw error;
  }
}
