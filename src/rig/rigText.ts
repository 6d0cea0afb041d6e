import { parse, stringify, TomlError } from 'smol-toml';
import { type RigValues, rigSchema } from './rig.ts';

/** A rig file that cannot be used; each problem begins with line:column. */
export class RigTextError extends Error {
  readonly problems: readonly string[];
  constructor(problems: readonly string[]) {
    super(problems.join('\n'));
    this.name = 'RigTextError';
    this.problems = problems;
  }
}

/** Reads a rig from TOML; throws RigTextError naming every wrong place. */
export function parseRig(text: string): RigValues {
  let table: unknown;
  try {
    table = parse(text);
  } catch (error) {
    if (!(error instanceof TomlError)) throw error;
    const [what] = error.message.replace('Invalid TOML document: ', '').split('\n');
    throw new RigTextError([`${error.line}:${error.column}: ${what}`]);
  }
  const result = rigSchema.safeParse(table);
  if (result.success) return result.data;
  throw new RigTextError(
    result.error.issues.map(({ path, message, ...issue }) => {
      const unknown = issue.code === 'unrecognized_keys' ? issue.keys.slice(0, 1) : [];
      const keys = [...path, ...unknown].map(String);
      const { line, column } = placeOf(text, keys);
      if (unknown.length > 0) return `${line}:${column}: ${message}; there are: ${knownKeys(path).join(', ')}`;
      return `${line}:${column}: ${keys.join('.')}: ${message}${foundOf(table, path)}`;
    }),
  );
}

function knownKeys(path: readonly PropertyKey[]): string[] {
  const { shape } = rigSchema;
  if (path[0] === 'screws') return Object.keys(shape.screws.unwrap().shape);
  if (path[0] === 'tolerance') return Object.keys(shape.tolerance.unwrap().shape);
  return Object.keys(shape);
}

function foundOf(table: unknown, path: readonly PropertyKey[]): string {
  const found = path.reduce<unknown>((at, key) => (at as Record<PropertyKey, unknown> | undefined)?.[key], table);
  if (found === undefined) return ', found nothing';
  return typeof found === 'object' ? '' : `, found ${JSON.stringify(found)}`;
}

const TABLE = /^\s*\[\s*([\w.-]+)\s*\]/;
const KEY = /^(\s*)(["']?)([\w.-]+)\2\s*=/;

/** Where a key stands: its own line, or its table's, or the first. Both from 1. */
function placeOf(text: string, keys: readonly string[]): { line: number; column: number } {
  let table: string[] = [];
  let nearest = { line: 1, column: 1 };
  let depth = 0;
  for (const [i, line] of text.split(/\r?\n/).entries()) {
    const header = TABLE.exec(line)?.[1];
    const key = KEY.exec(line);
    if (header !== undefined) table = header.split('.');
    const here = header !== undefined ? table : key !== null ? [...table, ...(key[3] ?? '').split('.')] : [];
    if (here.length > depth && here.every((part, k) => part === keys[k])) {
      depth = here.length;
      nearest = { line: i + 1, column: (key?.[1]?.length ?? 0) + 1 };
    }
  }
  return nearest;
}

const HEAD = '# A telescope and its camera, kept by "starplumb rig". Change it here or by "starplumb rig add".\n';

export function formatRig(values: RigValues): string {
  return `${HEAD}${stringify(values)}`;
}
