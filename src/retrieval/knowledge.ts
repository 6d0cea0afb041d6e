import type { Complex } from '../optics/complex.ts';
import type { ResponseTable } from '../optics/response.ts';
import type { Layout } from './layout.ts';
import type { FieldPlace } from './model.ts';
import type { Bounds, Prior } from './problem.ts';

/** What is roughly known before the fit; wavefront coefficients in um, places in half-diagonals. */
export interface RetrievalGuess {
  /** Arcseconds, one a sub. */
  readonly seeing: readonly number[];
  /** d at the centre, one a sub, signs relative to tilt and curvature. */
  readonly focus: readonly number[];
  readonly tilt: { readonly x: number; readonly y: number };
  readonly curvature: number;
  readonly coma: { readonly x: number; readonly y: number };
  readonly trefoil: { readonly x: number; readonly y: number };
  /** coma3 of the skewed smear of each sub, null where it has none; null where no sub has. */
  readonly skew: readonly ({ readonly x: number; readonly y: number } | null)[] | null;
  /** How far from its direction each may stand, 1 sigma, as a share of it; any way where it is not told. */
  readonly skewAcross?: number;
}

export interface Expected {
  readonly value: number;
  readonly sigma: number;
}

/** Smear of the stars as a share of their own second moment, per component: of a sub, and by how much it differs between subs. */
export interface SmearPrior {
  readonly mean: number;
  readonly scatter: number;
}

/** Weak knowledge that keeps apart what the stars alone cannot; all 1 sigma. */
export interface RetrievalPriors {
  /** Focus error of an imager who focuses, um of d. */
  readonly focus: number;
  /** Astigmatism of a telescope in use, um of each coefficient; `uniform`: of that which is alike all over the field. */
  readonly astigmatism: number;
  readonly uniform: number;
  readonly smear: SmearPrior;
  /** Of c growing over the field, um a half-diagonal: nothing give or take what a corrector leaves, or a bare mirror's own. */
  readonly linearComa: Expected;
  /** A bare mirror's own radial astigmatism and curvature, um at the half-diagonal: they also tell the side of focus. */
  readonly bare: { readonly radialAstigmatism: Expected; readonly curvature: Expected } | null;
  /** A component of what an offset shadow makes of coma3, times arcsec^2 (`shadowRise`). */
  readonly shadow: number;
  /** Subs whose focuser stood alike as the first of each pair; um of d. */
  readonly sameFocus: readonly (readonly [number, number])[];
}

/** Seeing changes so much from sub to sub (share, 1 sigma; common practice, no source). */
const SEEING_SCATTER = 0.1;
/** And its smear: astigmatism, that turns through focus, is not taken for it. */
export const ANY_SMEAR: SmearPrior = { mean: 2, scatter: 0.2 };
/** Focus differs so much between subs with the same focuser reading, um of d at any focal ratio: a tenth of a wave. */
const SAME_FOCUS_UM = 0.05;
/** a over d at the corner that a corrector at the wrong distance makes (ray-traced designs: about half). */
export const SPACING_ASTIGMATISM = 0.5;
const WIDE_UM = 3;
const LEAST_REACH = 0.3;
/** The shadow may be off so many times what is usual. */
const MOST_SHADOW = 10;
/** coma3 of a skewed smear, per component: of a sub that has one, and of one in which none was seen beside others that have. */
const SKEW = { seen: 0.3, unseen: 0.0005 } as const;

const one = (index: number, sigma: number, value = 0): Prior => ({ terms: [{ index, factor: 1 }], value, sigma });

const pair = (index: number, sigma: number): Prior[] => [one(index, sigma), one(index + 1, sigma)];

const expected = (index: number, { value, sigma }: Expected): Prior => one(index, sigma, value);

