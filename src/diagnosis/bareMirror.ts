import type { SmoothFields } from '../field/fitField.ts';
import {
  type FrameStars,
  fieldPosition,
  type Place,
  type Uncertain,
  type UncertainVector,
  vectorLength,
} from '../field/frameStars.ts';
import type { FilterName } from '../optics/filter.ts';
import type { Amounts } from './amounts.ts';
import { DETECT_SIGMAS } from './finding.ts';
import { type Response, responseFor } from './response.ts';
import type { Retrieved } from './retrieved.ts';
import { type KnownOptics, knownOptics, nominalOptics, type Setup } from './setup.ts';

/** A bare paraboloid's linear coma is at least this many sigma from none. */
const BARE_SIGMAS = 8;
/** A bare mirror's node, half-diagonals from the centre: farther is a degree and more of tilt. */
const FARTHEST_NODE = 3;
/**
 * Share of a paraboloid's linear coma above which there is no corrector: one leaves 0.02 to 0.1, seen as up to 0.5 far out of
 * focus; bare mirrors show 1.0 and more (drawn frames).
 */
const BARE_SHARE = 0.75;
/** W131, um, small enough to be answered in proportion. */
const SMALL_UM = 0.1;

/** Told by the user, else by the coma itself: a bare paraboloid's grows with the distance from its axis. */
export function isBare(setup: Setup, smooth: SmoothFields, fwhm: number, half: number, filter: FilterName): boolean {
  if (setup.corrector.value.present !== 'unknown') return !setup.corrector.value.present;
  const { value } = smooth.coma.linear;
  // By each sub's own error: at another focus the same coma is answered otherwise, and that scatter is no doubt of it.
  const seen = smooth.perFrame.every(({ fields: { coma } }) => coma.linear.value > DETECT_SIGMAS * coma.linear.error);
  if (!seen) return false;
  // A node far outside the frame is no node: gross uniform coma answers a little differently over the field.
  if (vectorLength(smooth.coma.uniform) > FARTHEST_NODE * value) return false;
  const optics = knownOptics(setup, true) ?? nominalOptics(fwhm);
  const response = responseFor(optics, filter, { fwhm, coma3: 0, trefoil3: 0 });
  if (response === null) return false;
  const expectedUm = umPerHalfDiagonal(optics, mmOf(half, optics));
  const foundUm = (value * SMALL_UM) / response.coma3(SMALL_UM);
  // The coma of the edge widens the stars, so that they seem to answer less than they do: the more of it, the more it seems.
  return foundUm > BARE_SHARE * expectedUm * Math.max(1, expectedUm / 2);
}

/**
 * W131, um, up to which what coma adds to a width is known well enough to be taken off; a little less well up to the farther ones,
 * which are looked at where there are too few stars.
 */
const NEAR_UM = [1, 1.15, 1.3] as const;
export const MOST_COMA_UM = NEAR_UM[NEAR_UM.length - 1];
/** Stars of every sub that are wanted. */
const WANTED_STARS = 24;

/** So many pixels in millimetres on the sensor. */
export const mmOf = (px: number, { pixelUm }: KnownOptics): number => (px * pixelUm) / 1000;

/** W131 of a paraboloid half a diagonal from its axis, um: c = h/(32 N^3). */
const umPerHalfDiagonal = ({ primaryFocalLengthMm, apertureMm }: KnownOptics, halfDiagonalMm: number): number =>
  (1000 * halfDiagonalMm) / (32 * (primaryFocalLengthMm / apertureMm) ** 3);

/**
 * The stars of a bare mirror whose widths still tell of focus: farther from the node coma drowns it. Out of focus stars answer more
 * to the same coma than the response in focus says: where the paraboloid is known and its coma seen to grow with the distance from
 * the node, that is the measure.
 */
export function nearNode(
  frames: readonly FrameStars[],
  { uniform, linear }: SmoothFields['coma'],
  response: Response,
  known: KnownOptics | null,
  half: number,
): readonly FrameStars[] {
  const comaOf = (frame: FrameStars, s: { readonly x: number; readonly y: number }): number => {
    const { u, v } = fieldPosition(frame, s.x, s.y);
    return Math.hypot(uniform.x + linear.value * u, uniform.y + linear.value * v);
  };
  const measured = known !== null && linear.value > DETECT_SIGMAS * linear.error;
  const within = NEAR_UM.map((um) => {
    const most = measured ? (um * linear.value) / umPerHalfDiagonal(known, mmOf(half, known)) : response.coma3(um);
    return frames.map((frame) => ({ ...frame, shapes: frame.shapes.filter((s) => comaOf(frame, s) < most) }));
  });
  return within.find((some) => some.every(({ shapes }) => shapes.length >= WANTED_STARS)) ?? within[within.length - 1];
}

/**
 * Blur, pixels, that a bare paraboloid's astigmatism makes so many half-diagonals from its axis, and its curvature from the
 * middle: a = d = B h^2 with B = 1/(16 N^2 f), and both widen alike (third-order theory, ray-traced in the tests of optics).
 */
export function bareBlur(optics: KnownOptics, half: number, response: Response): (halfDiagonals: number) => number {
  const ratio = optics.primaryFocalLengthMm / optics.apertureMm;
  const mm = mmOf(half, optics);
  // B h^2 um of wavefront is as much as 8 N^2 times that along the axis.
  const umAtOne = (8 * ratio ** 2 * 1000 * mm ** 2) / (16 * ratio ** 2 * optics.primaryFocalLengthMm);
  return (h) => response.blurPx(umAtOne * h * h);
}

