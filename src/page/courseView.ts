import type { LiveState, SetRecord, SetSummary } from '../live/liveState.ts';
import { onOwnScreen } from '../live/ownScreen.ts';
import { VERDICT_WORDS } from '../report/wording.ts';
import { byId, element, setItems, setText, svg } from './dom.ts';

/** The last ten subs: a column's height is the width of the stars. */
export function drawStrip(state: LiveState): void {
  const { strip, set } = state;
  const top = Math.max(1, ...strip.map((sub) => sub.fwhmPx ?? 0));
  const items = strip.map((sub, i) => {
    const begins = i > 0 && strip[i - 1]?.set !== sub.set;
    const height = sub.fwhmPx === null ? 14 : 14 + (66 * sub.fwhmPx) / top;
    const bar = element('div', {
      class: sub.problem === null ? 'column-bar' : 'column-bar out',
      'aria-hidden': 'true',
    });
    bar.style.height = `${height}px`;
    const shown = sub.fwhmPx === null || sub.problem !== null ? '–' : sub.fwhmPx.toFixed(2);
    const words =
      sub.problem !== null
        ? `${sub.file}: ${sub.problem}`
        : `${sub.file}: FWHM ${sub.fwhmPx?.toFixed(2) ?? 'unknown'} pixels, elongation ${sub.elongation?.toFixed(2) ?? 'unknown'}, ${sub.stars} stars${begins ? ', first after a move' : ''}`;
    const kind = [begins ? 'begins' : '', i === strip.length - 1 ? 'newest' : '']
      .filter((name) => name !== '')
      .join(' ');
    return element(
      'li',
      { class: kind, title: words },
      element('span', { 'aria-hidden': 'true' }, shown),
      bar,
      element('span', { 'aria-hidden': 'true' }, sub.problem === null ? String(sub.stars) : '!'),
      element('span', { class: 'hear' }, words),
    );
  });
  byId('strip').replaceChildren(...items);
  const text =
    strip.length === 0
      ? 'None yet.'
      : `FWHM in pixels above, stars measured below. A line marks the first sub after a move. ${
          set === null || set.subs === 0 ? '' : restsOn(set)
        }`;
  setText('set-text', text);
}

function restsOn({ used, subs, cause, why }: SetRecord): string {
  const newest = used < subs ? `the newest ${used} of ${subs} subs` : used === 1 ? 'one sub' : `${used} subs`;
  return `The verdict rests on ${newest}${cause === 'start' ? '' : ` since: ${why}`}.`;
}

/** Before and after the last move: the coma of both as it lies on the screen, and the figures. */
export function drawChange(state: LiveState): void {
  const after = state.sets.at(-1);
  const before = state.sets.at(-2);
  const panel = byId('change');
  const moved = after !== undefined && before?.summary != null && after.cause !== 'pause' && after.cause !== 'set-up';
  panel.hidden = !moved;
  if (!moved || before?.summary == null) return;
  const body = byId('change-body');
  const now = after.summary;
  const rows: [string, string, string][] = [
    ['Primary', tiltWords(before.summary), now === null ? '…' : tiltWords(now)],
    ['FWHM', pixels(before.summary.fwhmPx), now === null ? '…' : pixels(now.fwhmPx)],
    ['Elongation', plain(before.summary.elongation), now === null ? '…' : plain(now.elongation)],
    ['Verdict', VERDICT_WORDS[before.summary.verdict], now === null ? '…' : VERDICT_WORDS[now.verdict]],
  ];
  body.replaceChildren(
    element('p', {}, `${after.why.charAt(0).toUpperCase()}${after.why.slice(1)}.`),
    element(
      'div',
      { class: 'pairwise' },
      comaPair(before.summary, now, state),
      element(
        'table',
        {},
        element(
          'thead',
          {},
          element('tr', {}, ...['', 'before', 'after'].map((text) => element('th', { scope: 'col' }, text))),
        ),
        element(
          'tbody',
          {},
          ...rows.map(([name, one, two]) =>
            element('tr', {}, element('th', { scope: 'row' }, name), element('td', {}, one), element('td', {}, two)),
          ),
        ),
      ),
    ),
    element(
      'p',
      { class: 'quiet' },
      'Coma of the field as it lies on your screen: dashed before, full after; rings are its error.',
    ),
  );
}

const pixels = (value: number | null): string => (value === null ? '–' : `${value.toFixed(2)} px`);
const plain = (value: number | null): string => (value === null ? '–' : value.toFixed(2));

function tiltWords({ tiltArcmin, coma3 }: SetSummary): string {
  if (tiltArcmin !== null) {
    const { value, minus, plus } = tiltArcmin;
    return `${value.toFixed(1)}′ (${Math.max(0, value - minus).toFixed(1)}\u2060–\u2060${(value + plus).toFixed(1)})`;
  }
  return coma3 === null ? '–' : `coma ${Math.hypot(coma3.x, coma3.y).toFixed(4)} ± ${coma3.error.toFixed(4)}`;
}

