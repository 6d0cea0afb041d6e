import { fixed, plusAndMinus, plusMinus, significant } from './amounts.ts';
import { CAUTIONS } from './cautions.ts';
import { citationSentence, SOURCES } from './citation.ts';
import type { Evidence } from './evidence.ts';
import { evidenceSections } from './evidencePage.ts';
import { againstSection } from './htmlAgainst.ts';
import { leftOutSection } from './leftOutPage.ts';
import { PAGE_STYLE } from './pageStyle.ts';
import type { Finding, FrameRecord, Measured, Report, Vector, Zone } from './record.ts';
import { round } from './svg.ts';
import { escapeHtml as e } from './untrusted.ts';
import {
  axisWords,
  bareHeadline,
  capital,
  causeWords,
  directionWords,
  firstFault,
  nextMove,
  STATUS_WORDS,
  sentence,
  starsWords,
  VERDICT_WORDS,
} from './wording.ts';

export interface PageParts {
  /** field.png's picture as JPEG, to stand within the page. */
  readonly pictureJpeg: Uint8Array;
  /** Drawn from the stars; null where only the record is at hand. */
  readonly evidence: Evidence | null;
}

/** report.html: one self-contained page, printable, light and dark, nothing loaded from outside. */
export function renderHtml(report: Report, { pictureJpeg, evidence }: PageParts): string {
  const sections = [
    pictureSection(report, pictureJpeg),
    againstSection(report),
    findingsSection(report),
    ...(evidence === null ? [] : evidenceSections(report, evidence)),
    zonesSection(report),
    fieldSection(report),
    framesSection(report),
    leftOutSection(report),
    cautionsSection(),
    madeSection(report),
    citeSection(report),
  ];
  return `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="color-scheme" content="light dark">
<title>${e(`${VERDICT_WORDS[report.verdict]}: ${firstFile(report)}`)}</title>
<style>${PAGE_STYLE}</style>
</head>
<body>
<main>
${answer(report)}
${sections.join('\n')}
</main>
</body>
</html>
`;
}

function firstFile(report: Report): string {
  const more = report.frames.length - 1;
  return `${report.frames[0]?.file ?? ''}${more > 0 ? ` and ${more} more` : ''}`;
}

function answer(report: Report): string {
  const fault = firstFault(report);
  const move = nextMove(report);
  // What stands above in bold is not said again.
  const rest = fault?.advice.startsWith(move) ? fault.advice.slice(move.length).trim() : (fault?.advice ?? '');
  const advice = rest === '' ? '' : paragraphs(rest);
  const needs =
    fault && report.needs !== null ? `<p>For a surer answer: ${e(report.needs.replace(/\.$/, ''))}.</p>` : '';
  return `<header class="${report.verdict}">
<p class="verdict">${e(VERDICT_WORDS[report.verdict])}</p>
<h1>${e(bareHeadline(report))}</h1>
</header>
<section class="next" aria-labelledby="next">
<h2 id="next">What to do now</h2>
<p class="move">${e(move)}</p>
${advice}${needs}
<p class="care">Before touching anything, read the <a href="#care">cautions</a>.</p>
</section>`;
}

/** What to aim at, then how it is done. */
function paragraphs(advice: string): string {
  return advice
    .split(/ (?=How: )/)
    .map((part) => `<p>${e(part)}</p>`)
    .join('');
}

function pictureSection(report: Report, jpeg: Uint8Array): string {
  const image = Buffer.from(jpeg.buffer, jpeg.byteOffset, jpeg.byteLength).toString('base64');
  const { rowOrder, assumed } = report.orientation;
  const rows = `The first stored row is ${rowOrder === 'TOP-DOWN' ? 'on top' : 'at the bottom'}${assumed ? ', which is assumed: the file does not say' : ''}.`;
  return `<section aria-labelledby="picture">
<h2 id="picture">The frame</h2>
<figure>
<img src="data:image/jpeg;base64,${image}" alt="${e(pictureWords(report))}">
<figcaption>${e(rows)} Whiskers show how far and which way stars are drawn out, dots that no direction is seen; the number in each zone is the star size (FWHM). The disc is the tolerance of coma, the fan at the arrow’s tip its errors. If star A is elsewhere on your screen than here, your screen is flipped or turned: follow the stars, not the words.</figcaption>
</figure>
</section>`;
}

