import type { CardValue } from '../fits/cardValue.ts';

/** Number of a header value; strings that hold nothing but a number count (a decimal comma too). */
export function numberOf(value: Exclude<CardValue, null>): number | null {
  if (typeof value === 'boolean') return null;
  const text = typeof value === 'string' ? value.trim().replace(',', '.') : value;
  if (text === '') return null;
  const number = Number(text);
  return Number.isFinite(number) ? number : null;
}

const SEXAGESIMAL = /^([+-]?)(\d{1,3})[: d°]+(\d{1,2})(?:[: m'′]+(\d{1,2}(?:\.\d*)?)[s"″]?)?$/;

/** Degrees of a header value: a number, or '+45 30 00', '45:30:00', '45d30m'. */
export function degreesOf(value: Exclude<CardValue, null>): number | null {
  const plain = numberOf(value);
  if (plain !== null || typeof value !== 'string') return plain;
  const match = SEXAGESIMAL.exec(value.trim());
  if (match === null) return null;
  const [, sign, degrees, minutes, seconds = '0'] = match;
  const size = Number(degrees) + Number(minutes) / 60 + Number(seconds) / 3600;
  return sign === '-' ? -size : size;
}
