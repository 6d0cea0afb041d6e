/**
 * Text that came from outside (file names, header cards) before it is shown.
 * Control characters, line breaks, bidirectional overrides and lone surrogates would change a terminal or a page.
 */

// C0 and C1 controls, line and paragraph separators, bidirectional marks and isolates, byte order mark, lone surrogates.
const UNPRINTABLE =
  /[\u0000-\u001f\u007f-\u009f\u2028\u2029\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069\ufeff\p{Cs}]+/gu;

/** One line of plain text. */
export function printable(text: string): string {
  return text.replace(UNPRINTABLE, ' ');
}

const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

/** Plain text for an HTML element or a quoted attribute. */
export function escapeHtml(text: string): string {
  return printable(text).replace(/[&<>"']/g, (character) => ENTITIES[character] ?? '');
}
