import type { SmoothFields } from '../field/fitField.ts';
import { type FrameStars, halfDiagonal, vectorLength } from '../field/frameStars.ts';
import { MIN_FIELD_STARS } from '../field/spinFields.ts';
import { type Complex, ZERO } from '../optics/complex.ts';
import { PixelStars } from '../optics/pixelStars.ts';
import { type DrawShape, type ResponseRange, type ResponseTable, responseTable } from '../optics/response.ts';
import { type Telescope, USUAL_SHADOW } from '../optics/telescope.ts';
import { astigmatismUmPerMm2, type Coefficients, comaUmPerMm, NO_ABERRATION, toDefocus } from '../optics/wavefront.ts';
import { explainedVariance } from '../retrieval/explained.ts';
import { fitWavefront, type Retrieval, type RetrievalProgress } from '../retrieval/fitWavefront.ts';
import { ANY_SMEAR, type Expected, type RetrievalGuess, type RetrievalPriors } from '../retrieval/knowledge.ts';
import type { Layout } from '../retrieval/layout.ts';
import { shadowScale } from '../retrieval/model.ts';
import { alongSmears, findSkew } from '../retrieval/skewBesideComa.ts';
import { type Elongation, weighElongation } from '../retrieval/smearOrAstigmatism.ts';
import { sidesByDrawing, verifyByDrawing } from '../retrieval/verify.ts';
import { withoutAir } from './airSkew.ts';
import { type Amounts, filterName, typicalSigma2 } from './amounts.ts';
import { nearNode } from './bareMirror.ts';
import { FARTHEST_PX, measurePixels, telescopeFor } from './drawnStar.ts';
import { APART_UM } from './refined.ts';
import { lightsFor } from './response.ts';
import { isExchanged, type Retrieved, retrievedAmounts, settled } from './retrieved.ts';
import type { Setup } from './setup.ts';
import {
  closerRange,
  type Fitted,
  farthestUm,
  focusPriorUm,
  letGo,
  rangeFor,
  reachesFarther,
  USUAL_ASTIGMATISM_UM,
  widerRange,
} from './tableRange.ts';
import { distortionOf, ROUND_ELONGATION } from './tolerances.ts';

