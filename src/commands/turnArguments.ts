import { EXIT, UserError } from '../errors.ts';

const SENSES: Readonly<Record<string, 1 | -1>> = {
  cw: 1,
  clockwise: 1,
  right: 1,
  ccw: -1,
  'counter-clockwise': -1,
  counterclockwise: -1,
  anticlockwise: -1,
  'anti-clockwise': -1,
  left: -1,
};
/** Words that say nothing more. */
const FILLERS: ReadonlySet<string> = new Set(['turn', 'turns', 'of', 'a']);

const EXPECTED = 'expected screw, turn and sense, as in: starplumb nudge A 1/8 cw';

/** 'A 1/8 cw', 'screw A, 1/8 turn clockwise', 'b 45deg ccw': one screw turned once; clockwise as the hand sees it is positive. */
export function turnFrom(words: readonly string[]): { readonly screw: string; readonly turns: number } {
  const all = words.flatMap((word) => word.split(/[\s,]+/)).filter((word) => word !== '');
  const named = all[0]?.toLowerCase() === 'screw' ? all.slice(1) : all;
  const joined = named.filter((word, i) => i === 0 || !FILLERS.has(word.toLowerCase())).flatMap(splitAmount);
  const [screw, ...rest] = joined;
  if (screw === undefined) throw new UserError(EXPECTED, EXIT.wrongUsage);
  const senses = rest.filter((word) => SENSES[word.toLowerCase()] !== undefined);
  const amounts = rest.filter((word) => SENSES[word.toLowerCase()] === undefined);
  if (amounts.length === 0) throw new UserError(`How far was screw ${screw} turned? ${EXPECTED}`, EXIT.wrongUsage);
  if (senses.length !== 1)
    throw new UserError(
      `Which way was screw ${screw} turned, cw or ccw (as the hand sees it)? ${EXPECTED}`,
      EXIT.wrongUsage,
    );
  const size = amounts.reduce((sum, amount) => sum + sizeOf(amount), 0);
  return { screw, turns: size * (SENSES[senses[0]?.toLowerCase() ?? ''] ?? 1) };
}

/** '1/8cw' and '45degccw' are two words. */
function splitAmount(word: string): string[] {
  const match = /^([\d./½¼¾⅛⅜⅝⅞]+(?:°|deg(?:rees?)?)?)(cw|ccw)$/i.exec(word);
  return match === null ? [word] : [match[1] ?? '', match[2] ?? ''];
}

const SIGNS: Readonly<Record<string, number>> = {
  '½': 1 / 2,
  '¼': 1 / 4,
  '¾': 3 / 4,
  '⅛': 1 / 8,
  '⅜': 3 / 8,
  '⅝': 5 / 8,
  '⅞': 7 / 8,
};

/** Turns: a fraction, a decimal number, or degrees. */
function sizeOf(word: string): number {
  const sign = SIGNS[word];
  if (sign !== undefined) return sign;
  const degrees = /^(\d+(?:\.\d+)?)(?:°|deg(?:rees?)?)$/i.exec(word);
  if (degrees !== null) return Number(degrees[1]) / 360;
  const fraction = /^(\d+)\/(\d+)$/.exec(word);
  if (fraction !== null && Number(fraction[2]) > 0) return Number(fraction[1]) / Number(fraction[2]);
  if (/^(\d+\.?\d*|\.\d+)$/.test(word)) return Number(word);
  throw new UserError(`${word}: expected how far, such as 1/8, 0.125 or 45deg; ${EXPECTED}`, EXIT.wrongUsage);
}
