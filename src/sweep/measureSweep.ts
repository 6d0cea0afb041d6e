import { type AstigmatismFit, fitAstigmatism } from './astigmatismFit.ts';
import { type DonutFit, fitDonuts } from './donut.ts';
import { type FocusFit, fitFocus, type SeriesFrame, ZONES } from './focusFit.ts';
import type { Series } from './series.ts';
import { NOMINAL_OPTICS, type SweepOptics } from './sweepOptics.ts';
import { transparencies } from './transparency.ts';

/** A series from measured frames to what it says about the telescope; lengths in readings, places in half-diagonals. */
export interface SweepMeasurement {
  readonly series: Series;
  /** In the order of the series; null: used. */
  readonly whyNot: readonly (string | null)[];
  readonly transparency: readonly (number | null)[];
  readonly optics: SweepOptics | null;
  readonly used: readonly SeriesFrame[];
  /** Null where nothing could be fitted; `needs` says what would help. */
  readonly focus: FocusFit | null;
  /** Each ninth of the frame with a best focus of its own, beyond tilt and curvature of `focus`. */
  readonly zones: FocusFit | null;
  readonly astigmatism: AstigmatismFit | null;
  readonly donuts: DonutFit | null;
  readonly needs: string | null;
}

const MIN_DISCS = 8;
const MIN_FRAMES = 4;
/** A frame whose floor strays by so many times the others' spread does not follow the curve. */
const STRAY = 5;
/** Less light than this share of the clear frames' is said. */
export const CLOUDED = 0.7;
/** Least share of a cloudless frame's light that still measures sizes. */
const TOO_CLOUDED = 0.05;
/** Best focus further outside the series than this, in half lengths of it, is not believed. */
const OUTSIDE = 1.15;
/** Of the frames, so many may be left out for straying. */
const MOST_STRAY = 0.25;

export function measureSweep(series: Series, optics: SweepOptics | null): SweepMeasurement {
  const { frames } = series;
  const transparency = transparencies(frames.map((f) => f.measured));
  const whyNot = frames.map(({ measured }, i): string | null => {
    const seen = transparency[i];
    if (measured.discs.length < MIN_DISCS)
      return measured.found === 0 ? 'no star seen' : `too few stars could be measured (${measured.discs.length})`;
    return seen !== null && seen < TOO_CLOUDED ? 'clouds let hardly any light through' : null;
  });
  const assumed = optics ?? NOMINAL_OPTICS;
  const usable = (): SeriesFrame[] => frames.filter((_, i) => whyNot[i] === null);
  const base = { series, whyNot, transparency, optics, zones: null, astigmatism: null, donuts: null };
  const nothing = (needs: string): SweepMeasurement => ({ ...base, used: usable(), focus: null, needs });
  if (usable().length < MIN_FRAMES || new Set(usable().map((f) => f.reading)).size < MIN_FRAMES)
    return nothing(`at least ${MIN_FRAMES} usable frames at different focus; better nine, four on each side`);
  let focus = fitFocus(usable(), assumed);
  for (let left = Math.floor(MOST_STRAY * frames.length); focus !== null && left > 0; left--) {
    const strayed = worstOf(focus);
    if (strayed === null || usable().length <= MIN_FRAMES + 1) break;
    const frame = usable()[strayed];
    whyNot[frames.indexOf(frame)] =
      'its stars are of another size than this focus gives (focuser not moved, wind, bad seeing)';
    focus = fitFocus(usable(), assumed);
  }
  if (focus === null) return nothing('a run in which the stars grow on both sides of focus');
  if (Math.abs(focus.best[0]) > OUTSIDE)
    return nothing(
      `frames at ${focus.best[0] > 0 ? 'larger' : 'smaller'} readings: the stars are still getting smaller at the end of the run`,
    );
  const used = usable();
  const { width, height } = used[0].measured;
  const half = Math.hypot(width, height);
  return {
    ...base,
    used,
    focus,
    zones: fitFocus(used, assumed, ZONES(width / half, height / half), focus),
    astigmatism: fitAstigmatism(used, focus),
    donuts: fitDonuts(used, focus, assumed),
    needs: null,
  };
}

function worstOf(fit: FocusFit): number | null {
  let worst = 0;
  fit.stray.forEach((value, i) => {
    if (value > fit.stray[worst]) worst = i;
  });
  return fit.stray[worst] > STRAY ? worst : null;
}

/** Fitted best focus of the middle of the field against the series' own scale. */
export const readingAt = (fit: FocusFit, t: number): number => fit.scale.middle + t * fit.scale.half;
