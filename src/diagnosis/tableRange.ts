import { type FrameStars, fieldPosition } from '../field/frameStars.ts';
import { median, selectInPlace } from '../numeric/statistics.ts';
import type { ResponseRange, ResponseTable } from '../optics/response.ts';
import { astigmatismUmPerMm2, type Coefficients, comaUmPerMm, toDefocus } from '../optics/wavefront.ts';
import type { Retrieval } from '../retrieval/fitWavefront.ts';
import type { ScanPoint } from '../retrieval/focusScan.ts';
import { type RetrievalGuess, SPACING_ASTIGMATISM } from '../retrieval/knowledge.ts';
import { wavefrontOf } from '../retrieval/model.ts';
import type { Amounts } from './amounts.ts';
import { MOST_COMA_UM } from './bareMirror.ts';
import { telescopeFor } from './drawnStar.ts';
import type { Response } from './response.ts';
import { distortionOf, focusZoneUm, ROUND_ELONGATION } from './tolerances.ts';

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
/** Marechal's lambda/14 of astigmatism at 0.55 um is 0.096 um of the coefficient: what is usual, and what a table holds. */
export const USUAL_ASTIGMATISM_UM = 0.1;
const ASTIGMATISM_LIMIT_UM = 0.15;

/** Half of the seeing-limited critical focus zone: where an imager's focus is expected, um along the axis, 1 sigma. */
export function focusPriorUm(amounts: Amounts): number {
  return focusZoneUm(amounts) / 2;
}

/** What the table must hold to begin with: all that seeing and defocus may share out between them. */
export function rangeFor(frames: readonly FrameStars[], amounts: Amounts, guess: RetrievalGuess): ResponseRange {
  const { response, optics, comaUm } = amounts;
  if (response === null) throw new RangeError('rangeFor needs a response');
  const sharpest = Math.min(...guess.seeing);
  // No star is narrower than the seeing, those of the softest sub as little as the others.
  const widest = Math.max(amounts.fwhm, ...frames.map(({ shapes }) => median(shapes.map((s) => s.fwhm))));
  const softest = (206.264806 * optics.pixelUm * widest) / optics.focalLengthMm;
  const umOfFocus = 1 / toDefocus(telescopeFor(optics), 1);
  const far = FAR_SHARE * umOfFocus * farthestDefocus(frames, guess);
  // However the guess shares them out, seeing and defocus together make no star wider than the widest.
  const farthest = response.defocusUm(mostBlur(frames, response, guess));
  const trefoil = Math.hypot(guess.trefoil.x, guess.trefoil.y);
  const own = optics.bare ? bareLimits(amounts) : null;
  return {
    seeingArcsec: { from: LEAST_SEEING * sharpest, to: Math.max(softest, 1.05 * Math.max(...guess.seeing)) },
    defocusUm: Math.min(Math.max(FOCUS_SIGMAS * focusPriorUm(amounts), far), farthest),
    limits: {
      ...(own ?? { a: astigmatismLimit(guess, amounts), c: 0.08 + 1.4 * (comaUm?.high ?? 0) }),
      t: 0.08 + 1.3 * trefoil,
    },
  };
}

/** What the widest stars are wider than the least seeing that is looked at, pixels in quadrature. */
function mostBlur(frames: readonly FrameStars[], response: Response, guess: RetrievalGuess): number {
  const widest = WIDEST_SHARE * Math.max(...frames.map(widestOf));
  const sharpestPx = (LEAST_SEEING * Math.min(...guess.seeing) * response.focusedFwhmPx) / response.seeingArcsec;
  return Math.sqrt(Math.max(0, widest ** 2 - sharpestPx ** 2));
}

/** FWHM of a defocused star, its seeing taken off, over its disc's diameter (drawn stars 40 to 100 um off focus). */
const DISC_SHARE = 0.8;

/** The farthest that a sub may stand from focus, um along the axis: its disc, D/f of that, is no wider than the widest stars. */
export function farthestUm(
  frames: readonly FrameStars[],
  { response, optics }: Amounts,
  guess: RetrievalGuess,
): number {
  if (response === null) throw new RangeError('farthestUm needs a response');
  const disc = mostBlur(frames, response, guess) / DISC_SHARE;
  return disc * optics.pixelUm * (optics.focalLengthMm / optics.apertureMm);
}

/** Usual astigmatism, or what comes with a curved field. */
const astigmatismLimit = ({ curvature }: RetrievalGuess, { smooth: { distortion } }: Amounts): number =>
  Math.abs(distortion.radial.value) < distortionOf(ROUND_ELONGATION)
    ? ASTIGMATISM_LIMIT_UM
    : Math.max(ASTIGMATISM_LIMIT_UM, 1.2 * SPACING_ASTIGMATISM * Math.abs(curvature));

