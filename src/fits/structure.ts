import { numberFrom } from './cardValue.ts';
import { damaged, shown } from './damage.ts';
import { type Header, valueOf } from './header.ts';

/** Structural cards read leniently (a quoted number still says its number) but never guessed. */

/** Number of a card, also when written as a string; undefined when the card is absent or empty. Refuses anything else. */
export function numberCard(header: Header, keyword: string, name: string): number | bigint | undefined {
  const value = valueOf(header, keyword);
  if (value === undefined) return undefined;
  const number = typeof value === 'string' ? numberFrom(value.trim()) : typeof value === 'boolean' ? null : value;
  if (number !== null) return number;
  throw damaged(
    name,
    `card ${keyword} (byte ${header.cards.get(keyword)?.offset}) holds ${shown(value)}, expected a number`,
  );
}

/** Whole number of a card within limits; `absent` is returned when the card is missing, or the file refused if undefined. */
export function integerCard(
  header: Header,
  keyword: string,
  limits: { from: number; to: number; absent?: number },
  name: string,
): number {
  const value = numberCard(header, keyword, name);
  if (value === undefined) {
    if (limits.absent !== undefined) return limits.absent;
    throw damaged(name, `header at byte ${header.offset} has no ${keyword} card with a value`);
  }
  if (typeof value === 'number' && Number.isInteger(value) && value >= limits.from && value <= limits.to) return value;
  const range = limits.to >= Number.MAX_SAFE_INTEGER ? `from ${limits.from} up` : `${limits.from} to ${limits.to}`;
  throw damaged(
    name,
    `card ${keyword} (byte ${header.cards.get(keyword)?.offset}) holds ${shown(value)}, expected a whole number ${range}`,
  );
}

/** Product of sizes, refused when it is more than any file holds (and more than a double counts exactly). */
export function safeProduct(factors: readonly number[], what: string, name: string): number {
  // Zero anywhere makes the product zero, whatever the other factors.
  if (factors.includes(0)) return 0;
  const product = factors.reduce((a, b) => a * b, 1);
  if (product <= Number.MAX_SAFE_INTEGER) return product;
  throw damaged(name, `${what} promises ${factors.join(' x ')} bytes, more than any file can hold`);
}

/** Text of a card without surrounding blanks; undefined when absent or not a string. */
export function textCard(header: Header, keyword: string): string | undefined {
  const value = valueOf(header, keyword);
  return typeof value === 'string' ? value.trim() : undefined;
}
