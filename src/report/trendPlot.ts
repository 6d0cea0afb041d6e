import { fixed } from './amounts.ts';
import { escapeHtml as e } from './untrusted.ts';

/** One measured value in a plot; `faint` marks are drawn hollow (strays, unknown camera angle). */
export interface Mark {
  readonly time: number;
  readonly value: number;
  readonly error: number;
  readonly faint: boolean;
}

export interface Plot {
  readonly title: string;
  /** For those who cannot see it. */
  readonly words: string;
  readonly unit: string;
  readonly marks: readonly Mark[];
  /** Fitted course, in pieces that are not joined. */
  readonly lines: readonly (readonly { readonly time: number; readonly value: number }[])[];
  /** Values that are worth a dashed level: tolerance. Drawn on both sides of zero where the plot reaches there. */
  readonly levels: readonly { readonly value: number; readonly name: string }[];
  readonly fromZero: boolean;
}

/** What all plots share: the time they span and what happened in it. */
export interface Timeline {
  readonly from: number;
  readonly to: number;
  /** Adjustments (A1 ...) and notes (N1 ...). */
  readonly events: readonly { readonly time: number; readonly name: string; readonly kind: 'adjustment' | 'note' }[];
  /** Jumps: the band in which they happened. */
  readonly knocks: readonly { readonly from: number; readonly to: number; readonly name: string }[];
  /** The trend of directions is broken here. */
  readonly breaks: readonly number[];
}

const WIDTH = 420;
const HEIGHT = 216;
const LEFT = 46;
const RIGHT = 8;
const TOP = 22;
const BOTTOM = 26;
/** More marks than this are taken together: a page of 20,000 circles opens slowly and shows no more. */
const MOST_MARKS = 240;
const DAY = 86_400_000;

/** Classes: `mark`, `faint`, `bar`, `line`, `level`, `event`, `note`, `knock`, `break`, `axis`, `grid`, `small`. */
export function plotSvg(plot: Plot, timeline: Timeline): string {
  const marks = thinned(plot.marks, timeline);
  const { low, high, step, decimals } = rangeOf(plot, marks);
  const x = (time: number): number =>
    LEFT + ((WIDTH - LEFT - RIGHT) * (time - timeline.from)) / Math.max(1, timeline.to - timeline.from);
  const y = (value: number): number =>
    TOP + (HEIGHT - TOP - BOTTOM) * (1 - (Math.min(high, Math.max(low, value)) - low) / (high - low));
  const n = (value: number): string => value.toFixed(1);
  const bottom = HEIGHT - BOTTOM;
  const rows: string[] = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9; k++) {
    const at = n(y(k * step));
    rows.push(
      `<path class="${k === 0 && low < 0 ? 'axis' : 'grid'}" d="M${LEFT} ${at}H${WIDTH - RIGHT}"/><text x="${LEFT - 5}" y="${n(y(k * step) + 4)}" text-anchor="end">${fixed(k * step, decimals)}</text>`,
    );
  }
  for (const { time, label } of datesOf(timeline)) {
    rows.push(
      `<path class="axis" d="M${n(x(time))} ${bottom}v4"/><text x="${n(x(time))}" y="${bottom + 17}" text-anchor="middle">${label}</text>`,
    );
  }
  for (const knock of timeline.knocks) {
    const from = x(knock.from);
    const wide = Math.max(3, x(knock.to) - from);
    const left = from + wide > WIDTH - 60;
    rows.push(
      `<rect class="knock" x="${n(from)}" y="${TOP}" width="${n(wide)}" height="${bottom - TOP}"/><text class="knock" x="${n(left ? from - 4 : from + wide + 4)}" y="${bottom - 6}" text-anchor="${left ? 'end' : 'start'}">${e(knock.name)}</text>`,
    );
  }
  for (const at of timeline.breaks)
    rows.push(
      `<rect class="gap" x="${n(x(at) - 3)}" y="${TOP}" width="6" height="${bottom - TOP}"/><path class="break" d="M${n(x(at) - 3)} ${TOP}V${bottom}M${n(x(at) + 3)} ${TOP}V${bottom}"/>`,
    );
  for (const event of timeline.events) {
    const at = n(x(event.time));
    const adjusted = event.kind === 'adjustment';
    rows.push(
      `<path class="${adjusted ? 'event' : 'note'}" d="M${at} ${TOP}V${bottom}"/><text class="${adjusted ? 'event' : 'note'}" x="${at}" y="${TOP - 6}" text-anchor="middle">${e(event.name)}</text>`,
    );
  }
  for (const { value, name } of plot.levels) {
    for (const level of low < 0 ? [value, -value] : [value]) {
      if (level < low || level > high) continue;
      const first =
        level === value
          ? `<text class="small" x="${WIDTH - RIGHT}" y="${n(y(level) - 4)}" text-anchor="end">${e(name)}</text>`
          : '';
      rows.push(`<path class="level" d="M${LEFT} ${n(y(level))}H${WIDTH - RIGHT}"/>${first}`);
    }
  }
  for (const line of plot.lines)
    if (line.length > 1)
      rows.push(`<path class="line" d="M${line.map((p) => `${n(x(p.time))} ${n(y(p.value))}`).join('L')}"/>`);
  for (const mark of marks) {
    const [cx, cy] = [n(x(mark.time)), n(y(mark.value))];
    rows.push(
      `<path class="bar" d="M${cx} ${n(y(mark.value - mark.error))}V${n(y(mark.value + mark.error))}"/><circle class="${mark.faint ? 'faint' : 'mark'}" cx="${cx}" cy="${cy}" r="2.8"/>`,
    );
  }
  return `<figure class="plot"><figcaption>${e(plot.title)}${plot.unit === '' ? '' : ` <span class="small">${e(plot.unit)}</span>`}</figcaption>
<svg viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="${e(plot.words)}">
<path class="axis" d="M${LEFT} ${TOP}V${bottom}H${WIDTH - RIGHT}"/>
${rows.join('\n')}
</svg></figure>`;
}

