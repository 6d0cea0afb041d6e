import { type FrameStars, halfDiagonal } from '../field/frameStars.ts';
import { MIN_FIELD_STARS } from '../field/spinFields.ts';
import { median } from '../numeric/statistics.ts';
import { type Complex, ZERO } from '../optics/complex.ts';
import { PixelStars } from '../optics/pixelStars.ts';
import { type DrawShape, type ResponseRange, type ResponseTable, responseTable } from '../optics/response.ts';
import { type Telescope, USUAL_SHADOW } from '../optics/telescope.ts';
import { astigmatismUmPerMm2, comaUmPerMm, NO_ABERRATION, toDefocus } from '../optics/wavefront.ts';
import { explainedVariance } from '../retrieval/explained.ts';
import { fitWavefront, type Retrieval, type RetrievalProgress } from '../retrieval/fitWavefront.ts';
import type { Expected, RetrievalGuess, RetrievalPriors } from '../retrieval/knowledge.ts';
import { shadowScale } from '../retrieval/model.ts';
import { verifyByDrawing } from '../retrieval/verify.ts';
import { type Amounts, filterName } from './amounts.ts';
import { nearNode } from './bareMirror.ts';
import { FARTHEST_PX, measurePixels, telescopeFor } from './drawnStar.ts';
import { lightsFor } from './response.ts';
import { type Retrieved, retrievedAmounts, settled } from './retrieved.ts';
import type { Setup } from './setup.ts';
import {
  closerRange,
  type Fitted,
  farthestUm,
  focusPriorUm,
  rangeFor,
  USUAL_ASTIGMATISM_UM,
  widerRange,
} from './tableRange.ts';

/** c that a corrector leaves, um a millimetre from the centre (.007 to .010 by ray-traced designs), rounded up. */
const CORRECTOR_COMA_UM_PER_MM = 0.015;
/** How well a bare mirror's own aberrations are known: the square of the focal ratio, as told. */
const OWN_SHARE = 0.05;
/** Share of the table's time in the whole. */
const TABLE_SHARE = 0.5;
/** Share of the work that is done when the fit begins anew on a closer table. */
const CLOSER_FROM = 0.5;

/**
 * The whole-field fit of this measurement; null where it has nothing to stand on (unknown optics, too few stars) or did not settle.
 * Of a bare mirror only the stars near its node are taken, which its coma has not drowned.
 */
export function retrieveWavefront(
  all: readonly FrameStars[],
  amounts: Amounts,
  setup: Setup,
  progress: RetrievalProgress = () => undefined,
): Retrieved | null {
  const { response, size, optics, smooth } = amounts;
  if (!amounts.physical || response === null || size === null) return null;
  const frames = optics.bare ? nearNode(all, smooth.coma, response, optics, halfDiagonal(setup)) : all;
  if (frames.some((frame) => frame.shapes.length < MIN_FIELD_STARS)) return null;
  let told = 0;
  // A fit that begins anew has done what it had done.
  const onwards: RetrievalProgress = (share) => {
    told = Math.max(told, share);
    progress(told);
  };
  const guess = guessFrom(frames, amounts);
  const telescope = telescopeFor(optics);
  const draw = drawerOf(amounts, setup);
  const priors = {
    focus: toDefocus(telescope, focusPriorUm(amounts)),
    ...(optics.bare ? bareMirror(amounts) : corrected(amounts)),
    astigmatism: USUAL_ASTIGMATISM_UM,
    shadow: (USUAL_SHADOW / Math.SQRT2) * shadowScale(telescope.apertureMm, telescope.obstruction),
    sameFocus: sameFocus(setup),
  };
  const fitWithin = (range: ResponseRange, from: Float64Array | null, done: number): Fitted | null => {
    const table = tableOf(telescope, draw, range);
    if (table === null) return null;
    onwards(done + TABLE_SHARE * (1 - done));
    const retrieval = fitWavefront(frames, table, guess, priors, from, (share) =>
      onwards(done + (1 - done) * (TABLE_SHARE + (1 - TABLE_SHARE) * share)),
    );
    return retrieval === null || retrieval.scan.length === 0 ? null : { table, retrieval };
  };
  let fitted = fitWithin(rangeFor(frames, amounts, guess), null, 0);
  if (fitted === null) return null;
  const wider = widerRange(fitted, farthestUm(frames, amounts, guess));
  if (wider !== null) fitted = fitWithin(wider, null, CLOSER_FROM) ?? fitted;
  const closer = closerRange(fitted);
  if (closer !== null) fitted = fitWithin(closer, fitted.retrieval.best.parameters, CLOSER_FROM) ?? fitted;
  const { table, retrieval } = fitted;
  const explained = explainedVariance(frames, table, retrieval);
  const verified = verifyByDrawing(table, retrieval, draw);
  const sigma2 = frames.map(({ shapes }) => median(shapes.map((s) => s.sigmaMajor * s.sigmaMinor)));
  const astigmatic = astigmaticOf(retrieval, draw);
  const found = retrievedAmounts(retrieval, optics, setup, explained, verified, astigmatic, sigma2);
  return settled(found, retrieval) ? found : null;
}

type FieldPriors = Pick<RetrievalPriors, 'linearComa' | 'bare'>;

const corrected = ({ halfDiagonalMm }: Amounts): FieldPriors => ({
  linearComa: { value: 0, sigma: CORRECTOR_COMA_UM_PER_MM * halfDiagonalMm },
  bare: null,
});

/** A paraboloid's third-order aberrations, known from its focal ratio as well as that is. */
function bareMirror({ optics, halfDiagonalMm }: Amounts): FieldPriors {
  const telescope = telescopeFor(optics);
  const coma = comaUmPerMm(telescope) * halfDiagonalMm;
  const own = -astigmatismUmPerMm2(telescope) * halfDiagonalMm ** 2;
  const known = (value: number): Expected => ({ value, sigma: OWN_SHARE * Math.abs(value) });
  return { linearComa: known(coma), bare: { radialAstigmatism: known(own), curvature: known(own) } };
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
function astigmaticOf({ layout, best: { parameters: p } }: Retrieval, draw: DrawShape): Complex[] {
  const a = { x: p[layout.astigmatism], y: p[layout.astigmatism + 1] };
  return Array.from({ length: layout.subs }, (_, f) => {
    const shape = draw(p[layout.seeing(f)], { ...NO_ABERRATION, d: p[layout.focus(f)], a });
    return shape?.e ?? ZERO;
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
  const { response, size, optics, coma, trefoil, skew, jumped, comaUm } = amounts;
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
    skew:
      skew === null && jumped.size === 0
        ? null
        : frames.map((_, f) => (jumped.size === 0 ? skew : jumped.get(f))?.coma3 ?? null),
  };
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