/** What a bare mirror makes of the stars that are still looked at, the farthest from its axis. */
function bareLimits({ optics }: Amounts): { readonly a: number; readonly c: number } {
  const telescope = telescopeFor(optics);
  const mm = MOST_COMA_UM / comaUmPerMm(telescope);
  return { a: ASTIGMATISM_LIMIT_UM + astigmatismUmPerMm2(telescope) * mm * mm, c: 1.1 * MOST_COMA_UM };
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

export interface Fitted {
  readonly table: ResponseTable;
  readonly retrieval: Retrieval;
}

/** A table no better than this decides with the stars: shares of sigma^2, shapes. */
const ROUGH = { sigma2: 0.01, e: 0.004, coma3: 0.003, trefoil3: 0.004 } as const;
/** Places of the scan with less than this probability need no table. */
const UNLIKELY = 1e-3;
/** What the fit found, and so much more, the closer table holds. */
const CLOSER = { seeing: 0.07, share: 1.2, um: 0.03 } as const;
/** Astigmatism beyond this share of its limit was held by it, focus beyond that of its own. */
const HELD = 0.7;
const HELD_FOCUS = 0.98;
const WIDER = 4;

const likely = ({ scan }: Retrieval): readonly ScanPoint[] => scan.filter((point) => point.weight > UNLIKELY);

/** Wavefronts where the stars stand, of every likely place of the scan. */
const wavesOf = (retrieval: Retrieval): Coefficients[] =>
  likely(retrieval).flatMap(({ parameters }) =>
    retrieval.cells.map((cell) => wavefrontOf(retrieval.layout, parameters, cell)),
  );

/**
 * The same range with more room for what was held by its limit, astigmatism or focus; null where nothing was. Each is given room once,
 * beyond what the `first` table held: room for one may lead the other to its limit.
 */
export function widerRange(
  { table: { range, defocusLimit }, retrieval }: Fitted,
  first: ResponseRange,
  farthest: number,
): ResponseRange | null {
  const { layout, best, signed, referenceSub } = retrieval;
  const { limits, defocusUm } = range;
  const strained =
    limits.a === first.limits.a && wavesOf(retrieval).some(({ a }) => Math.hypot(a.x, a.y) > HELD * limits.a);
  // A bare mirror's own astigmatism is far beyond what is usual, and known.
  const a = strained && !signed ? WIDER * limits.a : limits.a;
  // The nearest sub stands where the prior wants it; it is the others that a limit holds, and any whose focus is told.
  const far = Array.from({ length: layout.subs }, (_, f) => Math.abs(best.parameters[layout.focus(f)]));
  const held =
    defocusUm === first.defocusUm &&
    far.some((d, f) => (signed || f !== referenceSub) && d > HELD_FOCUS * defocusLimit);
  const d = held ? Math.max(defocusUm, Math.min(WIDER * defocusUm, farthest)) : defocusUm;
  return a === limits.a && d === defocusUm ? null : { ...range, defocusUm: d, limits: { ...limits, a } };
}

/** A smaller range about what was found, where the table was too rough for it; null where it served. */
export function closerRange({ table, retrieval }: Fitted): ResponseRange | null {
  const rough = (Object.keys(ROUGH) as (keyof typeof ROUGH)[]).some((name) => table.rms[name] > ROUGH[name]);
  if (!rough) return null;
  const { layout } = retrieval;
  const points = likely(retrieval);
  const waves = wavesOf(retrieval);
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

/** This near to the table's end, as a share of it, a number is held there. */
const HELD_END = 0.01;

/**
 * A closer table's range with what the fit holds at its end let go again: a rough table may have led to a place that a closer one does
 * not confirm. Null where nothing is, or the table ends where the `whole` one did.
 */
export function letGo(
  { table: { range, defocusLimit }, retrieval }: Fitted,
  whole: ResponseRange,
): ResponseRange | null {
  const { layout, best } = retrieval;
  const { from, to } = range.seeingArcsec;
  const seeings = Array.from({ length: layout.subs }, (_, f) => best.parameters[layout.seeing(f)]);
  const waves = retrieval.cells.map((cell) => wavefrontOf(layout, best.parameters, cell));
  const held = (of: (w: Coefficients) => number, limit: number): boolean =>
    waves.some((w) => of(w) > (1 - HELD_END) * limit);
  const limit = (key: 'a' | 'c' | 't'): number =>
    held((w) => Math.hypot(w[key].x, w[key].y), range.limits[key]) ? whole.limits[key] : range.limits[key];
  const next: ResponseRange = {
    seeingArcsec: {
      from: Math.min(...seeings) < (1 + HELD_END) * from ? Math.min(from, whole.seeingArcsec.from) : from,
      to: Math.max(...seeings) > (1 - HELD_END) * to ? Math.max(to, whole.seeingArcsec.to) : to,
    },
    defocusUm: held(({ d }) => Math.abs(d), defocusLimit) ? whole.defocusUm : range.defocusUm,
    limits: { a: limit('a'), c: limit('c'), t: limit('t') },
  };
  return JSON.stringify(next) === JSON.stringify(range) ? null : next;
}

/** A closer table made anew must reach farther than the last one by this share, or the fit goes to and fro. */
const FARTHER = 1.1;

export function reachesFarther(next: ResponseRange, last: ResponseRange): boolean {
  const ends = ({ seeingArcsec: { from, to }, defocusUm, limits: { a, c, t } }: ResponseRange): number[] => [
    1 / from,
    to,
    defocusUm,
    a,
    c,
    t,
  ];
  const before = ends(last);
  return ends(next).some((end, k) => end > FARTHER * before[k]);
}