/** Weighted means over equal spans of time where there are too many. */
function thinned(marks: readonly Mark[], { from, to }: Timeline): Mark[] {
  if (marks.length <= MOST_MARKS) return [...marks];
  const bins = new Map<number, Mark[]>();
  for (const mark of marks) {
    const bin = Math.min(MOST_MARKS - 1, Math.floor((MOST_MARKS * (mark.time - from)) / Math.max(1, to - from)));
    const members = bins.get(bin);
    if (members) members.push(mark);
    else bins.set(bin, [mark]);
  }
  return [...bins.values()].map((all) => {
    const solid = all.filter(({ faint }) => !faint);
    const members = solid.length > 0 ? solid : all;
    const mean = (pick: (mark: Mark) => number): number =>
      members.reduce((sum, mark) => sum + pick(mark), 0) / members.length;
    const value = mean((mark) => mark.value);
    // What is drawn is the spread of the checks, which is what the reader would have seen of them.
    const spread = Math.sqrt(mean((mark) => (mark.value - value) ** 2 + mark.error ** 2));
    return { time: mean((mark) => mark.time), value, error: spread, faint: solid.length === 0 };
  });
}

/** Limits that hold the marks with their errors, but not every stray; round steps. */
function rangeOf(plot: Plot, marks: readonly Mark[]): { low: number; high: number; step: number; decimals: number } {
  const lows = marks.map((m) => m.value - m.error).sort((a, b) => a - b);
  const highs = marks.map((m) => m.value + m.error).sort((a, b) => a - b);
  const cut = Math.floor(marks.length / 50);
  const fitted = plot.lines.flat().map(({ value }) => value);
  let low = Math.min(lows[cut] ?? 0, ...fitted.slice(0, 1000));
  let high = Math.max(highs[highs.length - 1 - cut] ?? 1, ...fitted.slice(0, 1000));
  if (plot.fromZero) {
    low = 0;
    for (const { value } of plot.levels) if (value < 4 * high) high = Math.max(high, 1.05 * value);
  }
  if (!(high > low)) high = low + 1;
  const rough = (high - low) / 4;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * ([1, 2, 5].find((s) => s * power >= rough) ?? 10);
  const pad = plot.fromZero ? 0 : 0.04 * (high - low);
  return {
    low: low - pad,
    high: high + 0.04 * (high - low),
    step,
    decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)),
  };
}

const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** Three to six dates: days, firsts of months, or Januaries. */
function datesOf({ from, to }: Timeline): { time: number; label: string }[] {
  const days = (to - from) / DAY;
  const out: { time: number; label: string }[] = [];
  if (days <= 45) {
    const every = Math.max(1, Math.ceil(days / 5));
    for (let time = Math.ceil(from / DAY) * DAY; time <= to; time += every * DAY) {
      const date = new Date(time);
      out.push({ time, label: `${date.getUTCDate()} ${MONTHS[date.getUTCMonth()] ?? ''}` });
    }
    return out;
  }
  const first = new Date(from);
  const months = days / 30.4;
  const every = [1, 2, 3, 6, 12, 24, 60, 120].find((m) => months / m <= 6) ?? 240;
  for (let month = Math.ceil(first.getUTCMonth() / every) * every; ; month += every) {
    const time = Date.UTC(first.getUTCFullYear(), month, 1);
    if (time > to) break;
    if (time < from) continue;
    const date = new Date(time);
    const name = MONTHS[date.getUTCMonth()] ?? '';
    out.push({ time, label: every >= 12 || date.getUTCMonth() === 0 ? String(date.getUTCFullYear()) : name });
  }
  return out;
}
