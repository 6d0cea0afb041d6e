import pc from 'picocolors';
import { changeSentence, sinceWords } from './againstText.ts';
import { fixed, plusMinus, significant } from './amounts.ts';
import { CAUTIONS, shortCaution } from './cautions.ts';
import type { Finding, Report, Zone } from './record.ts';
import { printable } from './untrusted.ts';
import {
  axisWords,
  bareHeadline,
  capital,
  causeWords,
  firstFault,
  nextMove,
  STATUS_WORDS,
  sentence,
  starShiftWords,
  starsWords,
  VERDICT_WORDS,
} from './wording.ts';

export interface TextOptions {
  /** Columns; lines are broken to fit (a longer single word stays whole). */
  readonly width: number;
  readonly colour: boolean;
  /** 'short': the answer on one screen; 'full': everything a reader may ask, as in report.txt. */
  readonly detail?: 'short' | 'full';
}

type Colours = ReturnType<typeof pc.createColors>;

/** Where the text of every section begins. */
const INDENT = 10;
const LEAST_WIDTH = 40;

/** The report for a terminal or report.txt; ends with a line break. */
export function renderText(report: Report, options: TextOptions): string {
  const width = Math.max(LEAST_WIDTH, options.width);
  const colours = pc.createColors(options.colour);
  const tries = options.detail === 'full' ? [FULL] : SHORT;
  const texts = tries.map((extent) => linesOf(report, extent, width, colours));
  const lines = texts.find((text) => text.length <= SCREEN_LINES) ?? texts.at(-1) ?? [];
  return `${lines.join('\n')}\n`;
}

/** How much is told. */
interface Extent {
  readonly full: boolean;
  /** Characters of the next move's advice. */
  readonly advice: number;
  /** Causes that are clearly there although within tolerance, with their evidence. */
  readonly near: boolean;
  readonly notes: number;
  readonly leftOutFrames: number;
}

const FULL: Extent = { full: true, advice: Infinity, near: true, notes: Infinity, leftOutFrames: Infinity };

/** Shorter and shorter, until it fits one screen. */
const SHORT: readonly Extent[] = [
  { full: false, advice: 400, near: true, notes: 3, leftOutFrames: 2 },
  { full: false, advice: 400, near: false, notes: 2, leftOutFrames: 2 },
  { full: false, advice: 260, near: false, notes: 2, leftOutFrames: 1 },
  { full: false, advice: 260, near: false, notes: 1, leftOutFrames: 1 },
  { full: false, advice: 200, near: false, notes: 0, leftOutFrames: 1 },
];
/** Of a 24-line terminal; where report and history lie takes the other two. */
const SCREEN_LINES = 22;

function linesOf(report: Report, extent: Extent, width: number, colours: Colours): string[] {
  const { full } = extent;
  const section = (label: string, lines: readonly string[]): string[] => labelled(label, lines, width, colours);
  return [
    ...verdictLines(report, width, colours),
    ...section('Next', nextLines(report, extent.advice)),
    ...section('Since', againstLines(report, full)),
    '',
    ...zoneLines(report, width, colours),
    '',
    ...findingSections(report, extent, section),
    ...section('Frames', frameLines(report, extent)),
    ...(full ? section('Scale', scaleLines(report)) : []),
    ...section('Notes', noteLines(report.notes, extent.notes)),
    ...section('Caution', full ? CAUTIONS : [shortCaution(report)]),
    ...(full && report.tool
      ? section('Made by', [`${report.tool.name} ${report.tool.version}, ${report.created}`])
      : []),
  ];
}

function noteLines(notes: readonly string[], most: number): string[] {
  const left = notes.length - most;
  if (left <= 0) return [...notes];
  return [...notes.slice(0, most), `${left}${most > 0 ? ' more' : ''} in report.txt.`];
}

function verdictLines(report: Report, width: number, colours: Colours): string[] {
  const word = VERDICT_WORDS[report.verdict];
  const paint = { good: colours.cyan, adjust: colours.yellow, inconclusive: colours.magenta }[report.verdict];
  const [first = '', ...rest] = wrap(`${word}: ${printable(bareHeadline(report))}`, width);
  return [
    colours.bold(paint(first.slice(0, word.length + 1)) + first.slice(word.length + 1)),
    ...rest.map(colours.bold),
  ];
}

/** What changed since an earlier report, in words first. */
function againstLines({ against }: Report, full: boolean): string[] {
  if (against === null) return [];
  const first = `${sinceWords(against)}: ${against.words}`;
  return full ? [first, ...against.changes.map(changeSentence), ...against.caveats] : [first];
}

