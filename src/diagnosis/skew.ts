import { type UncertainVector, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { polar, subtract } from '../optics/complex.ts';
import { SKEW_TREFOIL } from '../retrieval/model.ts';

/**
 * A skewed smear (a jump part-way through the exposure, backlash, atmospheric dispersion) has an odd part as coma has.
 * Third cumulants tell them apart: a skew along phi has coma3 = k e^{i phi} together with trefoil3 = 0.94 k e^{3 i phi},
 * and makes stars long along phi; coma by itself has next to no spin-3 part.
 */
export interface SkewedSmear {
  /** Part of coma3 that is skewed smear, stored axes. */
  readonly coma3: { readonly x: number; readonly y: number };
  /** Radians, stored axes, towards the tail. */
  readonly direction: number;
}

/** trefoil3 over coma3 above which the odd part holds a skewed smear: coma's own stays below 0.25, skews lie at 0.77 to 0.95. */
const SKEW_RATIO = 0.4;
/** The same of a skew alone, a little wider than drawn. */
const ALONE = { least: 0.75, most: 1.05 } as const;
/** And what it leaves of the coma, as a share. */
const ALONE_REST = 0.2;
/** Beyond this the trefoil is too strong to come with the coma from one smear. */
const PINCH_RATIO = 1.4;
const BESIDE_COMA = { least: SKEW_RATIO, most: PINCH_RATIO } as const;
const SIGMAS = 5;
/**
 * The smear's long axis must lie within this of the skew, radians, and the coma within ALONG of it: three directions of a
 * triangle and two of an axis meet by chance within 15 degrees in every other star.
 */
const AXIS_MATCH = (15 * Math.PI) / 180;
const ALONG = Math.cos((40 * Math.PI) / 180);

/** Re(trefoil3 conj(u)^3)/|coma3|, u = coma3/|coma3|: signed, because gross coma makes a negative one. */
export function skewRatio(coma: UncertainVector, trefoil: UncertainVector): number | null {
  const length = vectorLength(coma);
  if (vectorSignificance(coma) < 3) return null;
  const angle = Math.atan2(trefoil.y, trefoil.x) - 3 * Math.atan2(coma.y, coma.x);
  return (vectorLength(trefoil) * Math.cos(angle)) / length;
}

/** Odd and even parts of the stars' shape, uniform over the field. */
export interface Parts {
  readonly coma: UncertainVector;
  readonly trefoil: UncertainVector;
  readonly distortion: UncertainVector;
}

/** What of trefoil and distortion this coma does not make by itself. */
export type Own = (parts: Parts) => Pick<Parts, 'trefoil' | 'distortion'>;

/**
 * The skewed smear in the uniform parts of coma3, trefoil3 and (e1, e2), or null where there is none to be seen. A strong skew that is
 * all there is must be asked for first: taken for gross coma it would be given its own elongation. So it is, if less, beside coma:
 * asked for last.
 */
export function findSkewedSmear(parts: Parts, own: Own): SkewedSmear | null {
  const { coma } = parts;
  const alone = skewIn(parts, ALONE);
  if (alone !== null && vectorLength(subtract(coma, alone.coma3)) < ALONE_REST * vectorLength(coma)) return alone;
  return skewIn({ coma, ...own(parts) }, BESIDE_COMA) ?? skewBesideComa(parts, own);
}

/** Tried so often, each time with what coma the last one left. */
const MOST_TRIES = 4;
/** Three directions are tried, so that one would match by chance so much the sooner: nearer than AXIS_MATCH, radians. */
const TRIED_MATCH = (8 * Math.PI) / 180;

/** The skew whose axis and trefoil hold together with what the coma that it leaves makes of both. */
function skewBesideComa(parts: Parts, own: Own): SkewedSmear | null {
  const k = vectorLength(parts.trefoil) / SKEW_TREFOIL;
  const third = Math.atan2(parts.trefoil.y, parts.trefoil.x) / 3;
  for (const turn of [0, 1, 2]) {
    const direction = third + (turn * 2 * Math.PI) / 3;
    let skew: SkewedSmear | null = { coma3: polar(k, direction), direction };
    for (let round = 0; round < MOST_TRIES && skew !== null; round++) {
      const rest = { ...parts.coma, ...subtract(parts.coma, skew.coma3) };
      const left = own({ ...parts, coma: rest });
      skew = skewIn({ coma: parts.coma, ...left }, { ...BESIDE_COMA, axis: TRIED_MATCH });
    }
    if (skew !== null && Math.cos(skew.direction - direction) > Math.cos(AXIS_MATCH)) return skew;
  }
  return null;
}

/** A sub whose coma and elongation stand this many sigma off the others' has something that is not the optics'. */
const APART_SIGMAS = 5;

const apart = (a: UncertainVector, b: UncertainVector): boolean =>
  Math.hypot(a.x - b.x, a.y - b.y) > APART_SIGMAS * Math.hypot(a.error, b.error);

export interface SubParts extends Parts {
  readonly frame: number;
}

function skewOfEach(subs: readonly SubParts[], own: Own): Map<number, SkewedSmear> {
  const found = new Map<number, SkewedSmear>();
  for (const sub of subs) {
    const skew = findSkewedSmear(sub, own) ?? skewBeside(sub, subs);
    if (skew !== null) found.set(sub.frame, skew);
  }
  return found;
}

/** Seeing and focus change what the optics make of one sub's stars to the next's by so much of itself. */
const ANSWER_SHARE = 0.2;
/** Where a strong trefoil of the mirror's answers so, the skew's own need not stand out: that coma and elongation change is enough. */
const BESIDE_SIGMAS = 1;

/**
 * The skew of one sub among three or more, beside what the optics make of all: a trefoil of the mirror's would hide it. Null where
 * the others do not agree.
 */
function skewBeside(sub: SubParts, subs: readonly SubParts[]): SkewedSmear | null {
  const others = subs.filter((other) => other !== sub);
  const [first] = others;
  if (others.length < 2 || others.some((a) => apart(a.coma, first.coma) || apart(a.distortion, first.distortion)))
    return null;
  const beyond = (pick: (s: SubParts) => UncertainVector): UncertainVector => {
    const mean = (of: (v: UncertainVector) => number): number =>
      others.reduce((sum, other) => sum + of(pick(other)), 0) / others.length;
    const own = pick(sub);
    const [x, y] = [mean((v) => v.x), mean((v) => v.y)];
    const error = Math.hypot(
      own.error,
      mean((v) => v.error),
      ANSWER_SHARE * Math.hypot(x, y),
    );
    return { x: own.x - x, y: own.y - y, error };
  };
  return skewIn(
    { coma: beyond((s) => s.coma), trefoil: beyond((s) => s.trefoil), distortion: beyond((s) => s.distortion) },
    { ...BESIDE_COMA, sigmas: BESIDE_SIGMAS },
  );
}

/**
 * Subs that are skewed while others are not: a jump in some. The optics are alike in all, so that only the others tell of them.
 * Empty where all subs are skewed, or none.
 */
export function skewedSubs(subs: readonly SubParts[], own: Own): Map<number, SkewedSmear> {
  const found = skewOfEach(subs, own);
  const steady = subs.filter(({ frame }) => !found.has(frame));
  for (const { frame, coma, distortion } of subs) {
    const changed = steady.every((other) => apart(coma, other.coma) && apart(distortion, other.distortion));
    if (found.has(frame) && !changed) found.delete(frame);
  }
  return found.size === subs.length ? new Map<number, SkewedSmear>() : found;
}

/**
 * The mean of the subs' skews where every sub has one, all the same way: at different foci one smear answers differently, and together
 * they may look like nothing. Null otherwise.
 */
export function skewOfAll(subs: readonly SubParts[], own: Own): SkewedSmear | null {
  const found = [...skewOfEach(subs, own).values()];
  if (found.length < subs.length) return null;
  const mean = (pick: (v: SkewedSmear['coma3']) => number): number =>
    found.reduce((sum, { coma3 }) => sum + pick(coma3), 0) / found.length;
  const coma3 = { x: mean(({ x }) => x), y: mean(({ y }) => y) };
  const direction = Math.atan2(coma3.y, coma3.x);
  const alike = found.every((one) => Math.cos(one.direction - direction) > Math.cos(AXIS_MATCH));
  return alike ? { coma3, direction } : null;
}

interface Asked {
  /** trefoil3 over coma3. */
  readonly least: number;
  readonly most: number;
  /** Of the trefoil. */
  readonly sigmas?: number;
  /** How near the smear's axis must be, radians. */
  readonly axis?: number;
}

function skewIn(
  { coma, trefoil, distortion }: Parts,
  { least, most, sigmas = SIGMAS, axis: match = AXIS_MATCH }: Asked,
): SkewedSmear | null {
  if (vectorSignificance(trefoil) < sigmas || vectorSignificance(coma) < SIGMAS) return null;
  if (vectorSignificance(distortion) < SIGMAS) return null;
  const ratio = vectorLength(trefoil) / vectorLength(coma);
  if (ratio < least || ratio > most) return null;
  const axis = axisOf(distortion);
  const third = Math.atan2(trefoil.y, trefoil.x) / 3;
  const tail = Math.atan2(coma.y, coma.x);
  const direction = [0, 1, 2]
    .map((k) => third + (k * 2 * Math.PI) / 3)
    .find((phi) => Math.abs(axialDifference(phi, axis)) < match && Math.cos(phi - tail) > ALONG);
  if (direction === undefined) return null;
  const k = vectorLength(trefoil) / SKEW_TREFOIL;
  return { coma3: polar(k, direction), direction };
}

/** A coma within this of the smear's long axis, radians, may be the jump's that made both. */
const TAIL_MATCH = (20 * Math.PI) / 180;
/** Within the first of these seldom by chance, within the second hardly ever. */
const SURE_MATCH = (6 * Math.PI) / 180;
const EXACT_MATCH = (2.5 * Math.PI) / 180;
/** So strong a trefoil beside it, as a share of the coma: coma's own is far less, and a skew's comes with it. */
const BESIDE_TREFOIL = 0.45;
/**
 * A smear so many times what the coma makes of (e1, e2) is one of its own; a jump's lies exactly along its coma, and there less tells
 * it. What coma makes, as well as obstruction, seeing and focus are known, lies there too: hardly ever as much again (drawn stars).
 */
const BESIDE_MADE = { sure: 2, exact: 1.2 } as const;

/**
 * Whether the coma may be a jump's although the signs of one are not all there, because the optics may make a trefoil of their own:
 * together they have any strength and direction. Several subs would tell, for no jump comes twice alike. Triangular stars are asked for
 * their elongation as measured, for a jump taken for coma would be given its own; others for what the coma leaves of it. `long`:
 * distortion from which stars are long.
 */
export function mayHoldJump(parts: Parts, own: Own, long: number): boolean {
  const { coma, trefoil, distortion } = parts;
  if (vectorSignificance(coma) < SIGMAS) return false;
  if (vectorLength(distortion) < long || vectorSignificance(distortion) < SIGMAS) return false;
  const triangular =
    vectorLength(trefoil) >= BESIDE_TREFOIL * vectorLength(coma) && vectorSignificance(trefoil) >= SIGMAS;
  if (triangular && liesAlong(coma, axisOf(distortion))) return true;
  const { distortion: left } = own(parts);
  const made = vectorLength(subtract(distortion, left));
  return (
    (vectorLength(left) > Math.max(long, BESIDE_MADE.sure * made) && liesAlong(coma, axisOf(left), SURE_MATCH)) ||
    (vectorLength(left) > Math.max(long, BESIDE_MADE.exact * made) && liesAlong(coma, axisOf(left), EXACT_MATCH))
  );
}

const axisOf = ({ x, y }: UncertainVector): number => 0.5 * Math.atan2(y, x);

/** Whether a coma may be a jump's by its direction; `axis` of the smear, radians. */
export const liesAlong = (coma: UncertainVector, axis: number, within = TAIL_MATCH): boolean =>
  Math.abs(axialDifference(Math.atan2(coma.y, coma.x), axis)) < within;

/** Difference of two axes, in (-pi/2, pi/2]. */
export function axialDifference(a: number, b: number): number {
  const d = (((a - b) % Math.PI) + Math.PI) % Math.PI;
  return d > Math.PI / 2 ? d - Math.PI : d;
}
