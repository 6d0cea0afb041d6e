import type { ScalarTrend } from '../stability/scalarTrend.ts';
import type { Trend } from '../stability/trend.ts';
import { SHORT_CAUTION } from './cautions.ts';
import { PAGE_STYLE } from './pageStyle.ts';
import { type Mark, type Plot, plotSvg, type Timeline } from './trendPlot.ts';
import { breakWords, nightDate, STRAY_WEIGHT, trendWords } from './trendWords.ts';
import { escapeHtml as e } from './untrusted.ts';

const TREND_STYLE = `
:root { --series: #0b5c8a; --jump: #9a4a00; --band: #f6dcc0; }
@media (prefers-color-scheme: dark) { :root { --series: #8ed0ff; --jump: #ff9d4d; --band: #4a2c12; } }
@media print { :root { --series: #0b5c8a; --jump: #9a4a00; --band: #f3e3d0; } }
main { max-width: 68rem; }
.state { display: inline-block; margin: .5rem 0 .3rem; padding: .1rem .7rem; border: 2px solid currentColor; border-radius: .3rem; font-weight: 700; }
.holds .state { color: var(--good); } .moved .state { color: var(--adjust); } .open .state { color: var(--unsure); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .25rem 1rem; margin: .6rem 0; max-width: 54rem; }
dt { color: var(--muted); } dd { margin: 0; }
.plots { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 25rem), 1fr)); gap: 1.2rem 1.6rem; }
.plot figcaption { color: var(--ink); font-weight: 600; margin: 0; }
svg { display: block; width: 100%; height: auto; }
svg text { fill: var(--muted); font: 13px system-ui, sans-serif; }
svg path { fill: none; } svg .axis { stroke: var(--muted); } svg .grid { stroke: var(--line); }
svg .mark { fill: var(--series); } svg .faint { fill: var(--ground); stroke: var(--series); }
svg .bar { stroke: var(--series); stroke-opacity: .55; } svg .line { stroke: var(--ink); stroke-width: 2; }
svg .level { stroke: var(--muted); stroke-dasharray: 6 4; }
svg .event { stroke: var(--ink); stroke-width: 1.5; } svg text.event, svg text.note { stroke: none; fill: var(--ink); }
svg .note { stroke: var(--muted); stroke-dasharray: 2 3; }
svg rect.knock { fill: var(--band); } svg text.knock { fill: var(--jump); font-weight: 700; }
svg .gap { fill: var(--ground); } svg .break { stroke: var(--ink); }
@media (max-width: 34rem) { dl { grid-template-columns: 1fr; gap: 0; } dt { margin-top: .5rem; } }
`;

export interface TrendPageParts {
  /** When the page was made, ISO 8601. */
  readonly created: string;
}

/** The trend as one self-contained page: nothing loaded from outside, light and dark, printable. */
export function renderTrendHtml(trend: Trend, { created }: TrendPageParts): string {
  const words = trendWords(trend);
  const state = { holds: 'Holds', moved: 'Moved', open: 'Cannot tell yet' }[words.state];
  const timeline = timelineOf(trend);
  const items = words.items.map(({ label, text }) => `<dt>${e(label)}</dt><dd>${e(text)}</dd>`).join('\n');
  const notes = words.notes.map((note) => `<li>${e(note)}</li>`).join('\n');
  return `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="color-scheme" content="light dark">
<title>${e(`Collimation over time${trend.rig === null ? '' : `: ${trend.rig}`}`)}</title>
<style>${PAGE_STYLE}${TREND_STYLE}</style>
</head>
<body>
<main>
<header class="${words.state}">
<p class="state">${state}</p>
<h1>${e(words.headline)}</h1>
</header>
<dl>
${items}
</dl>
${timeline === null ? '' : plotsSection(trend, timeline)}
${notes === '' ? '' : `<section aria-labelledby="notes"><h2 id="notes">Notes</h2><ul>${notes}</ul></section>`}
<p class="care">${e(SHORT_CAUTION)}</p>
<p class="small">Made ${e(created.slice(0, 16).replace('T', ' '))} UTC. Dates are those of the evenings, UTC.</p>
</main>
</body>
</html>
`;
}

function timelineOf(trend: Trend): Timeline | null {
  const [first, last] = [trend.points[0], trend.points.at(-1)];
  if (first === undefined || last === undefined) return null;
  const room = Math.max(0.02 * (last.time - first.time), 3_600_000);
  const [from, to] = [first.time - room, last.time + room];
  const counts = { adjustment: 0, note: 0 };
  return {
    from,
    to,
    events: trend.events
      .map(({ kind, time }) => {
        counts[kind]++;
        return { time: Date.parse(time), kind, name: `${kind === 'adjustment' ? 'A' : 'N'}${counts[kind]}` };
      })
      .filter(({ time }) => time >= from && time <= to),
    knocks: trend.eras
      .flatMap((era) => era.fit?.knocks ?? [])
      .map((knock, i) => ({ from: knock.earliest, to: knock.latest, name: `jump ${i + 1}` })),
    breaks: trend.stretches.filter(({ why }) => why !== 'first').map(({ first: at }) => at),
  };
}

const UNITS = { arcmin: '′ of primary tilt', um: 'µm of W131', coma3: 'coma3' } as const;

