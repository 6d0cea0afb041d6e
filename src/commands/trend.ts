import type { Effects } from '../effects.ts';
import { minuteOf } from '../history/listText.ts';
import type { CheckRow, EventRow } from '../history/row.ts';
import { median } from '../numeric/statistics.ts';
import { printable } from '../report/untrusted.ts';

/** What is trended: a number of each check where it was measured. */
const QUANTITIES: readonly {
  readonly title: string;
  readonly unit: string;
  readonly digits: number;
  readonly of: (check: CheckRow) => number | null;
}[] = [
  { title: 'Primary tilt', unit: '′', digits: 1, of: (c) => c.mirrorTilt?.arcmin ?? null },
  {
    title: '|coma3|',
    unit: '',
    digits: 4,
    of: (c) => (c.coma3 === null ? null : Math.hypot(c.coma3.x, c.coma3.y)),
  },
  { title: 'Sensor tilt', unit: ' µm', digits: 0, of: (c) => c.sensorTilt?.um.value ?? null },
  { title: 'Curvature', unit: ' µm', digits: 0, of: (c) => c.curvatureUm?.value ?? null },
  { title: 'FWHM floor', unit: '″', digits: 2, of: (c) => c.fwhmFloorArcsec?.value ?? null },
  { title: 'FWHM floor', unit: ' px', digits: 2, of: (c) => c.fwhmFloorPx?.value ?? null },
  { title: 'Elongation', unit: '', digits: 2, of: (c) => c.elongation?.value ?? null },
];

const BARS = '▁▂▃▄▅▆▇█';
const COLUMNS = 32;

/** Range, middle and course of each quantity since the last adjustment, in the terminal. */
export function showTrend(
  checks: readonly CheckRow[],
  events: readonly EventRow[],
  effects: Pick<Effects, 'out'>,
): void {
  const adjusted = events.filter(({ kind }) => kind === 'adjustment').at(-1);
  const since = checks.filter(({ time }) => adjusted === undefined || time >= adjusted.time);
  const shown = since.length === 0 ? checks : since;
  const [first, last] = [shown[0], shown.at(-1)];
  if (first === undefined || last === undefined) return;
  const start =
    adjusted === undefined || since.length === 0
      ? ''
      : `, since it was adjusted (${minuteOf(adjusted.time)}: ${printable(adjusted.text)})`;
  effects.out(`${shown.length} checks from ${minuteOf(first.time)} to ${minuteOf(last.time)} UTC${start}\n`);
  for (const { title, unit, digits, of } of QUANTITIES) {
    const values = shown.map(of).filter((value) => value !== null);
    const latest = values.at(-1);
    if (latest === undefined) continue;
    const text = (value: number): string => `${value.toFixed(digits)}${unit}`;
    const [low, high] = values.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [Infinity, -Infinity]);
    effects.out(
      `${title.padEnd(13)} ${courseOf(shown, of, low, high)}  last ${text(latest)}, median ${text(median(values))}, ` +
        `${text(low)} to ${text(high)}\n`,
    );
  }
}

/** Medians of equal spans of time as bars from the least to the greatest; a gap where nothing was measured. */
function courseOf(
  checks: readonly CheckRow[],
  of: (check: CheckRow) => number | null,
  low: number,
  high: number,
): string {
  const times = checks.map(({ time }) => Date.parse(time));
  const [start, end] = [times[0] ?? 0, times.at(-1) ?? 0];
  const spans: number[][] = Array.from({ length: COLUMNS }, () => []);
  checks.forEach((check, i) => {
    const value = of(check);
    const span = Math.min(COLUMNS - 1, Math.floor((COLUMNS * ((times[i] ?? 0) - start)) / Math.max(1, end - start)));
    if (value !== null) spans[span]?.push(value);
  });
  return spans
    .map((values) =>
      values.length === 0
        ? ' '
        : BARS.charAt(Math.round(((median(values) - low) / Math.max(1e-12, high - low)) * (BARS.length - 1))),
    )
    .join('');
}
