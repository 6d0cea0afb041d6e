import type { Against, Change } from './againstRecord.ts';
import { fixed, plusMinus, significant } from './amounts.ts';

const QUANTITY_WORDS: Record<Change['quantity'], string> = {
  coma: 'Coma of the stars',
  'primary-tilt': 'Primary tilt',
  'sensor-tilt': 'Sensor tilt',
  'field-curvature': 'Field curvature',
  trefoil: 'Trefoil of the stars',
  smear: 'Smear',
  fwhm: 'Star size (FWHM)',
};

const UNIT_WORDS: Readonly<Record<string, string>> = { arcmin: '′', um: ' µm', px: ' px', arcsec: '″' };

const unitOf = ({ unit }: Change): string => UNIT_WORDS[unit] ?? '';

/** One change in cells: what, before, after, change, sigma. */
export function changeCells(
  change: Change,
): [what: string, before: string, after: string, change: string, sigma: string] {
  const unit = unitOf(change);
  const sign = change.change.value > 0 ? '+' : '';
  return [
    QUANTITY_WORDS[change.quantity],
    `${plusMinus(change.before)}${unit}`,
    `${plusMinus(change.after)}${unit}`,
    `${sign}${plusMinus(change.change)}${unit}`,
    significant(change.significance),
  ];
}

/** 'Sensor tilt 84 ± 9 µm, now 30 ± 8 µm: −54 ± 12 µm, 4.5 sigma, turned by 12 px ...'. */
export function changeSentence(change: Change): string {
  const [what, before, after, by, sigma] = changeCells(change);
  const as = change.vector === null ? '' : vectorWords(change, change.vector);
  return `${what}: ${before}, now ${after} (${by}); ${sigma} sigma${as}.`;
}

/** Directions add to the significance: said where they do. */
function vectorWords({ significance, change }: Change, vector: NonNullable<Change['vector']>): string {
  const alone = change.error > 0 ? Math.abs(change.value) / change.error : 0;
  const deg = ((Math.atan2(vector.y, vector.x) * 180) / Math.PI + 360) % 360;
  return significance > alone + 1
    ? `, its direction changed (difference towards ${fixed(deg, 0)}° of its own angle)`
    : '';
}

/** '2031-02-11 21:40' of an ISO time. */
export const sinceWords = ({ created }: Against): string => created.slice(0, 16).replace('T', ' ');
