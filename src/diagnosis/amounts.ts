import { isSteady, type Persistent, persistentVector } from '../field/combine.ts';
import { type Field, persistentComa, type SmoothFields, withoutOdd } from '../field/fitField.ts';
import {
  type FrameStars,
  fieldPosition,
  halfDiagonal,
  type Place,
  type UncertainVector,
  vectorLength,
} from '../field/frameStars.ts';
import { fitSizeField, type SizeField } from '../field/sizeField.ts';
import { type ComaGain, fitComaField, MIN_FIELD_STARS } from '../field/spinFields.ts';
import { median } from '../numeric/statistics.ts';
import type { FilterName } from '../optics/filter.ts';
import { SIGMA_TO_FWHM } from '../shapes/shape.ts';
import { type Air, expectedAir } from './air.ts';
import { type AirSkew, airSkew, less, lessAir, toldAir } from './airSkew.ts';
import { bareBlur, comaFromNode, isBare, mmOf, nearNode, nodeAbout, nodeOf } from './bareMirror.ts';
import { NO_TURN, type Turn } from './comaBesideSmear.ts';
import { type Response, responseFor } from './response.ts';
import type { Retrieved } from './retrieved.ts';
import { type KnownOptics, knownOptics, nominalOptics, type Setup } from './setup.ts';
import { findSkewedSmear, mayHoldJump, type Own, type SkewedSmear, skewedSubs, skewOfAll, skewRatio } from './skew.ts';
import { distortionOf, ROUND_ELONGATION } from './tolerances.ts';

/** Everything the findings weigh, in pixels and, through the response, in micrometres; stored axes. */
export interface Amounts {
  readonly smooth: SmoothFields;
  /** Median of all stars, pixels. */
  readonly fwhm: number;
  readonly size: SizeField | null;
  /** Uniform coma3 less any skewed smear: what the optics did. */
  readonly coma: UncertainVector;
  /** What the stars' elongation does to its direction (comaBesideSmear.ts), which is not in `coma`; none until all is weighed. */
  readonly comaTurn: Turn;
  readonly skew: SkewedSmear | null;
  /** Subs skewed while others are not, by index: of coma and trefoil only the others tell. */
  readonly jumped: ReadonlyMap<number, SkewedSmear>;
  readonly skewRatio: number | null;
  /** The coma of the one sub may be a jump's, with or without a trefoil of the optics: no jump comes twice alike. */
  readonly perhapsJump: boolean;
  /** Uniform trefoil3 less any skewed smear's and what gross coma makes by itself. */
  readonly trefoil: UncertainVector;
  /** Uniform (e1, e2) less what coma makes by itself: smear, or astigmatism out of focus. */
  readonly smear: UncertainVector;
  /**
   * What the subs' own smears would make of stars of one width between theirs, coma's part taken off: a steady smear adds the same
   * second moment to stars at any focus, and makes the wider ones less long.
   */
  readonly steady: Persistent;
  /** What coma makes by itself of (e1, e2) in focus, the same in every sub. */
  readonly comaDistortion: { readonly x: number; readonly y: number };
  /** sigma_major sigma_minor of a typical star of each sub, px^2. */
  readonly sigma2: readonly number[];
  readonly response: Response | null;
  /** What the air alone should make of the stars; null where it is not known or nothing. */
  readonly air: Air | null;
  /** What it makes of coma3 and trefoil3, already taken off where its sense is told. */
  readonly airSkew: AirSkew | null;
  /** The telescope, or its stand-in when it is not known (`physical` false: nothing in micrometres is reported). */
  readonly optics: KnownOptics;
  readonly physical: boolean;
  /** W131 uniform over the field, um along the tail, with an interval for the defocus one frame cannot see. */
  readonly comaUm: {
    readonly value: number;
    readonly low: number;
    readonly high: number;
    readonly error: number;
  } | null;
  /** Half-diagonals to millimetres on the sensor. */
  readonly halfDiagonalMm: number;
  /**
   * The stars are skewed or spread by the air: no Gaussian smear, for which the whole-field fit would make up with focus and uniform
   * astigmatism. Known once that was made.
   */
  readonly smeared: boolean;
  /** The whole-field fit; null until it was made (the quick path), or where it could not be. */
  readonly retrieved: Retrieved | null;
  /** Position of the coma node, half-diagonals, for a bare mirror. */
  readonly node: { readonly u: number; readonly v: number; readonly error: number } | null;
}

