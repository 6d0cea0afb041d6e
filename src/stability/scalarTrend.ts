import { median } from '../numeric/statistics.ts';
import { type TheilSen, theilSen } from '../numeric/theilSen.ts';
import { nightsOf } from './nights.ts';

const WEEK = 7 * 86_400_000;

/** A measured number over time. Null values are gaps. */
export interface ScalarPoint {
  readonly time: number;
  readonly value: number | null;
  readonly error: number | null;
}

export interface ScalarTrend {
  readonly points: readonly ScalarPoint[];
  readonly nights: number;
  /** Median of the nights. */
  readonly usual: number | null;
  /** Change a week from night to night; null with fewer than LEAST_NIGHTS. */
  readonly perWeek: TheilSen | null;
  /** How low the nights reach: the tenth of them with the smallest values lies below, over four weeks at a time. */
  readonly floor: readonly { readonly time: number; readonly value: number }[];
}

const LEAST_NIGHTS = 6;
/** Pairs grow with the square: more nights are taken together. */
const MOST_BINS = 200;
const FLOOR_SHARE = 0.1;
const FLOOR_WEEKS = 2;
const FLOOR_NIGHTS = 5;

/** `summary`: what stands for a night, its median or its best. `since`: times before it do not enter the change a week. */
export function scalarTrend(points: readonly ScalarPoint[], summary: 'median' | 'least', since: number): ScalarTrend {
  const known = points.flatMap(({ time, value }) => (value === null ? [] : [{ time, value }]));
  const nightly = byNight(known, summary);
  const recent = thinned(nightly.filter(({ time }) => time >= since));
  return {
    points,
    nights: nightly.length,
    usual: nightly.length === 0 ? null : median(nightly.map(({ value }) => value)),
    perWeek:
      recent.length < LEAST_NIGHTS
        ? null
        : theilSen(
            recent.map(({ time }) => (time - recent[0].time) / WEEK),
            recent.map(({ value }) => value),
          ),
    floor: summary === 'least' ? floorOf(nightly) : [],
  };
}

interface Known {
  readonly time: number;
  readonly value: number;
}

function byNight(known: readonly Known[], summary: 'median' | 'least'): Known[] {
  const nights = nightsOf(known.map(({ time }) => time));
  const out: Known[] = [];
  let start = 0;
  for (let i = 1; i <= known.length; i++) {
    if (i < known.length && nights[i] === nights[start]) continue;
    const members = known.slice(start, i);
    const values = members.map(({ value }) => value);
    out.push({
      time: median(members.map(({ time }) => time)),
      value: summary === 'median' ? median(values) : Math.min(...values),
    });
    start = i;
  }
  return out;
}

function thinned(nightly: readonly Known[]): Known[] {
  if (nightly.length <= MOST_BINS) return [...nightly];
  return Array.from({ length: MOST_BINS }, (_, b) => {
    const members = nightly.slice(
      Math.floor((b * nightly.length) / MOST_BINS),
      Math.floor(((b + 1) * nightly.length) / MOST_BINS),
    );
    return { time: median(members.map(({ time }) => time)), value: median(members.map(({ value }) => value)) };
  });
}

/** Once a week, from the nights up to two weeks before and after. */
function floorOf(nightly: readonly Known[]): { time: number; value: number }[] {
  const out: { time: number; value: number }[] = [];
  const first = nightly[0]?.time ?? 0;
  const last = nightly.at(-1)?.time ?? -1;
  let low = 0;
  let high = 0;
  for (let time = first; time <= last; time += WEEK) {
    while (low < nightly.length && nightly[low].time < time - FLOOR_WEEKS * WEEK) low++;
    while (high < nightly.length && nightly[high].time <= time + FLOOR_WEEKS * WEEK) high++;
    if (high - low < FLOOR_NIGHTS) continue;
    const values = nightly
      .slice(low, high)
      .map(({ value }) => value)
      .sort((a, b) => a - b);
    const at = FLOOR_SHARE * (values.length - 1);
    const i = Math.floor(at);
    out.push({ time, value: values[i] + (at - i) * ((values[i + 1] ?? values[i]) - values[i]) });
  }
  return out;
}