/** Everything that is known beforehand, as rows of the problem; `sigma2` of a typical star. */
export function priorsOf(layout: Layout, guess: RetrievalGuess, priors: RetrievalPriors, sigma2: number): Prior[] {
  const { subs } = layout;
  /** Each sub's number less the mean of all that are named. */
  const fromMean = (f: number, among: readonly number[], index: (sub: number) => number, sigma: number): Prior => ({
    terms: among.map((g) => ({ index: index(g), factor: (g === f ? 1 : 0) - 1 / among.length })),
    value: 0,
    sigma,
  });
  const all = Array.from({ length: subs }, (_, f) => f);
  const jumped = (f: number): boolean => guess.skew?.[f] != null && guess.skew.includes(null);
  const steady = all.filter((f) => !jumped(f));
  const seeing = guess.seeing.reduce((a, b) => a + b, 0) / subs;
  const subRows = all.flatMap((f) => {
    const alike: Prior[] =
      subs < 2
        ? []
        : [
            fromMean(f, all, layout.seeing, SEEING_SCATTER * seeing),
            // Subs of one set stand on the same side of focus, where nothing else tells.
            fromMean(f, all, layout.focus, Math.max(priors.focus, Math.abs(guess.focus[f]))),
          ];
    if (steady.length > 1 && !jumped(f))
      alike.push(
        fromMean(f, steady, layout.smear, priors.smear.scatter * sigma2),
        fromMean(f, steady, (g) => layout.smear(g) + 1, priors.smear.scatter * sigma2),
      );
    const smear = layout.smear(f);
    const skew = layout.skew(f);
    return [
      ...alike,
      // Subs told apart by their focus may stand anywhere; the nearest ones are an imager's focus.
      one(layout.focus(f), Math.max(priors.focus, 0.7 * Math.abs(guess.focus[f]))),
      ...pair(smear, (jumped(f) ? ANY_SMEAR : priors.smear).mean * sigma2),
      ...(skew < 0 ? [] : skewRows(skew, guess.skew?.[f] ?? null, guess.skewAcross)),
    ];
  });
  const same = priors.sameFocus.map(
    ([f, g]): Prior => ({
      terms: [
        { index: layout.focus(f), factor: 1 },
        { index: layout.focus(g), factor: -1 },
      ],
      value: 0,
      sigma: SAME_FOCUS_UM,
    }),
  );
  return [
    ...subRows,
    ...same,
    ...pair(layout.tilt, WIDE_UM),
    priors.bare === null ? one(layout.curvature, WIDE_UM) : expected(layout.curvature, priors.bare.curvature),
    ...pair(layout.astigmatism, priors.uniform),
    ...pair(layout.linearAstigmatism, priors.astigmatism),
    priors.bare === null
      ? one(layout.radialAstigmatism, Math.max(priors.astigmatism, SPACING_ASTIGMATISM * Math.abs(guess.curvature)))
      : expected(layout.radialAstigmatism, priors.bare.radialAstigmatism),
    ...pair(layout.coma, WIDE_UM),
    expected(layout.linearComa, priors.linearComa),
    ...pair(layout.trefoil, WIDE_UM),
    ...pair(layout.shadow, priors.shadow),
  ];
}

function skewRows(index: number, seen: Complex | null, across: number | undefined): Prior[] {
  if (seen === null) return pair(index, SKEW.unseen);
  if (across === undefined) return pair(index, SKEW.seen);
  const length = Math.hypot(seen.x, seen.y);
  const [cos, sin] = [seen.x / length, seen.y / length];
  const row = (x: number, y: number, sigma: number): Prior => ({
    terms: [
      { index, factor: x },
      { index: index + 1, factor: y },
    ],
    value: 0,
    sigma,
  });
  return [row(cos, sin, SKEW.seen), row(-sin, cos, Math.max(SKEW.unseen, across * length))];
}

/** How far from the middle the cells reach, half-diagonals: what grows over the field is told by its amount there. */
export const reachOf = (cells: readonly FieldPlace[]): number =>
  cells.reduce((top, { u, v }) => Math.max(top, Math.hypot(u, v)), LEAST_REACH);

/** How far each number may go: what the table holds where the stars are. */
export function boundsOf(
  layout: Layout,
  table: Pick<ResponseTable, 'range' | 'defocusLimit'>,
  { bare, linearComa, shadow }: RetrievalPriors,
  reach: number,
): Bounds {
  const { limits, seeingArcsec } = table.range;
  const upper = new Array<number>(layout.length).fill(0);
  const lower = new Array<number>(layout.length).fill(0);
  const set = (index: number, count: number, limit: number): void => {
    for (let k = 0; k < count; k++) {
      upper[index + k] = limit;
      lower[index + k] = -limit;
    }
  };
  const d = table.defocusLimit;
  for (let f = 0; f < layout.subs; f++) {
    lower[layout.seeing(f)] = seeingArcsec.from;
    upper[layout.seeing(f)] = seeingArcsec.to;
    set(layout.focus(f), 1, d);
    set(layout.smear(f), 2, 40);
    if (layout.skew(f) >= 0) set(layout.skew(f), 2, 1);
  }
  // From one end of the table's focus to the other.
  set(layout.tilt, 2, (2 * d) / reach);
  set(layout.curvature, 1, (2 * d) / reach ** 2);
  set(layout.astigmatism, 2, limits.a);
  // A bare mirror's own grows beyond the table where its stars are no longer looked at.
  const radial = 2 * Math.abs(bare?.radialAstigmatism.value ?? 0);
  set(layout.linearAstigmatism, 2, Math.max(limits.a / reach, radial));
  set(layout.radialAstigmatism, 1, Math.max(limits.a / reach ** 2, radial));
  set(layout.coma, 2, Math.max(limits.c, Math.abs(linearComa.value)));
  set(layout.linearComa, 1, Math.max(limits.c, 1.3 * Math.abs(linearComa.value)));
  set(layout.trefoil, 2, limits.t);
  set(layout.shadow, 2, MOST_SHADOW * shadow);
  return { lower, upper };
}