function nextLines(report: Report, length: number): string[] {
  const fault = firstFault(report);
  if (!fault) return [nextMove(report)];
  const move = fault.starShiftPx ? `${starShiftWords(fault.starShiftPx)} Both are marked in field.png. ` : '';
  return [`${move}${fault.advice.length <= length ? fault.advice : cut(fault.advice, length)}`];
}

/** At most `length` characters, cut after a whole sentence where one ends, else after a word. */
function cut(text: string, length: number): string {
  const head = text.slice(0, length);
  const end = head.lastIndexOf('. ');
  return end > length / 3 ? head.slice(0, end + 1) : `${head.slice(0, head.lastIndexOf(' '))} ...`;
}

/** A label, and texts broken to the width behind it. */
export function labelled(
  label: string,
  texts: readonly string[],
  width: number,
  colours: Pick<Colours, 'bold'>,
  indent = INDENT,
): string[] {
  return texts
    .flatMap((text) => wrap(printable(text), width - indent))
    .map((line, i) => (i === 0 ? colours.bold(label.padEnd(indent)) : ' '.repeat(indent)) + line);
}

function wrap(text: string, width: number): string[] {
  const lines: string[] = [];
  let current = '';
  for (const word of text.split(' ').filter((part) => part !== '')) {
    if (current !== '' && current.length + 1 + word.length > width) {
      lines.push(current);
      current = word;
    } else current = current === '' ? word : `${current} ${word}`;
  }
  if (current !== '') lines.push(current);
  return lines;
}

function zoneLines(report: Report, width: number, colours: Colours): string[] {
  const cellWidth = Math.floor((width - INDENT) / 3);
  const cells = report.zones.map((zone) => zoneCell(zone, cellWidth));
  const rows = [0, 1, 2].map((row) =>
    cells
      .slice(row * 3, row * 3 + 3)
      .map((cell) => cell.padEnd(cellWidth))
      .join(''),
  );
  const what =
    cellWidth >= ZONE_WITH_ALL_ERRORS
      ? 'FWHM px, elongation, long axis, each ± its error'
      : cellWidth >= ZONE_WITH_ERRORS
        ? 'FWHM px ± error, elongation, long axis'
        : 'FWHM px, elongation';
  return [
    ...labelled('Zones', [`${what}, as they lie on the screen:`], width, colours),
    ...rows.map((row) => (' '.repeat(INDENT) + row).trimEnd()),
  ];
}

/** Columns that 'FWHM ± error, elongation @ axis' takes, and a gap; and with the errors of all three. */
const ZONE_WITH_ERRORS = 23;
const ZONE_WITH_ALL_ERRORS = 33;

function zoneCell(zone: Zone, width: number): string {
  if (!zone.fwhmPx) return starsWords(zone.stars);
  const size = fixed(zone.fwhmPx.value, 2);
  const elongation = zone.elongation ? fixed(zone.elongation.value, 2) : ' -- ';
  if (width < ZONE_WITH_ERRORS) return `${size} ${elongation}`;
  const axis = zone.axisDeg === null ? '' : `${fixed(zone.axisDeg, 0)}°`.padStart(4);
  if (width < ZONE_WITH_ALL_ERRORS) return `${size} ±${fixed(zone.fwhmPx.error, 2)} ${elongation} ${axis}`;
  const long = zone.elongation ? `${fixed(zone.elongation.value, 3)}±${fixed(zone.elongation.error, 3)}` : '';
  const sure = zone.axisErrorDeg === null ? '' : `±${fixed(Math.max(1, zone.axisErrorDeg), 0)}°`;
  return `${size}±${fixed(zone.fwhmPx.error, 2)} ${long} ${axis}${sure}`;
}

type Section = (label: string, lines: readonly string[]) => string[];

function findingSections(report: Report, { full, near }: Extent, section: Section): string[] {
  const told = report.findings.filter((finding) => full || finding.status === 'fault' || (near && isNear(finding)));
  const named = (status: Finding['status']): string =>
    report.findings
      .filter((finding) => finding.status === status && !told.includes(finding))
      .map((finding) => causeWords(finding.cause, report))
      .join(', ');
  const quiet = [
    ['within-tolerance', 'Within tolerance'],
    ['not-detected', 'Not seen'],
    ['not-measurable', 'Cannot be measured'],
  ] as const;
  const rest = quiet.map(([status, words]) => [words, named(status)]).filter(([, causes]) => causes !== '');
  return [
    ...section(
      'Found',
      told.flatMap((finding) => findingLines(finding, report, full)),
    ),
    ...section(
      told.length === 0 ? 'Found' : '',
      rest.map(([words, causes]) => `${words}: ${causes}.`),
    ),
  ];
}