/** How well the way to the node is known beside the noise, as a share: astigmatism and focus bend the answer to coma. */
const NODE_SHARE = 0.07;
/** Steps towards the place where the coma vanishes. */
const NODE_ROUNDS = 20;

/** The node is where coma3 = uniform + linear z + cubic z |z|^2 vanishes: on the line of the uniform coma. */
export function nodeOf(
  uniform: UncertainVector,
  { linear, cubic }: SmoothFields['coma'],
): { u: number; v: number; error: number } | null {
  if (Math.abs(linear.value) < BARE_SIGMAS * linear.error) return null;
  const length = vectorLength(uniform);
  if (length === 0) return { u: 0, v: 0, error: uniform.error / Math.abs(linear.value) };
  // s along the uniform coma: length + linear s + cubic s^3 = 0, from the linear answer.
  let s = -length / linear.value;
  for (let round = 0; round < NODE_ROUNDS; round++) {
    const slope = linear.value + 3 * cubic * s * s;
    // Beyond the bend the cubic means nothing.
    if (slope * linear.value <= 0.1 * linear.value ** 2) return plainNode(uniform, linear);
    s -= (length + linear.value * s + cubic * s ** 3) / slope;
  }
  if (!Number.isFinite(s) || Math.abs(s) > 1) return plainNode(uniform, linear);
  const slope = Math.abs(linear.value + cubic * s * s);
  return {
    u: (s * uniform.x) / length,
    v: (s * uniform.y) / length,
    error: Math.hypot(uniform.error / slope, (s * linear.error) / slope, NODE_SHARE * s),
  };
}

/** Rounds of fitting the coma about its node, half-diagonals that the node may move by it. */
const ABOUT_ROUNDS = 3;
const FARTHEST_MOVE = 0.5;

/**
 * The node found anew about itself: with its amount the answer to coma bends, about the node and not about the middle of the frame.
 * `comaAbout`: the coma field about a place; `comaError`: of the uniform coma, coma3. Half-diagonals; as it was where that fails.
 */
export function nodeAbout(
  first: NonNullable<Amounts['node']>,
  comaError: number,
  comaAbout: (place: Place) => SmoothFields['coma'] | null,
): NonNullable<Amounts['node']> {
  let node = first;
  let step = 0;
  for (let round = 0; round < ABOUT_ROUNDS; round++) {
    const field = comaAbout(node);
    if (field === null || field.linear.value < BARE_SIGMAS * field.linear.error) return first;
    const { uniform, linear } = field;
    const u = node.u - uniform.x / linear.value;
    const v = node.v - uniform.y / linear.value;
    step = Math.hypot(uniform.x, uniform.y) / linear.value;
    const way = Math.hypot(u, v);
    // Far out it stands beyond the stars that tell it.
    const noise = Math.max(comaError, uniform.error) / linear.value;
    node = { u, v, error: Math.hypot(noise, (way * linear.error) / linear.value, NODE_SHARE * way) };
  }
  const moved = Math.hypot(node.u - first.u, node.v - first.v);
  return moved < FARTHEST_MOVE && step < node.error ? node : first;
}

function plainNode(uniform: UncertainVector, linear: Uncertain): { u: number; v: number; error: number } {
  const u = -uniform.x / linear.value;
  const v = -uniform.y / linear.value;
  const way = Math.hypot(u, v);
  const slope = Math.abs(linear.value);
  return { u, v, error: Math.hypot(uniform.error / slope, (way * linear.error) / slope, NODE_SHARE * way) };
}

/** How well the drawn stars' answer to coma is known, as a share of the way to the node; and what stays of it there, um (drawn stars). */
const FITTED_NODE_SHARE = 0.02;
const FITTED_NODE_UM = 0.003;
/**
 * Nodes found scatter about the drawn ones by so much of what the fit says (drawn bare mirrors, in and out of focus, near and far nodes:
 * 0.8 on one set of 47, 1 on two of 50).
 */
const FITTED_NODE_SCATTER = 0.9;

/** The same from the whole-field fit, in whose wavefront the coma is straight; `hiddenUm`: coma that the air may have made. */
export function nodeFromFit({ coma, linearComaUm }: Retrieved, hiddenUm: number): NonNullable<Amounts['node']> {
  const u = -coma.x / linearComaUm.value;
  const v = -coma.y / linearComaUm.value;
  const way = Math.hypot(u, v);
  const slope = Math.abs(linearComaUm.value);
  return {
    u,
    v,
    error: Math.hypot(
      (FITTED_NODE_SCATTER * coma.error) / slope,
      FITTED_NODE_UM / slope,
      hiddenUm / slope,
      (way * linearComaUm.error) / slope,
      FITTED_NODE_SHARE * way,
    ),
  };
}

/** W131 along the tail in the middle of the frame, um: it points away from the node. */
export function comaVectorFromNode(
  { u, v, error }: { readonly u: number; readonly v: number; readonly error: number },
  halfDiagonalMm: number,
  optics: KnownOptics,
): UncertainVector {
  const umPerUnit = umPerHalfDiagonal(optics, halfDiagonalMm);
  return { x: -u * umPerUnit, y: -v * umPerUnit, error: error * umPerUnit };
}

/** A bare paraboloid's coma is a ruler of its own: c = h/(32 N^3) with h the way to the node, whatever the seeing. */
export function comaFromNode(
  node: { readonly u: number; readonly v: number; readonly error: number },
  halfDiagonalMm: number,
  optics: KnownOptics,
): NonNullable<Amounts['comaUm']> {
  const vector = comaVectorFromNode(node, halfDiagonalMm, optics);
  const { error } = vector;
  const value = vectorLength(vector);
  return { value, low: Math.max(0, value - error), high: value + error, error };
}
