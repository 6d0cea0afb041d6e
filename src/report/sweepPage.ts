import { fixed, plusMinus } from './amounts.ts';
import { CAUTIONS } from './cautions.ts';
import { PAGE_STYLE } from './pageStyle.ts';
import { contourPlot, curvePlot, surfaceOf } from './sweepPlots.ts';
import type { SweepRecord } from './sweepRecord.ts';
import { sweepFacts } from './sweepText.ts';
import {
  againstWords,
  comaIsFault,
  curvatureIsFault,
  plateWords,
  sideWords,
  tiltIsFault,
  turnedWords,
} from './sweepWords.ts';
import { escapeHtml as e } from './untrusted.ts';
import { capital } from './wording.ts';

const PLOT_STYLE = `
.plot { display: block; width: 100%; height: auto; max-width: 44rem; color: var(--ink); }
.plot text { fill: currentColor; font-size: 16px; }
.plot .axis line { stroke: var(--muted); } .plot .axis text { fill: var(--muted); }
.plot path { fill: none; stroke-width: 2; }
.plot .one { stroke: var(--good); fill: var(--good); } .plot .two { stroke: var(--adjust); fill: none; stroke-width: 2; }
.plot .one path, .plot .two path { fill: none; }
.plot .mark { stroke: var(--muted); stroke-dasharray: 3 4; }
.map .frame { fill: var(--raised); stroke: var(--line); stroke-width: 2; }
.map path { stroke: var(--muted); stroke-width: 1.6; }
.map .plus { stroke: var(--adjust); } .map .minus { stroke: var(--good); stroke-dasharray: 7 4; } .map .zero { stroke: var(--ink); stroke-width: 2.4; }
.map text { paint-order: stroke; stroke: var(--raised); stroke-width: 5px; stroke-linejoin: round; font-variant-numeric: tabular-nums; }
.map .middle { fill: var(--ink); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .4rem 1.2rem; margin: .5rem 0; max-width: 48rem; }
dt { color: var(--muted); } dd { margin: 0; } dd p { margin: 0 0 .2rem; }
.subs td, .subs thead th:not(:first-child) { text-align: right; } .subs .left-out td { color: var(--muted); }
.option { white-space: nowrap; }
@media (max-width: 34rem) { .plot text { font-size: 21px; } .subs table { font-size: .82rem; } .subs thead th { font-size: .78rem; } .subs tbody th { min-width: 4rem; } .subs td, .subs th { padding-right: .2rem; } }
@media print { .plot { max-width: 118mm; } p { break-inside: avoid; } }
`;

/** A sentence for the page: amounts stay with their errors and units, options in one piece. */
function prose(text: string): string {
  const whole = e(text).replaceAll(' ± ', '\u00a0±\u00a0').replaceAll(' µm', '\u00a0µm');
  return whole.replace(/--[a-z-]+/g, '<span class="option">$&</span>');
}

/** report.html of a sweep: self-contained, printable, light and dark, nothing loaded from outside. */
export function renderSweepPage(record: SweepRecord): string {
  const fault = tiltIsFault(record) || curvatureIsFault(record) || comaIsFault(record);
  const state = record.status === 'inconclusive' ? 'inconclusive' : fault ? 'adjust' : 'good';
  const word = { inconclusive: 'Cannot tell yet', adjust: 'Adjust', good: 'In tolerance' }[state];
  const sections = [
    curvesSection(record),
    surfaceSection(record),
    againstSection(record),
    allSection(record),
    framesSection(record),
    careSection(),
  ];
  return `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="color-scheme" content="light dark">
<title>${e(`Focus run: ${record.headline}`)}</title>
<style>${PAGE_STYLE}${PLOT_STYLE}</style>
</head>
<body>
<main>
<header class="${state}">
<p class="verdict">${word}</p>
<h1>${prose(record.headline)}</h1>
</header>
<section class="next" aria-labelledby="next">
<h2 id="next">What to do now</h2>
<p class="move">${prose(record.next)}</p>
<p class="care">Before touching anything, read the <a href="#care">cautions</a>.</p>
</section>
${sections.filter((s) => s !== '').join('\n')}
</main>
</body>
</html>
`;
}

function curvesSection(record: SweepRecord): string {
  const plot = curvePlot(record);
  if (plot === '') return '';
  return `<section aria-labelledby="curves">
<h2 id="curves">Through focus</h2>
<figure>${plot}
<figcaption>Star size (2 sqrt of the mean squared radius) in the two ninths of the frame whose best focus lies furthest apart; lines: the fitted curve, shifted to each one’s best focus. The dashed line is best focus in the middle.</figcaption></figure>
</section>`;
}

