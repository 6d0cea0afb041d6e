/** Header cards as text: FITS standard 4.0, sections 4.1, 4.2 (values) and 4.2.1.2 (CONTINUE); HIERARCH by its registered convention. */

export interface CardToWrite {
  readonly keyword: string;
  /** null writes a card without value. COMMENT and HISTORY take their text here. */
  readonly value: string | number | boolean | null;
  readonly comment?: string;
}

export const CARD_LENGTH = 80;
const STANDARD_KEYWORD = /^[A-Z0-9_-]{1,8}$/;
const PRINTABLE = /^[\x20-\x7e]*$/;
/** Columns 11-80 hold a value; a string also needs its two quotes. */
const VALUE_COLUMNS = 70;

/** A number as FITS writes it: integers without point, others with point and upper-case exponent. */
export function numberText(value: number): string {
  if (!Number.isFinite(value)) throw new RangeError(`a FITS card cannot hold the number ${value}`);
  if (Number.isInteger(value) && Math.abs(value) < 1e15) return String(value === 0 ? 0 : value);
  const [mantissa = '', exponent] = String(value).split('e');
  const pointed = mantissa.includes('.') ? mantissa : `${mantissa}.0`;
  return exponent === undefined ? pointed : `${pointed}E${exponent}`;
}

function withComment(text: string, comment: string | undefined): string {
  if (comment === undefined || comment === '') return text.padEnd(CARD_LENGTH);
  return `${text} / ${comment}`.slice(0, CARD_LENGTH).padEnd(CARD_LENGTH);
}

/** The longest prefix of escaped text that fits and does not cut a doubled quote in two. */
function stringPart(escaped: string, room: number): string {
  if (escaped.length <= room) return escaped;
  const part = escaped.slice(0, room);
  const quotes = /'*$/.exec(part)?.[0].length ?? 0;
  return quotes % 2 === 0 ? part : part.slice(0, -1);
}

function longString(head: string, escaped: string, comment: string | undefined): string {
  const roomFor = (start: string): number => CARD_LENGTH - start.length - "'&'".length;
  let rest = escaped;
  let start = head;
  let text = '';
  while (rest.length > roomFor(start)) {
    const part = stringPart(rest, roomFor(start));
    rest = rest.slice(part.length);
    text += `${start}'${part}&'`.padEnd(CARD_LENGTH);
    start = 'CONTINUE  ';
  }
  return text + withComment(`${start}'${rest}'`, comment);
}

function commentary(keyword: string, value: string): string {
  const width = CARD_LENGTH - 8;
  let text = '';
  for (let start = 0; start === 0 || start < value.length; start += width) {
    text += `${keyword.padEnd(8)}${value.slice(start, start + width)}`.padEnd(CARD_LENGTH);
  }
  return text;
}

/** One card, or several where a long string needs CONTINUE: a multiple of 80 characters. */
export function cardText(card: CardToWrite): string {
  const { keyword, value, comment } = card;
  if (!PRINTABLE.test(keyword + String(value) + (comment ?? '')))
    throw new RangeError(`card ${keyword}: FITS headers hold printable ASCII only, got ${JSON.stringify(value)}`);
  if (keyword === 'COMMENT' || keyword === 'HISTORY' || keyword === '') return commentary(keyword, String(value ?? ''));
  const standard = STANDARD_KEYWORD.test(keyword);
  const head = standard ? `${keyword.padEnd(8)}= ` : `HIERARCH ${keyword} = `;
  const columns = standard ? VALUE_COLUMNS : CARD_LENGTH - head.length;
  if (typeof value === 'string') {
    const escaped = value.replaceAll("'", "''");
    if (escaped.length + 2 > columns) {
      if (!standard)
        throw new RangeError(`card ${keyword}: a HIERARCH string of ${value.length} characters is too long`);
      return longString(head, escaped, comment);
    }
    return withComment(`${head}${`'${escaped.padEnd(8)}'`.padEnd(20)}`, comment);
  }
  const text = value === null ? '' : typeof value === 'number' ? numberText(value) : value ? 'T' : 'F';
  if (text.length > columns) throw new RangeError(`card ${keyword}: no room for ${text}`);
  return withComment(head + (standard ? text.padStart(20) : text), comment);
}