/** c that a corrector leaves, um a millimetre from the centre (.007 to .010 by ray-traced designs), rounded up. */
const CORRECTOR_COMA_UM_PER_MM = 0.015;
/** How well a bare mirror's own aberrations are known: the square of the focal ratio, as told. */
const OWN_SHARE = 0.05;
/** Share of the table's time in the whole. */
const TABLE_SHARE = 0.5;
/** Room for astigmatism, for focus. */
const MOST_WIDER = 2;
/** A closer table that the fit leads out of is made anew, so often at most. */
const MOST_ROUNDS = 3;
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
  const near = optics.bare ? nearNode(all, smooth.coma, response, optics, halfDiagonal(setup)) : all;
  const frames = withoutAir(near, amounts.airSkew);
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
  const known: RetrievalPriors = {
    focus: toDefocus(telescope, focusPriorUm(amounts)),
    ...(optics.bare ? bareMirror(amounts) : corrected(amounts)),
    astigmatism: USUAL_ASTIGMATISM_UM,
    uniform: USUAL_ASTIGMATISM_UM,
    smear: ANY_SMEAR,
    shadow: Math.max(
      LEAST_SHADOW,
      (USUAL_SHADOW / Math.SQRT2) * shadowScale(telescope.apertureMm, telescope.obstruction),
    ),
    sameFocus: sameFocus(setup),
  };
  const fitWithin = (
    range: ResponseRange,
    priors: RetrievalPriors,
    from: Float64Array | null,
    done: number,
    by = guess,
  ): Fitted | null => {
    const table = tableOf(telescope, draw, range);
    if (table === null) return null;
    onwards(done + TABLE_SHARE * (1 - done));
    const retrieval = fitWavefront(frames, table, by, priors, from, (share) =>
      onwards(done + (1 - done) * (TABLE_SHARE + (1 - TABLE_SHARE) * share)),
    );
    return retrieval === null || retrieval.scan.length === 0 ? null : { table, retrieval };
  };
  /** Goes over to a wider or a closer table where the first one calls for it. */
  const fitFrom = (range: ResponseRange, priors: RetrievalPriors, from: Float64Array | null): Fitted | null => {
    let found = fitWithin(range, priors, from, 0);
    if (found === null) return null;
    for (let round = 0; round < MOST_WIDER; round++) {
      const wider = widerRange(found, range, farthestUm(frames, amounts, guess));
      const roomy = wider === null ? null : fitWithin(wider, priors, from, CLOSER_FROM);
      if (roomy === null) break;
      found = roomy;
    }
    const { range: whole } = found.table;
    let last: ResponseRange | null = null;
    for (let round = 0; round < MOST_ROUNDS; round++) {
      const closer = closerRange(found);
      if (closer === null || (last !== null && !reachesFarther(closer, last))) break;
      last = closer;
      const near = fitWithin(closer, priors, found.retrieval.best.parameters, CLOSER_FROM);
      if (near === null) break;
      found = near;
      const beyond = letGo(found, whole);
      if (beyond === null) break;
      found = fitWithin(beyond, priors, found.retrieval.best.parameters, CLOSER_FROM) ?? found;
    }
    return found;
  };
  let fitted = fitFrom(rangeFor(frames, amounts, guess), known, null);
  if (fitted === null) return null;
  if (!optics.bare && isExchanged(fitted.retrieval)) return null;
  const skewed = skewedSmears(fitted, frames, guess, known, draw, amounts);
  if (skewed !== null) {
    const { retrieval, found } = skewed;
    // The closer table was made about another coma.
    const beyond = letGo(skewed, rangeFor(frames, amounts, guess));
    fitted =
      (beyond === null ? null : fitWithin(beyond, known, retrieval.best.parameters, CLOSER_FROM, found)) ?? skewed;
    if (isExchanged(fitted.retrieval)) return null;
  }
  const long: Long | null =
    skewed === null ? longBy(fitted, draw, guess, known, amounts) : { by: 'smear', astigmatic: null };
  if (long?.astigmatic) {
    const { priors, parameters } = long.astigmatic;
    fitted = fitFrom(fitted.table.range, priors, parameters) ?? fitted;
  }
  const { table } = fitted;
  const retrieval = sidesByDrawing(table, fitted.retrieval, draw);
  const explained = explainedVariance(frames, table, retrieval);
  const found = retrievedAmounts(retrieval, optics, setup, {
    explained,
    drawnAgainstTable: verifyByDrawing(table, retrieval, draw),
    astigmatic: astigmaticOf(retrieval.layout, retrieval.best.parameters, draw),
    comatic: comaticOf(retrieval.layout, retrieval.best.parameters, draw),
    sigma2: frames.map(typicalSigma2),
    longBy: long?.by ?? null,
    skewed: skewed !== null,
    logOdds: long?.logOdds ?? 0,
  });
  return settled(found, retrieval) ? found : null;
}

/** Without an obstruction there is no shadow; a prior needs a width. */
const LEAST_SHADOW = 1e-6;

/** So much of the elongation that is still round makes it worth asking for its cause. */
const WORTH_ASKING = 0.7;
/** Logarithms of the odds from which on astigmatism is named, may be it, and is out of the question if below their negative. */
const TOLD = 6;
const OPEN = 3;
/** Named, it must make so much of the elongation: drawn drifts add to a defocused star as modelled to a tenth of themselves. */
const LEAST_MADE = 0.4;

/** A smear whose second moment scatters by less than this share over subs at different foci is one (drawn drifts: up to 0.09). */
const SAME_MOMENT = 0.12;

/** Foci that differ by this share of the farthest. */
const ELSEWHERE = 0.4;

/** The fit with a skew in every smear, where the stars of several subs are long and show one beside coma and trefoil. */
function skewedSmears(
  { table, retrieval }: Fitted,
  frames: readonly FrameStars[],
  guess: RetrievalGuess,
  priors: RetrievalPriors,
  draw: DrawShape,
  { optics, smooth }: Amounts,
): (Fitted & { readonly found: RetrievalGuess }) | null {
  if (optics.bare || frames.length < 2 || guess.skew !== null || !isLong(smooth)) return null;
  const found = findSkew(retrieval, table, guess, priors);
  const anew = found === null ? null : fitWavefront(frames, table, found, priors);
  if (found === null || anew === null) return null;
  const held = alongSmears(anew, found);
  const along = fitWavefront(frames, table, held, priors, anew.best.parameters);
  const better = [along, anew].find(
    (fit) => fit !== null && fit.scan.length > 0 && fit.chi2PerFreedom < retrieval.chi2PerFreedom,
  );
  return better && !longByAstigmatism(better, draw) ? { table, retrieval: better, found: held } : null;
}