/** Clearly there although within tolerance: the reader may want to know how much is left. */
const isNear = (finding: Finding): boolean => finding.status === 'within-tolerance' && (finding.significance ?? 0) >= 5;

function findingLines(finding: Finding, report: Report, full: boolean): string[] {
  const amounts = [
    finding.significance === null ? '' : `${significant(finding.significance)} sigma`,
    finding.widensPx === null ? '' : `widens stars by ${fixed(finding.widensPx, 2)} px`,
  ].filter((part) => part !== '');
  const head = `${capital(causeWords(finding.cause, report))}: ${STATUS_WORDS[finding.status]}`;
  const first = `${head}${amounts.length > 0 ? ` (${amounts.join(', ')})` : ''}. ${sentence(finding.because)}`;
  if (!full) return [first];
  const where = finding.axisDeg === null ? '' : ` Along ${fixed(finding.axisDeg, 0)}°, ${axisWords(finding.axisDeg)}.`;
  const tolerance = finding.tolerance === null ? '' : ` Tolerance: ${finding.tolerance}.`;
  return [`${first}${where}${tolerance}`, ...(finding.status === 'fault' ? [sentence(finding.advice)] : [])];
}

function frameLines(report: Report, { full, leftOutFrames }: Extent): string[] {
  const used = report.frames.filter((frame) => frame.used);
  const stars = used.map((frame) => frame.starsFitted).join(' + ');
  const summary = `${used.length} used, ${stars || 'no'} stars fitted.`;
  const unused = report.frames
    .filter((frame) => !frame.used)
    .map((frame) => `Left out: ${frame.file}: ${frame.whyNot ?? 'no reason given'}`);
  const more = unused.length - leftOutFrames;
  if (!full) return [summary, ...unused.slice(0, leftOutFrames), ...(more > 0 ? [`... and ${more} more`] : [])];
  return [
    summary,
    ...used.map((frame) => {
      const leftOut = Object.entries(frame.leftOut).map(([reason, count]) => `${reason} ${count}`);
      const shape = frame.fwhmPx === null ? '' : `, FWHM ${fixed(frame.fwhmPx, 2)} px`;
      const long = frame.elongation === null ? '' : `, elongation ${fixed(frame.elongation, 2)}`;
      const left = leftOut.length === 0 ? '' : `; left out: ${leftOut.join(', ')}`;
      const wings =
        frame.moffat === null
          ? ''
          : `, Moffat beta ${plusMinus(frame.moffat.beta)} and FWHM ${plusMinus(frame.moffat.fwhmPx)} px (${frame.moffat.stars} stars)`;
      return `${frame.file}: ${frame.starsFitted} of ${frame.starsFound} stars${shape}${long}${wings}${left}`;
    }),
    ...unused,
  ];
}

function scaleLines(report: Report): string[] {
  const { scale, orientation, field } = report;
  const mm = (name: string, value: number | null, from: string): string =>
    value === null ? `${name} not known` : `${name} ${value} mm (${from})`;
  const pixel = scale.pixelUm === null ? 'pixel size not known' : `pixel ${scale.pixelUm} µm (${scale.from.pixelUm})`;
  const seconds = scale.arcsecPerPx === null ? '' : `, ${fixed(scale.arcsecPerPx, 3)}″ a pixel`;
  const corrector = { true: 'with a corrector', false: 'no corrector', unknown: 'corrector not known' };
  const rows = orientation.rowOrder === 'TOP-DOWN' ? 'on top' : 'at the bottom';
  const tilt = field.coma.mirrorTilt;
  return [
    `${mm('Focal length', scale.focalLengthMm, scale.from.focalLengthMm)}, ` +
      `${mm('aperture', scale.apertureMm, scale.from.apertureMm)}, ${pixel}${seconds}; ` +
      `${corrector[`${scale.corrector.present}`]}.`,
    `Shown with the first stored row ${rows}${orientation.assumed ? ' (assumed)' : ''}; angles counter-clockwise from right.`,
    ...(tilt
      ? [
          `Coma in the middle: primary tilt ${fixed(tilt.arcmin, 2)}′ +${fixed(tilt.plus, 2)} −${fixed(tilt.minus, 2)} (68 %).`,
        ]
      : []),
    ...(field.defocus.tiltUm ? [`Focus across the sensor: ${plusMinus(field.defocus.tiltUm)} µm.`] : []),
  ];
}