function plotsSection(trend: Trend, timeline: Timeline): string {
  // Only directions are broken: lengths and the rest go on.
  const whole = { ...timeline, breaks: [] };
  const jumpless = { ...whole, knocks: [] };
  const plots = [
    plotSvg(lengthPlot(trend), whole),
    ...(trend.points.some(({ coma }) => coma !== null)
      ? [plotSvg(componentPlot(trend, 'x'), timeline), plotSvg(componentPlot(trend, 'y'), timeline)]
      : []),
    ...scalarPlot('Sensor tilt', 'µm, edge to edge', trend.sensorTilt, true, jumpless),
    ...scalarPlot('Field curvature', 'µm, corner less centre', trend.curvature, false, jumpless),
    ...scalarPlot(
      'FWHM of the sharpest zone, and its floor',
      trend.fwhmUnit === 'arcsec' ? 'arcseconds' : 'pixels',
      trend.fwhm,
      false,
      jumpless,
    ),
    ...scalarPlot('Elongation', 'longer over shorter axis', trend.elongation, false, jumpless),
  ];
  return `<section aria-labelledby="plots">
<h2 id="plots">Over the weeks</h2>
<p class="small">Bars are 1 sigma. Lines are the fit at the usual temperature and altitude. Directions are those of the screen as the camera stood last. ${legend(trend, timeline)}</p>
<div class="plots">
${plots.join('\n')}
</div>
${eventsList(trend)}
</section>`;
}

function legend(trend: Trend, timeline: Timeline): string {
  const faint = trend.points.some(
    (point) => point.weight < STRAY_WEIGHT || (point.length !== null && point.coma === null),
  );
  return [
    timeline.knocks.length > 0 ? 'Shaded: a jump happened in there.' : '',
    faint ? 'Hollow: strays, and checks whose camera angle is not known.' : '',
    timeline.breaks.length > 0
      ? 'Double line: the camera stands otherwise, directions before and after cannot be compared.'
      : '',
  ]
    .filter((part) => part !== '')
    .join(' ');
}

function eventsList(trend: Trend): string {
  const counts = { adjustment: 0, note: 0 };
  const items = [
    ...trend.events.map(({ kind, time, text }) => {
      counts[kind]++;
      return { time, html: `${kind === 'adjustment' ? 'A' : 'N'}${counts[kind]}: ${e(text)}` };
    }),
    ...trend.stretches
      .filter(({ why }) => why !== 'first')
      .map((stretch) => ({
        time: new Date(stretch.first).toISOString(),
        html: `Directions broken: ${e(breakWords(stretch))}.`,
      })),
  ].sort((a, b) => (a.time < b.time ? -1 : 1));
  if (items.length === 0) return '';
  return `<ul>${items.map(({ time, html }) => `<li>${e(time.slice(0, 10))} ${html}</li>`).join('\n')}</ul>`;
}

function lengthPlot(trend: Trend): Plot {
  return {
    title: 'Length of coma',
    words: `Length of coma at each check, ${spanWords(trend)}.`,
    unit: UNITS[trend.unit],
    marks: trend.points.flatMap((point) =>
      point.length === null
        ? []
        : [{ time: point.time, ...point.length, faint: point.weight < STRAY_WEIGHT || point.coma === null }],
    ),
    lines: courses(trend, ({ x, y }) => Math.hypot(x, y)),
    levels: trend.tolerance === null ? [] : [{ value: trend.tolerance, name: 'tolerance' }],
    fromZero: true,
  };
}

function componentPlot(trend: Trend, key: 'x' | 'y'): Plot {
  return {
    title: key === 'x' ? 'Coma to the right (+) or left (−)' : 'Coma to the top (+) or bottom (−)',
    words: `Part of coma along the screen's ${key === 'x' ? 'width' : 'height'}, ${spanWords(trend)}.`,
    unit: UNITS[trend.unit],
    marks: trend.points.flatMap(({ coma, time, weight }): Mark[] =>
      coma === null
        ? []
        : [
            {
              time,
              value: coma[key],
              error: Math.hypot(coma.noise, coma.lengthError * coma[key]),
              faint: weight < STRAY_WEIGHT,
            },
          ],
    ),
    lines: courses(trend, (v) => v[key]),
    levels: trend.tolerance === null ? [] : [{ value: trend.tolerance, name: 'tolerance' }],
    fromZero: false,
  };
}

const spanWords = (trend: Trend): string =>
  `${nightDate(trend.points[0]?.time ?? 0)} to ${nightDate(trend.points.at(-1)?.time ?? 0)}`;

/** The fit of each era, drawn straight between its jumps. */
function courses(
  trend: Trend,
  pick: (v: { readonly x: number; readonly y: number }) => number,
): { time: number; value: number }[][] {
  return trend.eras.flatMap((era) => {
    const { fit } = era;
    if (fit === null) return [];
    const cuts = fit.knocks.toSorted((a, b) => a.after - b.after);
    const pieces = [
      ...cuts.map((knock, i) => [cuts[i - 1]?.after ?? era.first, knock.before] as const),
      [cuts.at(-1)?.after ?? era.first, era.last] as const,
    ];
    return pieces.map(([from, to]) =>
      Array.from({ length: 13 }, (_, k) => {
        const time = from + ((to - from) * k) / 12;
        return { time, value: pick(fit.at(time)) };
      }),
    );
  });
}

function scalarPlot(title: string, unit: string, scalar: ScalarTrend, fromZero: boolean, timeline: Timeline): string[] {
  const marks = scalar.points.flatMap(({ time, value, error }): Mark[] =>
    value === null ? [] : [{ time, value, error: error ?? 0, faint: false }],
  );
  if (marks.length === 0) return [];
  const plot: Plot = {
    title,
    unit,
    words: `${title} at each check.`,
    marks,
    lines: [scalar.floor],
    levels: [],
    fromZero,
  };
  return [plotSvg(plot, timeline)];
}