function surfaceSection(record: SweepRecord): string {
  const plot = contourPlot(record);
  if (plot === '' || !record.tilt || !record.curvature?.um) return '';
  const { tilt, curvature } = record;
  const way = { out: 'out, away from the mirror', in: 'in, towards the mirror' };
  const larger = record.focuser.largerReadings;
  const sense =
    larger === null
      ? 'Plus is the way the camera moves as readings grow; whether that is in or out was not told.'
      : `Plus is ${way[larger]}.`;
  const corners = tilt.corners
    .map((c) => `${c.corner} ${c.um > 0 ? '+' : ''}${fixed(c.um, 0)} ± ${fixed(c.error, 0)} µm`)
    .join(', ');
  return `<section aria-labelledby="surface">
<h2 id="surface">Best focus over the frame</h2>
<figure>${plot}
<figcaption>Where the camera would have to stand for each place to be sharpest, µm from the middle’s best focus, as the frame lies on the screen. ${prose(sense)}</figcaption></figure>
<p>${prose(capital(sideWords(tilt)))}. Tilt alone makes, against the middle: ${prose(corners)}; curvature adds ${prose(plusMinus(curvature.um ?? { value: 0, error: 0 }))} µm in every corner.</p>
${record.plate === null ? '' : `<p>${record.next.startsWith(plateWords(record)) ? '' : `${prose(plateWords(record))} `}Find out which screw lies where in the picture by turning one a known little and taking another run: cameras differ in how they lie against the screen.</p>`}
${record.turned === null ? '' : `<p>${prose(turnedWords(record))}</p>`}
</section>`;
}

function againstSection(record: SweepRecord): string {
  const { against } = record;
  const now = surfaceOf(record);
  if (against?.gradientBefore == null || now === null || against.curvatureBeforeUm === null) return '';
  const before = { gradient: against.gradientBefore, curvatureUm: against.curvatureBeforeUm.value };
  return `<section aria-labelledby="before">
<h2 id="before">Before and after</h2>
<p>${prose(againstWords(record))}</p>
<figure>${contourPlot(record, before)}
<figcaption>Before: ${e(against.file)} of ${e(against.created.slice(0, 16).replace('T', ' '))} UTC, in the same micrometres as the map above.</figcaption></figure>
</section>`;
}

/** Everything in words, as report.txt has it. */
function allSection(record: SweepRecord): string {
  const facts = sweepFacts(record);
  if (facts.length === 0) return '';
  const items = facts.map(
    ([label, ...lines]) => `<dt>${e(label)}</dt><dd>${lines.map((line) => `<p>${prose(line)}</p>`).join('')}</dd>`,
  );
  return `<section aria-labelledby="numbers">
<h2 id="numbers">In numbers</h2>
<dl>${items.join('\n')}</dl>
</section>`;
}

function framesSection(record: SweepRecord): string {
  const rows = record.frames.map((f) => {
    const cells = [
      f.reading === null ? '–' : String(f.reading),
      f.fromFocusUm === null ? '–' : `${f.fromFocusUm > 0 ? '+' : ''}${fixed(f.fromFocusUm, 0)}`,
      String(f.starsMeasured),
      f.halfFluxDiameterPx === null ? '–' : fixed(f.halfFluxDiameterPx, 2),
      f.light === null ? '–' : `${fixed(100 * f.light, 0)}\u00a0%`,
    ];
    const why = f.used ? '' : `<br><span class="small">left out: ${e(f.whyNot ?? '')}</span>`;
    return `<tr${f.used ? '' : ' class="left-out"'}><th scope="row"><span class="file">${e(f.file.split(/[\\/]/).at(-1) ?? f.file)}</span>${why}</th>${cells.map((c) => `<td>${e(c)}</td>`).join('')}</tr>`;
  });
  const heads = ['File', 'Reading', 'From focus, µm', 'Stars', 'Half-flux diameter, px', 'Light'];
  return `<section aria-labelledby="frames" class="subs">
<h2 id="frames">Frames</h2>
<div class="wide"><table><caption>What each frame gave; light is that of the same stars against the clearest frames</caption>
<thead><tr>${heads.map((h) => `<th scope="col">${h}</th>`).join('')}</tr></thead>
<tbody>${rows.join('\n')}</tbody></table></div>
${record.notes.length === 0 ? '' : `<ul>${record.notes.map((n) => `<li>${prose(n)}</li>`).join('')}</ul>`}
</section>`;
}

function careSection(): string {
  return `<section aria-labelledby="care" class="cautions">
<h2 id="care">Cautions</h2>
<ul>${CAUTIONS.map((c) => `<li>${e(c)}</li>`).join('\n')}</ul>
</section>`;
}