/**
 * What drawn frames leave of coma3 and trefoil3, per component, when there is none and the noise is averaged away (neighbours
 * too faint to be left out, places of pixels, air): 6" of tilt at f/4 and 2.5".
 */
export const COMA_FLOOR = 0.0005;
const TREFOIL_FLOOR = 0.0007;

/** The same of (e1, e2): per component, and as a share of it (the light of a drawn-out star is no Gaussian). */
const DISTORTION_FLOOR = 0.0004;
const DISTORTION_SHARE = 0.01;
/** The same share of its radial part, whose stars are drawn out the most, Gaussians the least; a bare mirror's are comatic too. */
const RADIAL_SHARE = { corrected: 0.07, bare: 0.13 } as const;

export const withDistortionFloor = <T extends UncertainVector>(v: T): T => ({
  ...v,
  error: Math.hypot(v.error, DISTORTION_FLOOR, DISTORTION_SHARE * vectorLength(v)),
});

const withFloor = (v: UncertainVector, floor: number): UncertainVector => ({ ...v, error: Math.hypot(v.error, floor) });

export function measureAmounts(frames: readonly FrameStars[], field: Field, setup: Setup): Amounts | null {
  const first = amountsOf(frames, field, setup, new Map(), null);
  // A bare mirror's coma outweighs a jump's, and answers to focus.
  if (first === null || frames.length < 2 || first.optics.bare) return first;
  const { response } = first;
  const told = toldAir(first.airSkew);
  const subs = first.smooth.perFrame.map(({ frame, fields: { coma, trefoil, distortion } }) => ({
    frame,
    // The air's error is the same in all of them.
    coma: withFloor(less(coma.uniform, told?.coma3), COMA_FLOOR),
    trefoil: withFloor(less(trefoil.uniform, told?.trefoil3), TREFOIL_FLOOR),
    distortion: withDistortionFloor(distortion.uniform),
  }));
  const own = ownBeside((coma) => (response === null ? NOTHING : madeByComa(coma, response)));
  const jumped = skewedSubs(subs, own);
  // Coma beside strong astigmatism looks skewed as well, but astigmatism goes with the focus.
  const alike = first.skew === null && told === null && isSteady(first.steady) ? skewOfAll(subs, own) : null;
  return jumped.size === 0 && alike === null ? first : amountsOf(frames, field, setup, jumped, alike);
}

