import { median } from '../numeric/statistics.ts';
import type { DiscFrame } from './findDiscs.ts';
import type { SeriesFrame } from './focusFit.ts';

/** A frame of a focus run before it is put in order. */
export interface Taken {
  readonly measured: DiscFrame;
  /** Focuser position of the header; null where there is none. */
  readonly position: number | null;
  /** ISO 8601 start of exposure; null where there is none. */
  readonly dateObs: string | null;
}

export interface Series {
  /** In the order they were given. */
  readonly frames: readonly SeriesFrame[];
  /** What the readings count: focuser steps, or micrometres where the frames were numbered by --step. */
  readonly unit: 'steps' | 'um';
  readonly ordered: 'time' | 'given';
  /** Sentences: gaps, repeats, reversals. */
  readonly notes: readonly string[];
}

export type SeriesFault = 'no-positions' | 'one-position' | 'some-positions';

/** A step so many times the usual one is a gap. */
const GAP = 1.6;
/** Fewer frames than this on one side of a reversal say nothing about backlash. */
const MIN_REVERSED = 2;

/**
 * Readings and order of a run. `stepUm`: the frames stand at equal steps of so many micrometres in the order given, whatever
 * their headers say.
 */
export function seriesOf(taken: readonly Taken[], stepUm: number | null): Series | SeriesFault {
  const positions = stepUm === null ? taken.map((t) => t.position) : taken.map((_, i) => i * stepUm);
  if (positions.every((p) => p === null)) return 'no-positions';
  const readings = positions.flatMap((p) => p ?? []);
  if (readings.length < taken.length) return 'some-positions';
  if (new Set(readings).size < 2) return 'one-position';
  const byTime =
    stepUm === null &&
    new Set(taken.map((t) => t.dateObs)).size === taken.length &&
    !taken.some((t) => t.dateObs === null);
  const order = taken
    .map((t, i) => ({ i, when: t.dateObs ?? '' }))
    .sort((a, b) => (byTime ? a.when.localeCompare(b.when) : 0) || a.i - b.i)
    .map(({ i }) => i);
  const above = approaches(order.map((i) => readings[i]));
  const unit = stepUm === null ? 'steps' : 'um';
  return {
    frames: taken.map(({ measured }, i) => {
      const place = order.indexOf(i);
      return { measured, reading: readings[i], order: place, fromAbove: above[place] };
    }),
    unit,
    ordered: byTime ? 'time' : 'given',
    notes: [...gapNotes(readings, unit), ...reversalNotes(order.map((i) => readings[i]))],
  };
}

/** Whether each reading, in the order of time, was reached from larger ones; all false unless both ways were gone enough. */
function approaches(readings: readonly number[]): boolean[] {
  const ways: (1 | -1)[] = [];
  let way: 1 | -1 | null = null;
  for (let k = 1; k < readings.length; k++) {
    const change = readings[k] - readings[k - 1];
    if (change !== 0) way = change > 0 ? 1 : -1;
    ways.push(way ?? 1);
  }
  // How the first was reached is not known: as the second, which is what a run usually does.
  const all = ways.length === 0 ? [1] : [ways[0], ...ways];
  const down = all.filter((w) => w < 0).length;
  const usual = down > all.length / 2 ? -1 : 1;
  const enough = Math.min(down, all.length - down) >= MIN_REVERSED;
  return all.map((w) => enough && w !== usual);
}

function gapNotes(readings: readonly number[], unit: string): string[] {
  const sorted = [...new Set(readings)].sort((a, b) => a - b);
  const steps = sorted.slice(1).map((reading, i) => reading - sorted[i]);
  if (steps.length < 3) return [];
  const usual = median(steps);
  const gaps = steps.flatMap((step, i) => (step > GAP * usual ? [`${sorted[i]} and ${sorted[i + 1]}`] : []));
  const repeats = readings.length - sorted.length;
  return [
    ...(gaps.length > 0
      ? [`Between the readings ${gaps.join(', ')} a step is missing (usual step: ${usual} ${unit}).`]
      : []),
    ...(repeats > 0 ? [`${repeats} ${repeats === 1 ? 'reading was' : 'readings were'} taken more than once.`] : []),
  ];
}

function reversalNotes(readings: readonly number[]): string[] {
  const ways = readings
    .slice(1)
    .map((reading, i) => Math.sign(reading - readings[i]))
    .filter((w) => w !== 0);
  const turns = ways.slice(1).filter((w, i) => w !== ways[i]).length;
  if (turns === 0) return [];
  return [
    `The focuser turned back ${turns === 1 ? 'once' : `${turns} times`} within the run: its backlash shifts those frames; a run in one direction is surer.`,
  ];
}