function comaPair(before: SetSummary, after: SetSummary | null, state: LiveState): SVGElement {
  const vectors = [before, after].map((summary) =>
    summary?.coma3 == null ? null : { ...onOwnScreen(summary.coma3, state.screen), error: summary.coma3.error },
  );
  const reach = Math.max(1e-6, ...vectors.map((v) => (v === null ? 0 : Math.hypot(v.x, v.y) + v.error)));
  const scale = 62 / reach;
  const drawn = vectors.flatMap((v, i) => {
    if (v === null) return [];
    const [x, y, r] = [v.x * scale, -v.y * scale, Math.max(2.5, v.error * scale)];
    const kind = i === 0 ? 'stroke dashed faded' : 'stroke';
    return [
      svg('path', { class: kind, 'stroke-width': i === 0 ? 3 : 5, d: `M0 0L${x} ${y}` }),
      svg('circle', { class: kind, 'stroke-width': 2, cx: x, cy: y, r }),
    ];
  });
  return svg(
    'svg',
    { viewBox: '-75 -75 150 150', role: 'img', 'aria-label': 'Coma before and after the last move' },
    svg('path', { class: 'thin', 'stroke-width': 1, d: 'M-70 0H70M0 -70V70' }),
    ...drawn,
  );
}

interface Mark {
  readonly label: string;
  readonly value: number;
  readonly low: number;
  readonly high: number;
  readonly moved: boolean;
}

/** Tilt of the primary from set to set tonight, after the earlier nights where there is a history. */
export function drawTrend(state: LiveState): void {
  const began = state.sets[0]?.since ?? '';
  const earlier: Mark[] = state.trend
    .filter(({ at }) => began === '' || at < began)
    .map((point) => ({
      label: point.at.slice(0, 10),
      value: point.tiltArcmin,
      low: Math.max(0, point.tiltArcmin - point.errorArcmin),
      high: point.tiltArcmin + point.errorArcmin,
      moved: point.adjusted,
    }));
  const tonight = state.sets.flatMap(markOf);
  const marks = [...earlier.slice(-SHOWN + tonight.length), ...tonight].slice(-SHOWN);
  byId('trend').hidden = marks.length < 2;
  if (marks.length < 2) return;
  const top = Math.max(...marks.map((mark) => mark.high), 1);
  const [width, height, left, base] = [400, 170, 38, 142];
  const x = (i: number): number => left + 14 + ((width - left - 30) * i) / Math.max(1, marks.length - 1);
  const y = (value: number): number => base - ((base - 16) * value) / top;
  const nights = earlier.length === 0 ? 0 : marks.length - tonight.length;
  const grid = [0, top / 2, top].flatMap((value) => [
    svg('path', { class: 'thin', 'stroke-width': 1, d: `M${left} ${y(value)}H${width - 8}` }),
    svg(
      'text',
      { x: left - 5, y: y(value) + 5, 'font-size': 13, 'text-anchor': 'end' },
      `${value.toFixed(value === 0 ? 0 : 1)}′`,
    ),
  ]);
  const points = marks.flatMap((mark, i) => [
    svg('path', { class: 'stroke faded', 'stroke-width': 2, d: `M${x(i)} ${y(mark.low)}V${y(mark.high)}` }),
    mark.moved
      ? svg('rect', { class: 'solid', x: x(i) - 5, y: y(mark.value) - 5, width: 10, height: 10 })
      : svg('circle', { class: 'solid', cx: x(i), cy: y(mark.value), r: 4.5 }),
  ]);
  const divide =
    nights > 0 && nights < marks.length
      ? [
          svg('path', {
            class: 'stroke dashed faded',
            'stroke-width': 1.5,
            d: `M${(x(nights - 1) + x(nights)) / 2} 8V${base}`,
          }),
          svg('text', { x: x(nights), y: base + 20, 'font-size': 13 }, 'tonight'),
        ]
      : [];
  const spoken = marks.map(
    (mark) => `${mark.label}: ${mark.value.toFixed(1)}′ (${mark.low.toFixed(1)} to ${mark.high.toFixed(1)})`,
  );
  byId('trend-body').replaceChildren(
    svg(
      'svg',
      { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': 'Tilt of the primary from set to set' },
      ...grid,
      ...divide,
      ...points,
    ),
    element(
      'p',
      { class: 'quiet' },
      'Tilt of the primary by coma, with its 68 % interval. Squares: after a screw was turned.',
    ),
    element('ol', { class: 'hear' }, ...spoken.map((text) => element('li', {}, text))),
  );
}

const SHOWN = 24;

function markOf(set: SetRecord): Mark[] {
  const tilt = set.summary?.tiltArcmin;
  if (tilt == null) return [];
  return [
    {
      label: `set ${set.id}`,
      value: tilt.value,
      low: Math.max(0, tilt.value - tilt.minus),
      high: tilt.value + tilt.plus,
      moved: set.cause === 'nudge',
    },
  ];
}

export function drawProblems(state: LiveState): void {
  byId('problems').hidden = state.problems.length === 0;
  setItems('problem-list', state.problems);
  setItems('caution-list', state.cautions);
}
