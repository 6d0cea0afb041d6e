import fitsjs from 'fitsjs';
import { CARD_LENGTH } from './cardText.ts';
import { type CardReading, type CardValue, readCard } from './cardValue.ts';
import { damaged } from './damage.ts';
import { BLOCK_LENGTH } from './encode.ts';

export interface HeaderCard {
  readonly keyword: string;
  readonly value: CardValue;
  readonly comment: string;
  /** Byte in the file where the card begins. */
  readonly offset: number;
}

/** One HDU's header. Of cards that repeat a keyword the first with a value counts. */
export interface Header {
  readonly cards: ReadonlyMap<string, HeaderCard>;
  /** Byte in the file where the header begins. */
  readonly offset: number;
  /** Byte in the file where its last block ends and data may begin; beyond the file when the padding is lost. */
  readonly end: number;
  readonly notes: readonly string[];
}

/** More cards than any real header holds; a header without END would otherwise run through gigabytes. */
export const MAX_CARDS = 100_000;
/** Odd cards told one by one; the rest are counted. */
const MAX_NOTES = 6;

/** Cards of text only. Any other without `=` is a card without value. */
const TEXT_KEYWORDS = new Set(['COMMENT', 'HISTORY', 'HIERARCH', '']);

/**
 * Cards that fitsjs reads right: a plain number, or a string without quote or slash inside and without leading blank.
 * It misreads `'M 31 / core'`, `''`, D exponents, T and F, CONTINUE and HIERARCH; those are read by `readCard`.
 */
const PLAIN =
  /^(?!CONTINUE)[A-Z0-9_-]{1,8} *= {1,70}(?:[+-]?\d{1,15}(?:\.\d{0,15})?|'[!-&(-.0-~](?:[ -&(-.0-~])*') *(?: \/[ -~]*)?$/;

/** fitsjs's table of cards, without its checks: they throw strings and write to the console. */
class CardTable extends fitsjs.astro.FITS.Header {
  declare readings: CardReading[];

  override readLine(line: string): void {
    // The parent's constructor calls this before any field of a subclass exists.
    this.readings ??= [];
    const reading = readCard(line);
    if (reading.commentary || !PLAIN.test(line) || this.contains(reading.keyword)) {
      this.readings.push(reading);
      return;
    }
    super.readLine(line);
    this.readings.push({ ...reading, value: this.get(reading.keyword) as string | number });
  }
}
CardTable.prototype.VerifyFns = {};
CardTable.prototype.maxLines = MAX_CARDS;

/** Index of the END card counted from `offset`, or -1. */
export function findEnd(bytes: Uint8Array, offset: number): number {
  const cards = Math.min(MAX_CARDS, Math.floor((bytes.length - offset) / CARD_LENGTH));
  for (let card = 0; card < cards; card++) {
    const at = offset + card * CARD_LENGTH;
    if (bytes[at] !== 0x45 || bytes[at + 1] !== 0x4e || bytes[at + 2] !== 0x44) continue;
    // A keyword ends at its first blank, whatever follows.
    const after = bytes[at + 3];
    if (after === 0x20 || after === 0) return card;
  }
  return -1;
}

/** Latin-1 text of part of a file: one character a byte. */
export function latin1(bytes: Uint8Array, start: number, end: number): string {
  return Buffer.from(bytes.buffer, bytes.byteOffset + start, end - start).toString('latin1');
}

function noEnd(bytes: Uint8Array, offset: number, name: string): Error {
  const length = bytes.length - offset;
  if (length >= MAX_CARDS * CARD_LENGTH)
    return damaged(name, `no END card in the ${MAX_CARDS} cards after byte ${offset}: not a FITS header`);
  return damaged(
    name,
    `file ends at byte ${bytes.length} inside the header that began at byte ${offset}, no END card found: still being written, or cut short?`,
  );
}

/** Strings that go on over CONTINUE cards put together (FITS 4.0, section 4.2.1.2). */
function joinContinued(readings: readonly CardReading[], at: number): CardReading {
  const first = readings[at];
  const texts = [String(first.value)];
  const comments = [first.comment];
  // Collected and joined once: a chain of thousands of cards must not be copied thousands of times.
  for (let next = at + 1; readings[next - 1].continues && readings[next]?.keyword === 'CONTINUE'; next++) {
    const { value, comment } = readings[next];
    texts[texts.length - 1] = texts[texts.length - 1].slice(0, -1);
    texts.push(typeof value === 'string' ? value : '');
    if (comment !== '') comments.push(comment);
  }
  return { ...first, value: texts.join(''), comment: comments.join(' ').trim() };
}

/** Reads the header that begins at byte `offset`; `name` is the file's, for messages. */
export function readHeader(bytes: Uint8Array, offset: number, name: string): Header {
  const count = findEnd(bytes, offset);
  if (count < 0) throw noEnd(bytes, offset, name);
  const table = new CardTable(latin1(bytes, offset, offset + Math.max(1, count) * CARD_LENGTH));
  const cards = new Map<string, HeaderCard>();
  const notes: string[] = [];
  table.readings.forEach((plain, index) => {
    if (index >= count || plain.keyword === 'CONTINUE') return;
    const reading = plain.continues ? joinContinued(table.readings, index) : plain;
    const at = offset + index * CARD_LENGTH;
    if (reading.oddity !== null) notes.push(`card ${reading.keyword} (byte ${at}): ${reading.oddity}`);
    if (reading.commentary && TEXT_KEYWORDS.has(reading.keyword)) return;
    const { keyword, value, comment } = reading;
    const before = cards.get(keyword);
    if (before === undefined || (before.value === null && value !== null))
      cards.set(keyword, { keyword, value, comment, offset: at });
    if (before !== undefined && before.value !== value)
      notes.push(`card ${keyword} (byte ${at}) repeats a keyword with another value: the first with a value counts`);
  });
  const end = offset + Math.ceil(((count + 1) * CARD_LENGTH) / BLOCK_LENGTH) * BLOCK_LENGTH;
  return { cards, offset, end, notes: capped(notes) };
}

function capped(notes: readonly string[]): readonly string[] {
  if (notes.length <= MAX_NOTES) return notes;
  return [...notes.slice(0, MAX_NOTES), `${notes.length - MAX_NOTES} more odd cards`];
}

/** Value of a card; undefined when the card is absent or has no value. */
export function valueOf(header: Header, keyword: string): Exclude<CardValue, null> | undefined {
  return header.cards.get(keyword)?.value ?? undefined;
}