/** The picture in words, for those who cannot see it. */
function pictureWords(report: Report): string {
  const coma = report.findings.find((finding) => finding.cause === 'miscollimation');
  const tilt = report.findings.find((finding) => finding.cause === 'sensor-tilt');
  const parts = ['The stretched frame with nine zones and elongation whiskers.'];
  if (coma?.status === 'fault' && coma.directionDeg !== null)
    parts.push(`An arrow shows coma tails pointing to the ${directionWords(coma.directionDeg)}.`);
  if (tilt?.status === 'fault' && tilt.axisDeg !== null)
    parts.push(`A dashed line from ${axisWords(tilt.axisDeg)} shows along which axis the focus changes.`);
  if (report.findings.some((finding) => finding.starShiftPx))
    parts.push('Star A and the place B where it shall come to stand are marked.');
  return parts.join(' ');
}

function table(caption: string, head: readonly string[], rows: readonly (readonly string[])[]): string {
  const heads = head.map((text) => `<th scope="col">${text}</th>`).join('');
  const body = rows
    .map(
      ([first = '', ...rest]) =>
        `<tr><th scope="row">${first}</th>${rest.map((cell) => `<td>${cell}</td>`).join('')}</tr>`,
    )
    .join('\n');
  return `<div class="wide"><table>
<caption>${caption}</caption>
<thead><tr>${heads}</tr></thead>
<tbody>
${body}
</tbody>
</table></div>`;
}

const DASH = '–';

function findingsSection(report: Report): string {
  const first = firstFault(report);
  const rows = report.findings.map((finding) => [
    e(capital(causeWords(finding.cause, report))),
    `<span class="status ${finding.status}">${e(STATUS_WORDS[finding.status])}</span>${sigmas(finding)}`,
    shareCell(finding),
    finding.widensPx === null ? DASH : `${fixed(finding.widensPx, 2)}&nbsp;px`,
    e(directionOf(finding)),
  ]);
  const faults = report.findings.filter((finding) => finding.status === 'fault');
  const others = report.findings.filter((finding) => finding.status !== 'fault');
  return `<section aria-labelledby="found" class="found">
<h2 id="found">What was looked for</h2>
${table('Every cause, faults first. Bars: the amount against its tolerance (the upright line), with its interval of 68 %', ['Cause', 'Status', 'Of tolerance', 'Widens stars by', 'Direction'], rows)}
${faults.map((finding) => faultSection(finding, report, finding === first)).join('\n')}
${others.length === 0 ? '' : `<h3>${faults.length === 0 ? 'One by one' : 'The others'}</h3>\n<ul>${others.map((finding) => otherItem(finding, report)).join('\n')}</ul>`}
</section>`;
}

const sigmas = (finding: Finding): string =>
  finding.significance === null ? '' : ` <span class="small">${significant(finding.significance)}&nbsp;σ</span>`;

/** Tolerances that the bar spans; more ends in an arrow. */
const BAR_SPAN = 4;

/** The amount in tolerances, in figures and as a small bar. */
function shareCell({ toleranceShare: share }: Finding): string {
  if (share === null) return DASH;
  const x = (value: number): string => round(Math.min(value, BAR_SPAN) * 30);
  const beyond = share.value > BAR_SPAN ? '<path class="amount-over" d="M117 4l7 5-7 5z"/>' : '';
  const interval =
    share.low < BAR_SPAN
      ? `<path class="interval" d="M${x(share.low)} 9H${x(share.high)}M${x(share.low)} 5.5v7M${x(share.high)} 5.5v7"/>`
      : '';
  return `<span class="of">${significant(share.value)}</span><svg class="share" viewBox="-1 0 126 18" aria-hidden="true"><rect class="room" width="30" height="18"/><rect class="amount" y="6" width="${x(share.value)}" height="6"/>${interval}${beyond}<path class="limit" d="M30 0v18"/></svg>`;
}

