import { decimalsFor, fixed, plusMinus } from './amounts.ts';
import type { Evidence } from './evidence.ts';
import type { FieldMap } from './maps/fieldMap.ts';
import { extremes, mapFigure } from './maps/mapFigure.ts';
import { drawPortrait, portraitsFigure } from './portraits/portraitFigure.ts';
import type { Portrait } from './portraits/stack.ts';
import type { Report } from './record.ts';
import { round } from './svg.ts';
import { escapeHtml as e } from './untrusted.ts';
import { capital, causeWords, directionWords } from './wording.ts';

/** The page's parts that are drawn from the stars: maps, portraits, and the main finding held against a drawn star. */
export function evidenceSections(report: Report, evidence: Evidence): string[] {
  return [comparisonSection(report, evidence), portraitsSection(evidence), mapsSection(report, evidence)].filter(
    (section) => section !== '',
  );
}

function mapsSection(report: Report, { maps }: Evidence): string {
  const { size, elongation, defocus, defocusUnit } = maps;
  if (size === null || elongation === null) return '';
  const arcsec = report.scale.arcsecPerPx;
  const figures = [
    figureOf(maps, size, 'Star size', 'px', arcsec === null ? '' : `1 px is ${fixed(arcsec, 2)}″.`),
    figureOf(maps, elongation, 'Elongation', '', 'Long over short axis, the noise’s share taken off.'),
    defocus === null
      ? ''
      : figureOf(
          maps,
          defocus,
          'Distance from best focus',
          defocusUnit,
          'Dashed: where the stars are in focus. One focus does not tell which side of it is which.',
        ),
  ];
  return `<section aria-labelledby="maps">
<h2 id="maps">Over the field</h2>
<p class="small">Smooth over all stars; more ink is more. Lines carry their values, dots the least and the largest value with its error (1 σ).</p>
<div class="maps">${figures.join('\n')}</div>
</section>`;
}

function figureOf(
  frame: { readonly width: number; readonly height: number },
  map: FieldMap,
  name: string,
  unit: string,
  note: string,
): string {
  const { low, high, error, flat } = extremes(map);
  const text = (at: number): string => measuredAt(map, at) + (unit === '' ? '' : ` ${unit}`);
  const where = (at: number): string => placeWords(map, at);
  const range = flat
    ? `the same all over within its error, ${text(Math.floor(map.rows / 2) * map.columns + Math.floor(map.columns / 2))} in the middle`
    : `${text(low)} ${where(low)} to ${text(high)} ${where(high)}`;
  const words = `${name}: ${range}.`;
  return `<figure>
<figcaption><strong>${e(name)}${unit === '' ? '' : `, ${e(unit)}`}</strong></figcaption>
${mapFigure(map, frame, { alt: `Contour map. ${words}`, unit })}
<p class="small">${e(`${capital(range)}. Typical error ${fixed(error, Math.min(3, decimalsFor(error)))}.`)} ${e(note)}</p>
</figure>`;
}

function measuredAt(map: FieldMap, at: number): string {
  const error = map.errors[at] ?? 0;
  const decimals = Math.min(3, decimalsFor(error));
  return `${fixed(map.values[at] ?? 0, decimals)} ± ${fixed(error, decimals)}`;
}

/** 'at the lower left', 'in the middle'. */
function placeWords(map: FieldMap, at: number): string {
  const x = (at % map.columns) / (map.columns - 1) - 0.5;
  const y = 0.5 - Math.floor(at / map.columns) / (map.rows - 1);
  if (Math.hypot(x, y) < 0.17) return 'in the middle';
  return `at the ${directionWords((Math.atan2(y, x) * 180) / Math.PI)}`;
}

/** What the blue patches of a portrait are. */
const ODD_WORDS =
  'Blue: light beyond that of the opposite side; with coma a patch lies outside on the tail’s side and another near the core on the other.';