function amountsOf(
  frames: readonly FrameStars[],
  field: Field,
  setup: Setup,
  jumped: Amounts['jumped'],
  alike: SkewedSmear | null,
): Amounts | null {
  if (field.smooth === null || field.fwhm === null) return null;
  const smooth = jumped.size === 0 ? field.smooth : withoutOdd(field.smooth, (frame) => jumped.has(frame));
  const half = halfDiagonal(setup);
  const filter = filterName(setup.filter, setup.mosaic);
  const coma: UncertainVector = withFloor(smooth.coma.uniform, COMA_FLOOR);
  const bare = isBare(setup, smooth, field.fwhm, half, filter);
  const known = knownOptics(setup, bare);
  const { fwhm } = field;
  const optics = known ?? { ...nominalOptics(fwhm), bare };
  const responseTo = (c: UncertainVector, t: UncertainVector): Response | null => {
    // The typical star of a bare mirror stands away from the node.
    const coma3 = bare ? typicalComa(frames, smooth.coma) : vectorLength(c);
    const observed = { fwhm, coma3, trefoil3: vectorLength(t) };
    return responseFor(optics, filter, observed) ?? responseFor({ ...nominalOptics(fwhm), bare }, filter, observed);
  };
  const ownOf = (c: UncertainVector, response: Response | null): MadeByComa =>
    bare || response === null ? NOTHING : madeByComa(c, response);
  const allTrefoil = withFloor(smooth.trefoil.uniform, TREFOIL_FLOOR);
  const unskewed = responseTo(coma, allTrefoil);
  const parts = { coma, trefoil: allTrefoil, distortion: smooth.distortion.uniform };
  const ownParts = ownBeside((c) => ownOf(c, unskewed));
  const air = known === null || unskewed === null ? null : expectedAir(known, filter, unskewed.seeingArcsec, setup);
  // Those that jumped tell of no coma and trefoil here, but stand in the mean elongation.
  const still = smooth.perFrame
    .filter(({ frame }) => !jumped.has(frame))
    .map(({ fields }) => fields.distortion.uniform);
  const spread = jumped.size === 0 ? parts : { ...parts, distortion: persistentVector(still) };
  // A bare mirror's stars about the node are comatic and answer to the air by their coma (refined.ts).
  const ofAir = bare || alike !== null ? untold(air) : airSkew({ coma, ...ownParts(spread) }, air);
  const told = toldAir(ofAir);
  const rest = { ...parts, coma: lessAir(coma, told?.coma3), trefoil: lessAir(allTrefoil, told?.trefoil3) };
  const skew = alike ?? findSkewedSmear(rest, ownParts);
  const cleanComa = skew === null ? lessAir(coma, ofAir?.coma3) : withoutSmear(rest.coma, skew);
  const trefoil: UncertainVector = skew === null ? lessAir(allTrefoil, ofAir?.trefoil3) : { ...allTrefoil, x: 0, y: 0 };
  const response = skew === null ? unskewed : responseTo(cleanComa, trefoil);
  const ownBlur = bare && known !== null && response !== null ? bareBlur(known, half, response) : null;
  const linear = smooth.coma.linear.value;
  const size = fitSizeField(
    bare && response !== null ? nearNode(frames, smooth.coma, response, known, half) : frames,
    (_frame, u, v) => {
      if (response === null) return 0;
      const c = Math.hypot(cleanComa.x + linear * u, cleanComa.y + linear * v);
      const astigmatic = ownBlur === null ? 0 : ownBlur(Math.hypot(u + cleanComa.x / linear, v + cleanComa.y / linear));
      return response.comaBlurPx(response.comaUm(c)) ** 2 + astigmatic ** 2;
    },
    ownBlur === null ? null : ownBlur(1),
  );
  const { uniform, radial } = smooth.distortion;
  const radialShare = RADIAL_SHARE[bare ? 'bare' : 'corrected'];
  const distortion = {
    ...smooth.distortion,
    uniform: withDistortionFloor(uniform),
    radial: { ...radial, error: Math.hypot(radial.error, DISTORTION_FLOOR, radialShare * radial.value) },
  };
  // A skewed smear answers to no focus: with one in the stars the coma stays as it is.
  const gain = skew === null && response !== null && size !== null ? levelGain(size, response, bare) : null;
  const comaAbout = (place?: Place): SmoothFields['coma'] | null => {
    const fields = frames.flatMap((frame, f) =>
      frame.shapes.length < MIN_FIELD_STARS || jumped.has(f) ? [] : (fitComaField(frame, gain?.(f), place) ?? []),
    );
    return fields.length === 0 ? null : persistentComa(fields);
  };
  const level = gain === null ? null : comaAbout();
  const settledComa = level === null ? cleanComa : lessAir(withFloor(level.uniform, COMA_FLOOR), ofAir?.coma3);
  const own = ownOf(settledComa, response);
  const seenNode = bare ? nodeOf(settledComa, level ?? smooth.coma) : null;
  // Of a skewed smear's part in the coma only the sum over the field is known.
  const node = seenNode === null || skew !== null ? seenNode : nodeAbout(seenNode, settledComa.error, comaAbout);
  const halfDiagonalMm = mmOf(half, optics);
  const sigma2 = frames.map(typicalSigma2);
  const steady = steadySmear(
    sigma2,
    smooth.perFrame.map(({ frame, fields }) => ({
      frame,
      distortion: without(fields.distortion.uniform, own.distortion),
    })),
  );
  return {
    smooth: level === null ? { ...smooth, distortion } : { ...smooth, distortion, coma: level },
    fwhm: field.fwhm,
    size,
    coma: node === null || node === seenNode ? settledComa : awayFrom(node, settledComa),
    comaTurn: NO_TURN,
    skew,
    jumped,
    skewRatio: skewRatio(coma, smooth.trefoil.uniform),
    perhapsJump:
      skew === null &&
      !bare &&
      smooth.perFrame.length < 2 &&
      mayHoldJump(rest, ownParts, distortionOf(ROUND_ELONGATION)),
    trefoil: without(trefoil, own.trefoil3),
    smear: isSteady(steady) ? withDistortionFloor(steady) : without(distortion.uniform, own.distortion),
    steady,
    comaDistortion: own.distortion,
    sigma2,
    response,
    air,
    airSkew: ofAir,
    optics,
    physical: known !== null && response !== null,
    comaUm:
      node !== null
        ? comaFromNode(node, halfDiagonalMm, optics)
        : response === null
          ? null
          : comaInterval(noiseFreeLength(settledComa), settledComa.error, response),
    halfDiagonalMm,
    smeared: false,
    retrieved: null,
    node,
  };
}