const toleranceWords = (finding: Finding): string =>
  finding.tolerance === null ? '' : ` <span class="small">Tolerance: ${e(finding.tolerance)}.</span>`;

function faultSection(finding: Finding, report: Report, toldAbove: boolean): string {
  const advice = toldAbove ? '<p>What to do about it stands at the top.</p>' : `<p>${e(sentence(finding.advice))}</p>`;
  return `<section class="finding">
<h3>${e(capital(causeWords(finding.cause, report)))}: ${e(STATUS_WORDS[finding.status])}</h3>
<p>${e(sentence(finding.because))}${toleranceWords(finding)}</p>
${advice}${shiftWords(finding)}
</section>`;
}

function otherItem(finding: Finding, report: Report): string {
  return `<li><strong>${e(capital(causeWords(finding.cause, report)))}</strong>: ${e(STATUS_WORDS[finding.status])}. ${e(sentence(finding.because))}${toleranceWords(finding)}</li>`;
}

function directionOf(finding: Finding): string {
  const sure = (error: number | null): string => (error === null ? '' : ` ± ${fixed(Math.max(1, error), 0)}°`);
  if (finding.directionDeg !== null)
    return `${fixed(finding.directionDeg, 0)}°${sure(finding.directionErrorDeg)}, ${directionWords(finding.directionDeg)}`;
  if (finding.axisDeg !== null)
    return `${fixed(finding.axisDeg, 0)}°${sure(finding.axisErrorDeg)}, ${axisWords(finding.axisDeg)}`;
  return DASH;
}

function shiftWords({ starShiftPx: shift }: Finding): string {
  if (!shift) return '';
  const place = (point: { x: number; y: number }): string =>
    `${fixed(Math.abs(point.x), 0)} px ${point.x < 0 ? 'left of' : 'right of'} and ${fixed(Math.abs(point.y), 0)} px ${point.y < 0 ? 'below' : 'above'} the middle`;
  return `<p class="small">Star A stands ${place(shift.from)} of the frame; B is ${place(shift.to)}. The whole way is ${plusMinus({ value: shift.length, error: shift.error })} px.</p>`;
}

function zonesSection(report: Report): string {
  const inArcsec = report.zones.some((zone) => zone.fwhmArcsec !== null);
  const names = ['Top', 'Middle', 'Bottom'];
  const grid = [0, 1, 2].map((row) => [
    names[row] ?? '',
    ...report.zones.slice(row * 3, row * 3 + 3).map((zone) => zoneCell(zone, inArcsec)),
  ]);
  return `<section aria-labelledby="zones">
<h2 id="zones">Zone by zone</h2>
${table('Star size (FWHM), elongation with its long axis, and stars, as the zones lie on the screen; errors are 1 σ', ['', 'Left', 'Middle', 'Right'], grid)}
</section>`;
}

function zoneCell(zone: Zone, inArcsec: boolean): string {
  if (!zone.fwhmPx) return starsWords(zone.stars);
  const arcsec = inArcsec && zone.fwhmArcsec ? ` (${fixed(zone.fwhmArcsec.value, 2)}″)` : '';
  const long = zone.elongation
    ? `<br>${plusMinus(zone.elongation)}${zone.axisDeg === null ? '' : ` at ${fixed(zone.axisDeg, 0)}°`}`
    : '';
  return `<strong>${plusMinus(zone.fwhmPx)} px</strong>${arcsec}${long}<br><span class="small">${starsWords(zone.stars)}</span>`;
}

