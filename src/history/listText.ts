import { printable } from '../report/untrusted.ts';
import type { CheckRow, EventRow, Measured } from './row.ts';

/** '2031-02-11 21:03', UTC. */
export const minuteOf = (time: string): string => time.slice(0, 16).replace('T', ' ');

const VERDICTS = { good: 'good', adjust: 'adjust', inconclusive: "can't tell" } as const;
const HEAD = ['id', 'time (UTC)', 'rig', 'verdict', 'coma', 'tilt', 'FWHM', 'elong.'] as const;
const WIDTHS = [5, 16, 10, 10, 13, 9, 7, 6] as const;

/** Checks and events by their times, a line each, within 84 columns; amounts with their errors. */
export function listText(checks: readonly CheckRow[], events: readonly EventRow[]): string {
  const lines = [
    ...checks.map((check) => ({ time: check.time, text: checkLine(check) })),
    ...events.map((event) => ({ time: event.time, text: eventLine(event) })),
  ].sort((a, b) => (a.time < b.time ? -1 : a.time > b.time ? 1 : 0));
  return [rowText(HEAD), ...lines.map(({ text }) => text)].join('\n').concat('\n');
}

function rowText(cells: readonly string[]): string {
  return cells
    .map((cell, i) => (i === 0 ? cell.padStart(WIDTHS[i] ?? 0) : cell.padEnd(WIDTHS[i] ?? 0)))
    .join(' ')
    .trimEnd();
}

function checkLine(check: CheckRow): string {
  return rowText([
    String(check.id),
    minuteOf(check.time),
    shortened(check.rig ?? '-', WIDTHS[2]),
    VERDICTS[check.verdict],
    comaText(check),
    check.sensorTilt === null ? '-' : `${withError(check.sensorTilt.um, 0)}µm`,
    check.fwhmFloorArcsec === null ? plain(check.fwhmFloorPx, 'px') : plain(check.fwhmFloorArcsec, '"'),
    check.elongation === null ? '-' : check.elongation.value.toFixed(2),
  ]);
}

function eventLine({ id, time, rig, kind, text }: EventRow): string {
  const what = kind === 'adjustment' ? 'adjusted: ' : '';
  return `${`n${id}`.padStart(WIDTHS[0])} ${minuteOf(time)} ${rig === null ? '' : `${printable(rig)}: `}${what}${printable(text)}`;
}

/** As tilt of the primary where the optics are known, else the length of coma3. */
export function comaText({ mirrorTilt, coma3 }: Pick<CheckRow, 'mirrorTilt' | 'coma3'>): string {
  if (mirrorTilt !== null) {
    const { arcmin, minus, plus } = mirrorTilt;
    return `${arcmin.toFixed(1)}′ -${minus.toFixed(1)} +${plus.toFixed(1)}`;
  }
  return coma3 === null ? '-' : withError({ value: Math.hypot(coma3.x, coma3.y), error: coma3.error }, 3);
}

const withError = ({ value, error }: Measured, digits: number): string =>
  `${value.toFixed(digits)}±${error.toFixed(digits)}`;

const plain = (measured: Measured | null, unit: string): string =>
  measured === null ? '-' : `${measured.value.toFixed(2)}${unit}`;

const shortened = (text: string, width: number): string => {
  const line = printable(text);
  return line.length > width ? `${line.slice(0, width - 1)}…` : line;
};
