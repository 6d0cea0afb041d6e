import { robustSigma } from '../numeric/statistics.ts';
import { USUAL_SHADOW } from '../optics/telescope.ts';
import { type FocusFit, placeOf, type SeriesFrame, type Uncertain2 } from './focusFit.ts';
import { holeCurve } from './holeCurve.ts';
import { holeOffset } from './holeOffset.ts';
import { type MixedFit, mixedFit } from './mixedFit.ts';
import { geometricGrowth, type SweepOptics } from './sweepOptics.ts';

/**
 * Coma by the hole of the discs: the hole's centre against the rim's is 6 N c (1 - eps^2) towards the head of the coma (against
 * the tail), the same on both sides of focus and at any distance; a shadow of the secondary that stands off the middle by w
 * pupil radii gives dz w/(2 N), which turns over through focus. The even part is coma, the odd part the shadow.
 */
export interface DonutFit {
  /** Hole against rim as rays would show it, middle of the field, px: the part even in defocus. Towards the head. */
  readonly even: Uncertain2;
  /** Change of the even part with the place, px a half-diagonal, along z. */
  readonly evenLinear: { readonly value: number; readonly error: number };
  /** The part odd in defocus, px for each t. */
  readonly odd: Uncertain2;
  readonly discs: number;
  /** Frames with holes on the side of smaller and of larger readings. */
  readonly sides: readonly [number, number];
}

/** Error of one hole, px, before the scatter of all is known, and the least that is believed. */
const ROUGH_ERROR = 0.1;
const LEAST_ERROR = 0.01;
/** Holes that show less of the coma than this say little, and not reliably. */
const LEAST_RESPONSE = 0.2;
const MIN_DISCS = 6;
const TERMS = 5;
const ROUNDS = 3;

interface Hole {
  readonly frame: number;
  readonly u: number;
  readonly v: number;
  readonly dt: number;
  readonly x: number;
  readonly y: number;
}

/** Even and odd parts over all stacks of all frames; null with too few discs that show a hole. */
export function fitDonuts(frames: readonly SeriesFrame[], fit: FocusFit, optics: SweepOptics): DonutFit | null {
  const holes = holesOf(frames, fit);
  if (holes.length < MIN_DISCS) return null;
  // The response to coma depends on how much of it there is: once roughly known, it is drawn for that.
  let solved: MixedFit | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const c: number = solved === null ? 0 : comaUmOf(solved.parameters, optics);
    solved = solve(holes, frames.length, fit, optics, c) ?? solved;
  }
  if (solved === null) return null;
  const p = solved.parameters;
  const size = p.length;
  const error = (j: number): number => Math.sqrt(solved.covariance[j * size + j]);
  const vector = (j: number): Uncertain2 => ({
    x: p[j],
    y: p[j + 1],
    error: Math.hypot(error(j), error(j + 1)) / Math.SQRT2,
  });
  const side = (sign: 1 | -1): number => new Set(holes.filter((h) => sign * h.dt > 0).map((h) => h.frame)).size;
  return {
    even: vector(0),
    evenLinear: { value: p[2], error: error(2) },
    odd: vector(3),
    discs: holes.length,
    sides: [side(-1), side(1)],
  };
}

function holesOf(frames: readonly SeriesFrame[], fit: FocusFit): Hole[] {
  return frames.flatMap(({ measured, reading }, frame) =>
    measured.stacks.flatMap((stack) => {
      const offset = holeOffset(stack);
      if (offset === null) return [];
      const { u, v } = placeOf(measured, stack.x, stack.y);
      const best = fit.best[0] + fit.best[1] * u + fit.best[2] * v + fit.best[3] * (u * u + v * v);
      return [{ ...offset, frame, u, v, dt: (reading - fit.scale.middle) / fit.scale.half - best }];
    }),
  );
}

/** |c| of a hole's offset, um: offset = 6 N c (1 - eps^2). */
function comaUmOf(offset: ArrayLike<number>, { focalLengthMm, apertureMm, pixelUm, obstruction }: SweepOptics): number {
  return (Math.hypot(offset[0], offset[1]) * pixelUm * apertureMm) / (6 * focalLengthMm * (1 - obstruction ** 2));
}

function solve(
  holes: readonly Hole[],
  frameCount: number,
  fit: FocusFit,
  optics: SweepOptics,
  comaUm: number,
): MixedFit | null {
  const used = holes.flatMap((hole) => {
    const floor = fit.floors[hole.frame].value;
    const response = holeCurve(optics, floor, comaUm)((fit.growth * hole.dt * hole.dt) / floor);
    return response === null || response.coma < LEAST_RESPONSE ? [] : [{ ...hole, response }];
  });
  if (used.length < MIN_DISCS) return null;
  const rows = used.flatMap(({ response: { coma, shadow }, u, v, dt }) => [
    Float64Array.of(coma, 0, coma * u, shadow * dt, 0),
    Float64Array.of(0, coma, coma * v, 0, shadow * dt),
  ]);
  const values = used.flatMap(({ x, y }) => [x, y]);
  const none = { centre: 0, sigma: Infinity };
  // What is usual holds it where all discs are on one side of focus.
  const shadow = { centre: 0, sigma: USUAL_SHADOW * shadowPerRadius(fit, optics) };
  const attempt = (error: number): MixedFit | null =>
    mixedFit({
      rows,
      values,
      errors: values.map(() => error),
      group: used.flatMap(({ frame }) => [2 * frame, 2 * frame + 1]),
      groups: 2 * frameCount,
      lever: values.map(() => 1),
      priors: [none, none, none, shadow, shadow],
      spread: { sigma: 0.3 * error, counts: 3 },
    });
  const rough = attempt(ROUGH_ERROR);
  if (rough === null) return null;
  const residuals = rows.map((row, i) => {
    let model = 0;
    for (let j = 0; j < TERMS; j++) model += row[j] * rough.parameters[j];
    return values[i] - model;
  });
  return attempt(Math.max(LEAST_ERROR, robustSigma(residuals, 0)));
}

/** px of hole offset for each t that a shadow one pupil radius off makes: dz/(2 N), dz/N from the discs' own growth. */
export function shadowPerRadius(fit: FocusFit, optics: SweepOptics): number {
  return 0.5 * Math.sqrt((8 * fit.growth) / (1 + optics.obstruction ** 2));
}

/** Micrometres of camera travel for each t, by the growth of the discs against that of the optics. */
export function umPerUnit(fit: FocusFit, optics: SweepOptics): number {
  return Math.sqrt(fit.growth / geometricGrowth(optics));
}