function fieldSection(report: Report): string {
  const { coma, defocus, smear, astigmatism, trefoil, dispersion } = report.field;
  const measured = (value: Measured | null, unit: string): string => (value ? `${plusMinus(value)}${unit}` : DASH);
  const vector = (value: Vector | null, unit = ''): string =>
    value
      ? `${plusMinus({ value: Math.hypot(value.x, value.y), error: value.error })}${unit} (x ${fixed(value.x, 4)}, y ${fixed(value.y, 4)})`
      : DASH;
  const axis = (deg: number | null, error: number | null): string =>
    deg === null ? DASH : `${fixed(deg, 0)}°${error === null ? '' : ` ± ${fixed(Math.max(1, error), 0)}°`}`;
  const { mirrorTilt, node } = coma;
  const rows: [string, string][] = [
    ['Coma in the middle (third-order shape)', vector(coma.uniform3)],
    ['Coma in the middle (wavefront W131)', vector(coma.uniformUm, ' µm')],
    ['Growth of coma with distance', measured(coma.linear3PerMm, ' per mm')],
    [
      'Primary tilt that makes this coma',
      mirrorTilt ? `${plusAndMinus(mirrorTilt.arcmin, mirrorTilt.plus, mirrorTilt.minus)} arcmin (68 %)` : DASH,
    ],
    [
      'Coma node from the middle',
      node ? `x ${fixed(node.xMm, 2)}, y ${fixed(node.yMm, 2)} ± ${fixed(node.errorMm, 2)} mm` : DASH,
    ],
    [
      'Focus from its best place, middle (side not known)',
      defocus.centreUm ? `${plusMinus(defocus.centreUm)} µm` : DASH,
    ],
    [
      'Focus difference across the sensor',
      defocus.tiltUpperLimitUm === null || defocus.axisDeg !== null
        ? measured(defocus.tiltUm, ' µm')
        : `below ${fixed(defocus.tiltUpperLimitUm, 0)} µm`,
    ],
    ['Axis of that difference', axis(defocus.axisDeg, defocus.axisErrorDeg)],
    ['Focus of the corners against the middle', measured(defocus.curvatureUm, ' µm')],
    [
      'Smear',
      `${measured(smear.px, ' px')}${smear.axisDeg === null ? '' : ` at ${axis(smear.axisDeg, smear.axisErrorDeg)}`}`,
    ],
    ['Atmospheric dispersion', dispersion ? `${fixed(dispersion.px, 2)} px at ${fixed(dispersion.axisDeg, 0)}°` : DASH],
    ['Elongation the same all over (distortion)', vector(astigmatism.uniform)],
    ['Elongation radial (+) or tangential (−), at the corner', measured(astigmatism.radial, '')],
    ['Trefoil', vector(trefoil.uniform3)],
  ];
  const told = rows.filter(([, value]) => value !== DASH);
  if (told.length === 0) return '';
  const untold = rows
    .filter(([, value]) => value === DASH)
    .map(([name]) => name.charAt(0).toLowerCase() + name.slice(1));
  const rest = untold.length === 0 ? '' : `<p class="small">Not measured, or not there: ${e(untold.join('; '))}.</p>`;
  return `<section aria-labelledby="field">
<h2 id="field">The field in numbers</h2>
${table(
  'Fitted over all stars; directions counter-clockwise from right',
  ['Quantity', 'Value'],
  told.map(([name, value]) => [e(name), e(value)]),
)}
${rest}
</section>`;
}

function framesSection(report: Report): string {
  const smears = new Map(report.field.smear.perFrame.map((smear) => [smear.file, smear]));
  const rows = report.frames.map((frame) => [
    `<span class="file">${e(frame.file)}</span>`,
    frame.used ? 'yes' : `no: ${e(frame.whyNot ?? '')}`,
    frame.fwhmPx === null ? DASH : `${fixed(frame.fwhmPx, 2)} px`,
    frame.elongation === null ? DASH : fixed(frame.elongation, 2),
    `${frame.starsFitted} of ${frame.starsFound}`,
    smearWords(smears.get(frame.file)),
    e([exposure(frame), frame.filter, frame.dateObs].filter((part) => part !== null).join(', ') || DASH),
  ]);
  const wings = report.frames.flatMap((frame) =>
    frame.moffat === null
      ? []
      : [
          `${frame.file}: Moffat beta ${plusMinus(frame.moffat.beta)}, FWHM ${plusMinus(frame.moffat.fwhmPx)} px (${frame.moffat.stars} brightest stars).`,
        ],
  );
  const notes = report.frames.flatMap((frame) => frame.notes.map((note) => `${frame.file}: ${note}`));
  return `<section aria-labelledby="frames" class="subs">
<h2 id="frames">Subs</h2>
${table('What each sub gave', ['File', 'Used', 'FWHM', 'Elongation', 'Stars fitted', 'Smear', 'Exposure'], rows)}
${list([...wings, ...report.notes, ...notes])}
</section>`;
}