/** So many times what the smear makes of the longest stars (drawn astigmatism: 5 and more; drawn jumps share out evenly at worst). */
const ASTIGMATIC = 3;

/** A skew is that of a smear: where astigmatism makes the stars long, it was not the skew that fits better. */
export function longByAstigmatism(
  { layout, best: { parameters: p }, sigma2 }: Pick<Retrieval, 'layout' | 'best' | 'sigma2'>,
  draw: DrawShape,
): boolean {
  const made = astigmaticOf(layout, p, draw).map((astigmatic, f) => ({
    astigmatic: vectorLength(astigmatic),
    smear: Math.hypot(p[layout.smear(f)], p[layout.smear(f) + 1]) / (2 * sigma2),
  }));
  const longest = made.reduce((a, b) => (b.astigmatic + b.smear > a.astigmatic + a.smear ? b : a));
  return longest.astigmatic > ASTIGMATIC * longest.smear;
}

/** Whether the stars of some sub are long enough to ask why. */
const isLong = ({ perFrame }: SmoothFields): boolean =>
  longestOf(perFrame) >= WORTH_ASKING * distortionOf(ROUND_ELONGATION);

const longestOf = (perFrame: SmoothFields['perFrame']): number =>
  Math.max(...perFrame.map(({ fields }) => vectorLength(fields.distortion.uniform)));

/** What makes the stars of several subs long, and the fit to go on from where it is astigmatism. */
interface Long {
  readonly by: NonNullable<Retrieved['longBy']>;
  readonly logOdds?: number;
  readonly astigmatic: Elongation['astigmatic'] | null;
}

/** Null where the stars are round, a bare mirror's own astigmatism hides it, or the odds are even. */
function longBy(
  { table, retrieval }: Fitted,
  draw: DrawShape,
  guess: RetrievalGuess,
  priors: RetrievalPriors,
  { optics, smooth, air, steady }: Amounts,
): Long | null {
  if (optics.bare || !isLong(smooth)) return null;
  const { layout, best } = retrieval;
  const foci = Array.from({ length: layout.subs }, (_, f) => best.parameters[layout.focus(f)]);
  const between = Math.max(...foci) - Math.min(...foci);
  // Astigmatism would have made of them what differs as much.
  const elsewhere = between > ELSEWHERE * Math.max(...foci.map(Math.abs));
  if (elsewhere && steady.changing < SAME_MOMENT * vectorLength(steady)) return { by: 'smear', astigmatic: null };
  // A traceless second moment m on top of a round star's sigma^2 makes e = m/(2 sigma^2).
  const weighed = weighElongation(retrieval, table, guess, priors, 2 * (air?.distortion ?? 0));
  if (weighed === null) return null;
  const { logOdds, astigmatic } = weighed;
  if (logOdds < -OPEN) return { by: 'smear', astigmatic: null };
  const made = Math.max(...astigmaticOf(layout, astigmatic.parameters, draw).map(({ x, y }) => Math.hypot(x, y)));
  if (made < LEAST_MADE * longestOf(smooth.perFrame)) return null;
  if (logOdds > TOLD) return { by: 'astigmatism', logOdds, astigmatic };
  return between > toDefocus(telescopeFor(optics), APART_UM) && logOdds > OPEN
    ? { by: 'either', astigmatic: null }
    : null;
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
function astigmaticOf(layout: Layout, p: ArrayLike<number>, draw: DrawShape): Complex[] {
  return distortedBy(layout, p, draw, { a: { x: p[layout.astigmatism], y: p[layout.astigmatism + 1] } });
}

/** The same of uniform coma and trefoil. */
function comaticOf(layout: Layout, p: ArrayLike<number>, draw: DrawShape): Complex[] {
  return distortedBy(layout, p, draw, {
    c: { x: p[layout.coma], y: p[layout.coma + 1] },
    t: { x: p[layout.trefoil], y: p[layout.trefoil + 1] },
  });
}

function distortedBy(
  layout: Layout,
  p: ArrayLike<number>,
  draw: DrawShape,
  aberrations: Partial<Coefficients>,
): Complex[] {
  return Array.from({ length: layout.subs }, (_, f) => {
    const shape = draw(p[layout.seeing(f)], { ...NO_ABERRATION, d: p[layout.focus(f)], ...aberrations });
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