/** sigma_major sigma_minor of a typical star, px^2; 0 without stars. */
export const typicalSigma2 = ({ shapes }: FrameStars): number =>
  shapes.length === 0 ? 0 : median(shapes.map((s) => s.sigmaMajor * s.sigmaMinor));

/** Pixels: FWHM of the stars of one of the subs, and of those, between all subs', for which `smear` and `steady` are told. */
export const widthOf = ({ sigma2 }: Amounts, frame: number): number => SIGMA_TO_FWHM * Math.sqrt(sigma2[frame]);
export const smearWidth = ({ sigma2, smooth }: Amounts): number =>
  SIGMA_TO_FWHM * Math.sqrt(median(smooth.perFrame.map(({ frame }) => sigma2[frame])));

/** See `Amounts.steady`; of one sub what it has. `subs`: what coma does not make of their distortion. */
export function steadySmear(
  sigma2: Amounts['sigma2'],
  subs: readonly { readonly frame: number; readonly distortion: UncertainVector }[],
): Persistent {
  const typical = median(subs.map(({ frame }) => sigma2[frame]));
  return persistentVector(
    subs.map(({ frame, distortion: own }) => {
      const length = Math.min(0.97, vectorLength(own));
      // Second moments A(1 +- e): A^2 (1 - e^2) = sigma^4, and A e is the smear's.
      const moment = (sigma2[frame] * length) / (typical * Math.sqrt(1 - length ** 2));
      const factor = length === 0 ? 1 : moment / Math.sqrt(1 + moment ** 2) / length;
      return { x: factor * own.x, y: factor * own.y, error: factor * own.error };
    }),
  );
}

function typicalComa(frames: readonly FrameStars[], { uniform, linear, cubic }: SmoothFields['coma']): number {
  return median(
    frames.flatMap((frame) =>
      frame.shapes.map((s) => {
        const { u, v } = fieldPosition(frame, s.x, s.y);
        const slope = linear.value + cubic * (u * u + v * v);
        return Math.hypot(uniform.x + slope * u, uniform.y + slope * v);
      }),
    ),
  );
}

/** The defocus over the field is told from seeing only where it varies this surely. */
const LEVEL_SIGMAS = 5;
/** And, beside a bare mirror's coma, where the tilt is so many times its error: less of it levels the wrong way as often. */
const LEVEL_ERRORS = 2;

/** By sub: what brings each star's answer to that in focus, where the widths show how far from it the star stands; else null. */
function levelGain(
  { tilt, curvature, centre, tiltSignificance, curvatureSignificance }: SizeField,
  response: Response,
  bare: boolean,
): ((frame: number) => ComaGain) | null {
  if (Math.max(tiltSignificance, curvatureSignificance) < LEVEL_SIGMAS) return null;
  if (bare && Math.hypot(tilt.x, tilt.y) < LEVEL_ERRORS * tilt.error) return null;
  return (f) => (u, v) => {
    const blur = centre[f] + tilt.x * u + tilt.y * v + curvature.value * (u * u + v * v);
    return response.comaGain(response.defocusUm(Math.abs(blur)));
  };
}

/** The coma in the middle turned to point away from a bare mirror's node: that is found from all stars. */
function awayFrom({ u, v }: Place, coma: UncertainVector): UncertainVector {
  const way = Math.hypot(u, v);
  const share = way === 0 ? 0 : vectorLength(coma) / way;
  return share === 0 ? coma : { ...coma, x: -share * u, y: -share * v };
}

/** How well the removed skew is known, as a share. */
export const SKEW_ERROR = 0.1;