const exposure = (frame: FrameRecord): string | null =>
  frame.exposureS === null ? null : `${significant(frame.exposureS)} s`;

function smearWords(smear: Report['field']['smear']['perFrame'][number] | undefined): string {
  if (!smear) return DASH;
  return `${fixed(smear.px, 2)} px${smear.axisDeg === null ? '' : ` at ${fixed(smear.axisDeg, 0)}°`}`;
}

const list = (texts: readonly string[]): string =>
  texts.length === 0 ? '' : `<ul>${texts.map((text) => `<li>${e(text)}</li>`).join('\n')}</ul>`;

function cautionsSection(): string {
  return `<section aria-labelledby="care" class="cautions">
<h2 id="care">Cautions</h2>
${list(CAUTIONS)}
</section>`;
}

function madeSection(report: Report): string {
  const { scale } = report;
  const known = (value: number | null, unit: string, from: string): string =>
    value === null ? 'not known' : `${value} ${unit} (${from})`;
  const corrector = { true: 'yes', false: 'none', unknown: 'not known' }[`${scale.corrector.present}`];
  const rows: [string, string][] = [
    ['Focal length, effective', known(scale.focalLengthMm, 'mm', scale.from.focalLengthMm)],
    ['Focal length of the primary', known(scale.primaryFocalLengthMm, 'mm', scale.from.primaryFocalLengthMm)],
    ['Aperture', known(scale.apertureMm, 'mm', scale.from.apertureMm)],
    ['Pixel', known(scale.pixelUm, 'µm', scale.from.pixelUm)],
    ['Scale', scale.arcsecPerPx === null ? 'not known' : `${fixed(scale.arcsecPerPx, 3)}″ a pixel`],
    [
      'Corrector',
      `${corrector}${scale.corrector.magnification === null ? '' : `, magnification ${scale.corrector.magnification}`}`,
    ],
    ...Object.entries(report.settings).map(([name, value]): [string, string] => [name, String(value ?? DASH)]),
    ...report.frames.flatMap((frame): [string, string][] =>
      frame.sha256 ? [[`SHA-256 of ${frame.file}`, frame.sha256]] : [],
    ),
  ];
  const tool = report.tool ? `${report.tool.name} ${report.tool.version}, ` : '';
  return `<section aria-labelledby="made" class="made">
<h2 id="made">How this was made</h2>
${table(
  `${e(tool)}${e(report.created)}; record ${report.format} version ${report.version}, in report.json`,
  ['What', 'Value'],
  rows.map(([name, value]) => [e(name), `<span class="file">${e(value)}</span>`]),
)}
</section>`;
}

function citeSection(report: Report): string {
  if (report.tool === null) return '';
  return `<section aria-labelledby="cite">
<h2 id="cite">How to cite</h2>
<p>${e(citationSentence(report.tool))}</p>
<p class="small">It rests on ${e(sourcesWords())}. <code>starplumb --cite</code> prints them as BibTeX.</p>
</section>`;
}

/** 'Shack & Thompson 1980 (what misalignment does over a field)', one after another. */
function sourcesWords(): string {
  return SOURCES.map(({ fields, usedFor }) => {
    const authors = (fields['author'] ?? '').replace(/[{}]/g, '').split(' and ');
    const names = authors.map((author) => author.split(',')[0] ?? '').join(' & ');
    return `${names} ${fields['year'] ?? ''} (${usedFor})`;
  }).join('; ');
}
