import pc from 'picocolors';
import { nightsOf } from '../stability/nights.ts';
import type { Trend } from '../stability/trend.ts';
import { fixed } from './amounts.ts';
import { labelled, type TextOptions } from './text.ts';
import { nightDate, trendWords } from './trendWords.ts';
import { printable } from './untrusted.ts';

const LEAST_WIDTH = 40;
const ROWS = 8;
const AXIS = 7;

/** The trend for a terminal; ends with a line break. */
export function renderTrendText(trend: Trend, { width, colour }: Pick<TextOptions, 'width' | 'colour'>): string {
  const columns = Math.max(LEAST_WIDTH, width);
  const colours = pc.createColors(colour);
  const words = trendWords(trend);
  const paint = { holds: colours.cyan, moved: colours.yellow, open: colours.magenta }[words.state];
  const head = { holds: 'Holds', moved: 'Moved', open: 'Open' }[words.state];
  const lines = [
    ...labelled(head, [words.headline], columns, { bold: (text) => colours.bold(paint(text)) }),
    '',
    ...plot(trend, columns),
    ...words.items.flatMap(({ label, text }) => labelled(label, [text], columns, colours, LABEL)),
    ...labelled('Notes', words.notes, columns, colours, LABEL),
  ];
  return `${lines.join('\n')}\n`;
}

/** Columns of the widest label and a gap. */
const LABEL = 13;

/** Length of coma night by night: o a night, A an adjustment, J a jump, - the tolerance. */
function plot(trend: Trend, columns: number): string[] {
  const points = trend.points.filter((point) => point.length !== null);
  const first = points[0]?.time;
  const last = points.at(-1)?.time;
  if (first === undefined || last === undefined || first === last) return [];
  const nights = nightsOf(points.map(({ time }) => time));
  const byNight = new Map<number, number[]>();
  points.forEach(({ length }, i) => {
    byNight.set(nights[i], [...(byNight.get(nights[i]) ?? []), length?.value ?? 0]);
  });
  const across = columns - AXIS - 1;
  const lengths = points.map(({ length }) => length?.value ?? 0).sort((a, b) => a - b);
  const top = 1.1 * Math.max(lengths[Math.floor(0.98 * (lengths.length - 1))] ?? 0, trend.tolerance ?? 0, 1e-9);
  const grid = Array.from({ length: ROWS }, () => Array.from({ length: across }, () => ' '));
  const column = (time: number): number =>
    Math.max(0, Math.min(across - 1, Math.round(((time - first) / (last - first)) * (across - 1))));
  const row = (value: number): number => Math.max(0, Math.min(ROWS - 1, Math.floor(ROWS * (1 - value / top))));
  const put = (x: number, y: number, sign: string): void => {
    const cells = grid[y];
    if (cells !== undefined) cells[x] = sign;
  };
  if (trend.tolerance !== null) for (let x = 0; x < across; x++) put(x, row(trend.tolerance), '-');
  points.forEach(({ time }, i) => {
    const values = byNight.get(nights[i]) ?? [];
    if (i > 0 && nights[i] === nights[i - 1]) return;
    put(column(time), row(values.reduce((a, b) => a + b, 0) / values.length), 'o');
  });
  const marks = Array.from({ length: across }, () => ' ');
  for (const { kind, time } of trend.events)
    if (kind === 'adjustment' && Date.parse(time) >= first && Date.parse(time) <= last)
      marks[column(Date.parse(time))] = 'A';
  for (const era of trend.eras)
    for (const knock of era.fit?.knocks ?? []) marks[column((knock.before + knock.after) / 2)] = 'J';
  const unit = { arcmin: '′', um: 'µm', coma3: '' }[trend.unit];
  const decimals = trend.unit === 'coma3' ? 3 : 1;
  const [from, to] = [nightDate(first), nightDate(last)];
  return [
    ...grid.map((cells, y) => {
      const told = y === 0 || y === ROWS - 1 || (trend.tolerance !== null && y === row(trend.tolerance));
      const at = y === ROWS - 1 ? 0 : trend.tolerance !== null && y === row(trend.tolerance) ? trend.tolerance : top;
      const label = told ? `${fixed(at, decimals)}${unit}` : '';
      return `${label.padStart(AXIS - 1)} |${cells.join('')}`.trimEnd();
    }),
    `${' '.repeat(AXIS)}+${marks.join('')}`.trimEnd(),
    `${' '.repeat(AXIS)} ${from}${to.padStart(across - from.length)}`,
    printable(
      `${' '.repeat(AXIS)} o coma of a night${trend.tolerance === null ? '' : ', - tolerance'}, A adjustment, J jump`,
    ),
    '',
  ];
}
