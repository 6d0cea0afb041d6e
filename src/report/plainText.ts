import { decimalsFor, fixed } from './amounts.ts';
import { shortCaution } from './cautions.ts';
import type { Finding, Report, Zone } from './record.ts';
import { printable } from './untrusted.ts';
import { bareHeadline, firstFault, nextMove } from './wording.ts';

/**
 * `--plain`: one fact a line, 'name: value', in ASCII, without colour or columns: for screen readers, grep and log files.
 * Names stay as they are from version to version; a fact that is not known has no line.
 */
export function renderPlain(report: Report): string {
  const lines = [
    fact('verdict', report.verdict),
    fact('headline', bareHeadline(report)),
    fact('next', nextMove(report)),
    fact('advice', firstFault(report)?.advice ?? null),
    fact('needs', report.needs),
    ...report.findings.flatMap(findingFacts),
    ...report.zones.map(zoneFact),
    ...fieldFacts(report),
    ...report.frames.map(frameFact),
    fact('screen', screenWords(report)),
    ...report.notes.map((note) => fact('note', note)),
    fact('caution', shortCaution(report)),
  ];
  return `${lines.filter((line) => line !== '').join('\n')}\n`;
}

/** One line, or nothing where there is nothing to tell. */
export function fact(name: string, value: string | null): string {
  return value === null || value === '' ? '' : `${name}: ${asciiText(value)}`;
}

const ASCII: Readonly<Record<string, string>> = {
  '′': ' arcmin',
  '″': ' arcsec',
  '°': ' deg',
  µ: 'u',
  μ: 'u',
  '±': '+/-',
  '×': 'x',
  σ: 'sigma',
  '−': '-',
  '–': '-',
  '—': '-',
  '’': "'",
  '‘': "'",
  '“': '"',
  '”': '"',
  '…': '...',
};

/** The same in ASCII: signs in words, accents taken off, what is left as its code. */
export function asciiText(text: string): string {
  return Array.from(printable(text), (character) => {
    if (character <= '~') return character;
    const known = ASCII[character] ?? character.normalize('NFKD').replace(/\p{M}/gu, '');
    return Array.from(known, (c) => (c <= '~' ? c : `\\u{${(c.codePointAt(0) ?? 0).toString(16)}}`)).join('');
  }).join('');
}

const withError = ({ value, error }: { readonly value: number; readonly error: number }, unit: string): string => {
  const decimals = Math.min(4, Math.max(2, decimalsFor(error)));
  return `${fixed(value, decimals)}${unit} error ${fixed(error, decimals)}`;
};

const angle = (name: string, deg: number | null, error: number | null): string =>
  deg === null ? '' : `${name} ${fixed(deg, 0)} deg${error === null ? '' : ` error ${fixed(Math.max(1, error), 0)}`}`;

const joined = (parts: readonly string[]): string => parts.filter((part) => part !== '').join(', ');

function findingFacts(finding: Finding): string[] {
  const { cause, significance, widensPx, toleranceShare: share, starShiftPx: shift } = finding;
  return [
    fact(
      `finding ${cause}`,
      joined([
        finding.status,
        significance === null ? '' : `${fixed(significance, 1)} sigma`,
        share === null
          ? ''
          : `${fixed(share.value, 2)} of tolerance (${fixed(share.low, 2)} to ${fixed(share.high, 2)})`,
        widensPx === null ? '' : `widens stars by ${fixed(widensPx, 2)} px`,
        angle('direction', finding.directionDeg, finding.directionErrorDeg),
        angle('axis', finding.axisDeg, finding.axisErrorDeg),
      ]),
    ),
    fact(`because ${cause}`, finding.because),
    shift === null
      ? ''
      : fact(
          `star move ${cause}`,
          `${fixed(shift.length, 0)} px error ${fixed(shift.error, 0)}, direction ${fixed(shift.directionDeg, 0)} deg, ` +
            `steps ${shift.steps}, star A at x ${fixed(shift.from.x, 0)} y ${fixed(shift.from.y, 0)}, ` +
            `target B at x ${fixed(shift.to.x, 0)} y ${fixed(shift.to.y, 0)} px from the middle, y up`,
        ),
  ];
}

const ROWS = ['top', 'middle', 'bottom'] as const;
const COLUMNS = ['left', 'centre', 'right'] as const;

function zoneFact(zone: Zone): string {
  return fact(
    `zone ${ROWS[zone.row] ?? ''} ${COLUMNS[zone.column] ?? ''}`,
    joined([
      `stars ${zone.stars}`,
      zone.fwhmPx === null ? '' : `fwhm ${withError(zone.fwhmPx, ' px')}`,
      zone.elongation === null ? '' : `elongation ${withError(zone.elongation, '')}`,
      angle('long axis', zone.axisDeg, zone.axisErrorDeg),
    ]),
  );
}

function fieldFacts(report: Report): string[] {
  const { coma, defocus } = report.field;
  const tilt = coma.mirrorTilt;
  return [
    fact(
      'primary tilt',
      tilt &&
        `${fixed(tilt.arcmin, 2)} arcmin, 68 percent from ${fixed(tilt.arcmin - tilt.minus, 2)} to ${fixed(tilt.arcmin + tilt.plus, 2)}`,
    ),
    fact('focus edge to edge', defocus.tiltUm && withError(defocus.tiltUm, ' um')),
    fact('focus corner to centre', defocus.curvatureUm && withError(defocus.curvatureUm, ' um')),
  ];
}

function frameFact(frame: Report['frames'][number]): string {
  const value = frame.used
    ? joined([
        'used',
        `stars ${frame.starsFitted} of ${frame.starsFound}`,
        frame.fwhmPx === null ? '' : `fwhm ${fixed(frame.fwhmPx, 2)} px`,
        frame.elongation === null ? '' : `elongation ${fixed(frame.elongation, 2)}`,
      ])
    : `left out, ${frame.whyNot ?? 'no reason given'}`;
  return fact('frame', `${frame.file}, ${value}`);
}

function screenWords({ orientation }: Report): string {
  const rows = orientation.rowOrder === 'TOP-DOWN' ? 'on top' : 'at the bottom';
  return `first stored row ${rows}${orientation.assumed ? ' (assumed)' : ''}, angles counter-clockwise from right`;
}
