/** What a card's 80 characters say: FITS standard 4.0, section 4, and what real writers make of it. */

/** null: the card has no value. Integers beyond 2^53 come as bigint. */
export type CardValue = string | number | bigint | boolean | null;

export interface CardReading {
  readonly keyword: string;
  readonly value: CardValue;
  readonly comment: string;
  /** COMMENT, HISTORY, blank and unknown cards without value indicator. */
  readonly commentary: boolean;
  /** A string ending in `&`, which a CONTINUE card may carry on. */
  readonly continues: boolean;
  /** What is wrong with the card, in words; null when it follows the standard. */
  readonly oddity: string | null;
}

interface ValueReading {
  readonly value: CardValue;
  readonly comment: string;
  readonly oddity: string | null;
}

const NUMBER = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[EeDd][+-]?\d+)?$/;
const INTEGER = /^[+-]?\d+$/;
const DECIMAL_COMMA = /^[+-]?\d+,\d+(?:[EeDd][+-]?\d+)?$/;
const CONTROL = /[\x00-\x1f\x7f]/g;
const STANDARD_KEYWORD = /^[A-Z0-9_-]+$/;
const NON_ASCII = /[\x80-\xff]/;

/** Number in FITS notation (D exponents too), or null. */
export function numberFrom(text: string): number | bigint | null {
  if (!NUMBER.test(text)) return null;
  const value = Number(text.replace(/[Dd]/, 'E'));
  if (!Number.isFinite(value)) return null;
  return INTEGER.test(text) && !Number.isSafeInteger(value) ? BigInt(text.replace('+', '')) : value;
}

/** Text of card bytes: UTF-8 where it is valid UTF-8, else Latin-1; control characters become blanks. */
function readable(latin1: string): string {
  let text = latin1;
  if (NON_ASCII.test(latin1)) {
    const utf8 = Buffer.from(latin1, 'latin1').toString('utf8');
    if (!utf8.includes('\ufffd')) text = utf8;
  }
  return text.replace(CONTROL, ' ');
}

function readString(field: string): ValueReading {
  let text = '';
  let at = 1;
  for (;;) {
    const quote = field.indexOf("'", at);
    if (quote < 0)
      return { value: readable(text + field.slice(at)).trimEnd(), comment: '', oddity: 'string without closing quote' };
    text += field.slice(at, quote);
    at = quote + 1;
    if (field[at] !== "'") break;
    text += "'";
    at++;
  }
  const rest = field.slice(at).trim();
  const oddity = rest !== '' && !rest.startsWith('/') ? 'text between the string and its comment' : null;
  return { value: readable(text).trimEnd(), comment: readable(rest.replace(/^\/ ?/, '')), oddity };
}

/** The value field (columns 11-80, or what follows `=`): value, comment, oddity. */
export function readValue(field: string): ValueReading {
  const trimmed = field.trimStart();
  if (trimmed.startsWith("'")) return readString(trimmed);
  const slash = trimmed.indexOf('/');
  const token = (slash < 0 ? trimmed : trimmed.slice(0, slash)).replace(CONTROL, ' ').trim();
  const comment = slash < 0 ? '' : readable(trimmed.slice(slash + 1)).trim();
  if (token === '') return { value: null, comment, oddity: null };
  if (token === 'T' || token === 'F') return { value: token === 'T', comment, oddity: null };
  const number = numberFrom(token);
  if (number !== null) return { value: number, comment, oddity: null };
  if (DECIMAL_COMMA.test(token)) {
    const value = numberFrom(token.replace(',', '.'));
    if (value !== null) return { value, comment, oddity: `decimal comma, read as ${value}` };
  }
  return { value: readable(token), comment, oddity: 'value is no string in quotes, number or logical' };
}

function hierarch(line: string): CardReading | null {
  const equals = line.indexOf('=');
  const keyword = equals < 0 ? '' : line.slice(9, equals).trim();
  if (keyword === '') return null;
  const { value, comment, oddity } = readValue(line.slice(equals + 1));
  return {
    keyword: readable(keyword).toUpperCase(),
    value,
    comment,
    oddity,
    commentary: false,
    continues: endsOpen(value),
  };
}

const endsOpen = (value: CardValue): boolean => typeof value === 'string' && value.endsWith('&');

/** One card of 80 Latin-1 characters. */
export function readCard(line: string): CardReading {
  const written = line.slice(0, 8).trimEnd();
  const keyword = readable(written).toUpperCase();
  const without = { keyword, value: null, comment: readable(line.slice(8)).trim(), continues: false, oddity: null };
  if (keyword === 'COMMENT' || keyword === 'HISTORY' || keyword === '') return { ...without, commentary: true };
  if (keyword === 'HIERARCH') return hierarch(line) ?? { ...without, commentary: true };
  if (keyword === 'CONTINUE') {
    const { value, comment } = readValue(line.slice(8));
    return { ...without, value, comment, commentary: false, continues: endsOpen(value) };
  }
  const standard = STANDARD_KEYWORD.test(keyword);
  if (line[8] !== '=') return { ...without, commentary: true, oddity: standard ? null : 'no FITS card' };
  const tight = line[9] !== ' ';
  const { value, comment, oddity } = readValue(line.slice(tight ? 9 : 10));
  const odd =
    oddity ??
    (tight ? 'no blank after =' : null) ??
    (standard ? null : 'keyword with characters that FITS does not know') ??
    (keyword !== written ? 'keyword with lower-case letters or control characters' : null) ??
    (NON_ASCII.test(line) ? 'characters beyond ASCII' : null) ??
    (line.search(CONTROL) >= 0 ? 'control characters' : null);
  return { keyword, value, comment, commentary: false, continues: endsOpen(value), oddity: odd };
}