function portraitsSection({ portraits, maps, screenY }: Evidence): string {
  if (portraits.length === 0) return '';
  const alt = `Mean stars of ${portraits.length} places of the frame, drawn as contours where they stand; the list below gives their numbers.`;
  const { svg, magnification } = portraitsFigure(portraits, maps, screenY, alt);
  const items = portraits.map(
    (p, i) =>
      `<tr><th scope="row">${i + 1}</th><td>${fixed(p.x, 0)}, ${fixed(p.y, 0)}</td><td>${p.portrait.stars}</td><td>${plusMinus(p.fwhmPx)}</td><td>${plusMinus(p.elongation)}</td><td>${fixed(p.axisDeg, 0)}°</td></tr>`,
  );
  return `<section aria-labelledby="portraits">
<h2 id="portraits">Mean stars where they stand</h2>
<figure>
<div class="wide">${svg}</div>
<figcaption>Each is the mean of the stars about its place, laid upon one another by their fitted centres (the cross) and drawn ${fixed(magnification, 0)} times larger than the frame. Contours at 2.5, 6, 13, 25, 50 (bold) and 75 % of the peak, where noise allows. ${ODD_WORDS} Below each: its number, FWHM in px, elongation.</figcaption>
</figure>
<details>
<summary>The places in numbers</summary>
<div class="wide"><table>
<caption>Places from the middle of the frame, px (x right, y up); medians with 1 σ errors</caption>
<thead><tr><th scope="col">No.</th><th scope="col">Place</th><th scope="col">Stars</th><th scope="col">FWHM, px</th><th scope="col">Elongation</th><th scope="col">Long axis</th></tr></thead>
<tbody>
${items.join('\n')}
</tbody>
</table></div>
</details>
</section>`;
}

function comparisonSection(report: Report, { comparison, portraits, cause, screenY }: Evidence): string {
  const measured = comparison && portraits[comparison.place];
  if (!comparison || !measured) return '';
  const name = cause === null ? '' : causeWords(cause, report);
  const percent = (share: number): string => `${fixed(100 * share, 1)} %`;
  const drawn = [
    star(
      measured.portrait,
      screenY,
      'Measured',
      `${measured.portrait.stars} stars about place ${comparison.place + 1}`,
    ),
    star(
      comparison.fitted,
      screenY,
      'Drawn from what was fitted',
      `differs by ${percent(comparison.fittedDiffers)} of the peak`,
    ),
    comparison.without === null || comparison.withoutDiffers === null
      ? ''
      : star(
          comparison.without,
          screenY,
          `Drawn without ${name === 'collimation' ? 'the coma' : `the ${name}`}`,
          `differs by ${percent(comparison.withoutDiffers)} of the peak`,
        ),
  ];
  const seeing = `${fixed(comparison.seeingArcsec, 1)}″ of seeing`;
  return `<section aria-labelledby="drawn">
<h2 id="drawn">${cause === null ? 'Measured against drawn' : `${e(capital(name))}: measured against drawn`}</h2>
<div class="drawn">${drawn.join('\n')}</div>
<p class="small">Drawn by Fourier optics of this telescope with the fitted amounts and ${seeing}, stacked like the measured stars. ${ODD_WORDS} The difference is the root mean square where a star is brighter than 5 % of its peak. ${verdictOf(comparison.fittedDiffers, comparison.withoutDiffers)}</p>
</section>`;
}

/** What the two differences say of the finding. */
function verdictOf(fitted: number, without: number | null): string {
  if (without === null) return '';
  const ratio = without / Math.max(fitted, 1e-6);
  if (ratio > 1.3)
    return `Leaving the cause out makes the difference ${fixed(ratio, 1)} times larger: the stars show it.`;
  if (ratio > 0.9)
    return 'Leaving the cause out changes little here: the finding rests on the whole field, not on this place.';
  return 'The drawn star without the cause comes nearer here: take this finding with care.';
}

function star(portrait: Portrait, screenY: 1 | -1, title: string, below: string): string {
  const half = 100;
  return `<figure>
<figcaption><strong>${e(title)}</strong></figcaption>
<svg class="portrait" viewBox="${-half} ${-half} ${2 * half} ${2 * half}" role="img" aria-label="${e(`${title}: mean star as contours`)}">
${drawPortrait(portrait, 0, 0, half / portrait.half, screenY)}
<path class="ruler" d="M${round(-half + 6)} ${half - 8}h${round((2 * half) / portrait.half)}"/><text class="ruler-text" x="${round(-half + 6)}" y="${half - 14}">2 px</text>
</svg>
<p class="small">${e(below)}</p>
</figure>`;
}
