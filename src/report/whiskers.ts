import { median, robustSigma } from '../numeric/statistics.ts';
import type { Whisker } from './picture.ts';

/** Up to this many stars each has a whisker of its own; more would be a thicket. */
const SINGLE_STARS = 110;
/** Stars a bin should hold on average, so that its median says something. */
const STARS_PER_BIN = 6;
/** Bins across the picture at most. */
const MOST_ACROSS = 12;

/** Sigma at which a bin's mean elongation has a direction. */
const SEEN_SIGMAS = 2.5;

/** A whisker to draw: of one star, or the middle of a bin of them. */
export interface DrawnWhisker extends Whisker {
  /** A bin whose stars' scatter hides any common direction. */
  readonly round: boolean;
}

/**
 * Whiskers thinned for the eye: stars gathered in bins (every second row shifted by half a bin, so that no grid shows),
 * each the component-wise median of the distortion e = (E^2 - 1)/(E^2 + 1) at the mean place of its stars.
 */
export function thinWhiskers(whiskers: readonly Whisker[], width: number, height: number): readonly DrawnWhisker[] {
  if (whiskers.length <= SINGLE_STARS) return whiskers.map((whisker) => ({ ...whisker, round: false }));
  const pitch = Math.max(width / MOST_ACROSS, Math.sqrt((width * height * STARS_PER_BIN) / whiskers.length));
  const bins = new Map<string, Whisker[]>();
  for (const whisker of whiskers) {
    const row = Math.floor(whisker.y / pitch);
    const column = Math.floor(whisker.x / pitch + (row % 2) / 2);
    const key = `${row} ${column}`;
    const bin = bins.get(key);
    if (bin) bin.push(whisker);
    else bins.set(key, [whisker]);
  }
  return [...bins.values()].filter((bin) => bin.length >= STARS_PER_BIN / 3).map(middleOf);
}

function middleOf(bin: readonly Whisker[]): DrawnWhisker {
  const distortion = (whisker: Whisker): number => {
    const square = whisker.elongation ** 2;
    return (square - 1) / (square + 1);
  };
  const twice = (whisker: Whisker): number => (whisker.axisDeg * Math.PI) / 90;
  const first = bin.map((whisker) => distortion(whisker) * Math.cos(twice(whisker)));
  const second = bin.map((whisker) => distortion(whisker) * Math.sin(twice(whisker)));
  const [e1, e2] = [median(first), median(second)];
  const e = Math.min(0.98, Math.hypot(e1, e2));
  const axis = (Math.atan2(e2, e1) * 90) / Math.PI;
  const error = Math.hypot(robustSigma(first), robustSigma(second)) / Math.sqrt(2 * Math.max(1, bin.length - 1));
  return {
    x: mean(bin.map((whisker) => whisker.x)),
    y: mean(bin.map((whisker) => whisker.y)),
    elongation: Math.sqrt((1 + e) / (1 - e)),
    axisDeg: axis < 0 ? axis + 180 : axis,
    round: e < SEEN_SIGMAS * error,
  };
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/** Elongations minus 1 that a whisker of full length may stand for. */
const FULL_LENGTHS = [0.1, 0.2, 0.4, 0.8, 1.6] as const;
/** Share of the whiskers that must fit below the full length. */
const FITTING = 0.9;

/** The smallest of a few round scales on which nine in ten whiskers fit: elongation - 1 of a full-length whisker. */
export function fullLengthElongation(whiskers: readonly Whisker[]): number {
  const excess = whiskers.map((whisker) => whisker.elongation - 1).toSorted((a, b) => a - b);
  const high = excess[Math.floor(FITTING * excess.length)] ?? 0;
  return FULL_LENGTHS.find((full) => high <= full) ?? 1.6;
}
