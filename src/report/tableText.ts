import { printable } from './untrusted.ts';

export interface Column<Row> {
  /** With the unit in it, as every number that leaves the program. */
  readonly name: string;
  /** As astropy.units spells it; null: none. */
  readonly unit: string | null;
  readonly description: string;
  readonly type: 'text' | 'number';
  readonly value: (row: Row) => number | string;
}

export interface Table<Row> {
  readonly columns: readonly Column<Row>[];
  readonly rows: readonly Row[];
  /** Said once of the whole table. */
  readonly about: Readonly<Record<string, string>>;
}

/** CSV (RFC 4180): a line of names, then the rows. */
export function csvText<Row>(table: Table<Row>): string {
  return linesOf(table).join('\r\n').concat('\r\n');
}

/**
 * ECSV 1.0: CSV under a header of comments that carries units, types and descriptions; Table.read(name, format='ascii.ecsv')
 * of astropy opens it. T. Aldcroft, Astropy Proposal for Enhancement 6 (2014, doi:10.5281/zenodo.4792325).
 */
export function ecsvText<Row>(table: Table<Row>): string {
  const columns = table.columns.map(({ name, unit, type, description }) => {
    const parts = [
      `name: ${name}`,
      ...(unit === null ? [] : [`unit: ${unit}`]),
      `datatype: ${type === 'text' ? 'string' : 'float64'}`,
      `description: ${yamlText(description)}`,
    ];
    return `# - {${parts.join(', ')}}`;
  });
  const about = Object.entries(table.about).map(([name, text]) => `# - {${yamlText(name)}: ${yamlText(text)}}`);
  const head = ['# %ECSV 1.0', '# ---', "# delimiter: ','", '# datatype:', ...columns, '# meta: !!omap', ...about];
  return [...head, '# schema: astropy-2.0', ...linesOf(table)].join('\n').concat('\n');
}

function linesOf<Row>({ columns, rows }: Table<Row>): string[] {
  const names = columns.map(({ name }) => name).join(',');
  return [names, ...rows.map((row) => columns.map(({ value }) => cell(value(row))).join(','))];
}

/** More digits than any star is measured to, fewer than make a file long. */
const DIGITS = 8;

function cell(value: number | string): string {
  if (typeof value === 'number') return Number.isFinite(value) ? String(Number(value.toPrecision(DIGITS))) : '';
  return `"${harmless(value).replaceAll('"', '""')}"`;
}

/**
 * One line that no spreadsheet takes for a formula: those begin with = + - @ (or a tab or line break before them); an apostrophe
 * in front makes them text (OWASP, CSV injection).
 */
function harmless(text: string): string {
  const line = printable(text);
  return /^\s*[=+\-@＝＋－＠]/u.test(line) ? `'${line}` : line;
}

/** A double-quoted YAML string is a JSON string; only ASCII, so that no encoding matters. */
function yamlText(text: string): string {
  return JSON.stringify(printable(text)).replace(
    /[^\x20-\x7e]/g,
    (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
}