/** A start moved off the bounds. */
export function within(start: readonly number[], { lower, upper }: Bounds): number[] {
  return start.map((value, j) => {
    const room = 0.02 * (upper[j] - lower[j]);
    return Math.min(upper[j] - room, Math.max(lower[j] + room, value));
  });
}

interface StartBy {
  /** um of d added to every sub. */
  readonly focus: number;
  /** Factors on what is guessed. */
  readonly tilt: number;
  readonly curvature: number;
  readonly side: number;
}

function buildStart(
  layout: Layout,
  guess: RetrievalGuess,
  { bare, linearComa }: RetrievalPriors,
  by: StartBy,
): number[] {
  const p = new Array<number>(layout.length).fill(0);
  for (let f = 0; f < layout.subs; f++) {
    p[layout.seeing(f)] = guess.seeing[f];
    p[layout.focus(f)] = by.side * guess.focus[f] + by.focus;
    const skew = layout.skew(f);
    const seen = guess.skew?.[f];
    if (skew >= 0 && seen) {
      p[skew] = seen.x;
      p[skew + 1] = seen.y;
    }
  }
  p[layout.tilt] = by.tilt * guess.tilt.x + 0.01;
  p[layout.tilt + 1] = by.tilt * guess.tilt.y + 0.01;
  p[layout.curvature] = bare === null ? by.curvature * guess.curvature + 0.01 : bare.curvature.value;
  p[layout.radialAstigmatism] = bare?.radialAstigmatism.value ?? 0;
  p[layout.linearComa] = linearComa.value;
  p[layout.coma] = guess.coma.x;
  p[layout.coma + 1] = guess.coma.y;
  p[layout.trefoil] = guess.trefoil.x;
  p[layout.trefoil + 1] = guess.trefoil.y;
  return p;
}

/** What is known, in place, the field flat. */
export const plainStart = (layout: Layout, guess: RetrievalGuess, priors: RetrievalPriors): number[] =>
  buildStart(layout, guess, priors, { focus: 0, tilt: 0, curvature: 0, side: 1 });

/** Signs of focus, tilt and curvature make local minima; so does how much of the width is focus. */
export function startsOf(layout: Layout, guess: RetrievalGuess, priors: RetrievalPriors): number[][] {
  const build = (focus: number, tilt: number, curvature: number, side = 1): number[] =>
    buildStart(layout, guess, priors, { focus, tilt, curvature, side });
  if (priors.bare !== null)
    return [1, -1].flatMap((side) => [
      build(0, 1, 1, side),
      build(0, -1, 1, side),
      build(0.15 * side, 0.2, 1, 0),
      build(0.02 * side, 0.1, 1, 0),
    ]);
  return [
    build(0, 1, 1),
    build(0, -1, 1),
    build(0, 1, -1),
    build(0, -1, -1),
    build(0.15, 1, 1),
    build(-0.15, 1, 1),
    build(0.15, 0.2, 0.2),
    build(0.15, -1, -1),
    build(0.02, 0.1, 0.1),
  ];
}

/** Subs up to which every combination of sides of focus is tried; of more, each sub alone on the other side. */
const ALL_SIDES = 3;
/** A sub nearer to focus than this, um of d, stands alike on both sides. */
const BOTH_SIDES_UM = 0.02;

/** The same with some subs on the other side of focus, the side of all together left out; the common sign is not in the stars. */
export function otherSides(layout: Layout, p: ArrayLike<number>): number[][] {
  const far = Array.from({ length: layout.subs }, (_, f) => f).filter(
    (f) => Math.abs(p[layout.focus(f)]) > BOTH_SIDES_UM,
  );
  const some =
    layout.subs <= ALL_SIDES
      ? Array.from({ length: 2 ** far.length - 1 }, (_, k) => far.filter((_f, i) => ((k + 1) >> i) % 2 === 1))
      : far.map((f) => [f]);
  return some
    .filter((turned) => turned.length < layout.subs)
    .map((turned) => {
      const out = Array.from(p);
      for (const f of turned) out[layout.focus(f)] *= -1;
      return out;
    });
}