/** The air's part where nothing tells its sense. */
const untold = (air: Air | null): AirSkew | null => airSkew({ coma: UNSEEN, trefoil: UNSEEN, distortion: UNSEEN }, air);
const UNSEEN: UncertainVector = { x: 0, y: 0, error: 0 };

/** Coma less the skewed smear. */
function withoutSmear(coma: UncertainVector, skew: SkewedSmear): UncertainVector {
  const { x, y } = skew.coma3;
  return {
    x: coma.x - x,
    y: coma.y - y,
    error: Math.hypot(coma.error * Math.SQRT2, SKEW_ERROR * Math.hypot(x, y)),
  };
}

interface MadeByComa {
  readonly trefoil3: { readonly x: number; readonly y: number };
  readonly distortion: { readonly x: number; readonly y: number };
}

const ownBeside =
  (made: (coma: UncertainVector) => MadeByComa): Own =>
  ({ coma, trefoil, distortion }) => {
    const { trefoil3, distortion: long } = made(coma);
    return { trefoil: without(trefoil, trefoil3), distortion: without(distortion, long) };
  };

const NOTHING: MadeByComa = { trefoil3: { x: 0, y: 0 }, distortion: { x: 0, y: 0 } };
/** How well the coma's own elongation and trefoil are known, as a share: the amount of coma is an interval. */
const OWN_ERROR = 0.3;

/** A comatic star is a little long and a little triangular: that is not tracking and not a pinched mirror. */
function madeByComa(coma: UncertainVector, response: Response): MadeByComa {
  const um = response.comaUm(vectorLength(coma));
  const phi = Math.atan2(coma.y, coma.x);
  const turned = (length: number, spin: number): { x: number; y: number } => ({
    x: length * Math.cos(spin * phi),
    y: length * Math.sin(spin * phi),
  });
  return { trefoil3: turned(response.comaTrefoil3(um), 3), distortion: turned(response.comaDistortion(um), 2) };
}

/** The vector less a part that the coma makes, whose own uncertainty, a share of it, is added. */
export function without(
  vector: UncertainVector,
  part: { readonly x: number; readonly y: number },
  share = OWN_ERROR,
): UncertainVector {
  return {
    x: vector.x - part.x,
    y: vector.y - part.y,
    error: Math.hypot(vector.error, share * Math.hypot(part.x, part.y)),
  };
}

/** Noise across makes a vector longer: its variance is taken off, so that nothing is not told as something. */
const noiseFreeLength = (v: UncertainVector): number => Math.sqrt(Math.max(0, vectorLength(v) ** 2 - v.error ** 2));

/**
 * One focus cannot tell uniform defocus from seeing, and the coma answers to both: from "in focus" to half the critical focus
 * zone off the same shape means about half the coma. The value stands between; the interval holds both.
 */
export function comaInterval(length: number, error: number, response: Response): NonNullable<Amounts['comaUm']> {
  const focused = response.comaUm(length);
  const defocused = Math.min(focused, response.comaUmDefocused(length));
  const statistical = response.comaUm(length + error) - focused;
  // Imagers focus: three in four subs lie nearer to focus than halfway to the far end.
  const value = focused - 0.25 * (focused - defocused);
  const low = focused - 0.75 * (focused - defocused);
  return {
    value,
    low: Math.max(0, low - statistical),
    high: focused + statistical,
    error: Math.max(statistical, (focused - low) / 2),
  };
}

const FILTERS: readonly (readonly [RegExp, FilterName])[] = [
  [/^(h-?a|ha|halpha|h_alpha|s-?ii|sii|s2|o-?iii|oiii|o3|n-?ii|nii)\b/i, 'Ha'],
  [/^(lum|l\b|clear|uv)/i, 'L'],
  [/^(r\b|red)/i, 'R'],
  [/^(g\b|green)/i, 'G'],
  [/^(b\b|blue)/i, 'B'],
  [/^(none|no filter|open)/i, 'none'],
];

/** The pass band a header's FILTER stands for; luminance where it says nothing known. */
export function filterName(filter: string | null, mosaic: boolean): FilterName {
  if (mosaic) return 'mosaic-green';
  return FILTERS.find(([pattern]) => pattern.test(filter?.trim() ?? ''))?.[1] ?? 'L';
}
