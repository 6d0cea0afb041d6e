import type { Effects } from '../effects.ts';

export type AsideEffects = Pick<
  Effects,
  'kindOf' | 'rename' | 'readFile' | 'writeFile' | 'remove' | 'now' | 'processId'
>;

/** Files that belong to one database: itself, its write-ahead log and the log's index. */
const PARTS = ['', '-wal', '-shm'];

/** Renames a damaged database with its log; returns the new name. Nothing is deleted, nothing written to. */
export async function setAside(path: string, effects: AsideEffects): Promise<string> {
  const stamp = effects.now().toISOString().slice(0, 19).replaceAll(':', '');
  let aside = `${path}.damaged-${stamp}`;
  for (let count = 2; (await effects.kindOf(aside)) !== 'absent'; count++) aside = `${path}.damaged-${stamp}-${count}`;
  for (const part of PARTS)
    if ((await effects.kindOf(path + part)) === 'file') await effects.rename(path + part, aside + part);
  return aside;
}

/** Reads what can be read from a copy, so that the damaged file stays as it is. */
export async function withCopy<T>(path: string, effects: AsideEffects, read: (copy: string) => Promise<T>): Promise<T> {
  const copy = `${path}.${effects.processId}.copy`;
  try {
    for (const part of ['', '-wal'])
      if ((await effects.kindOf(path + part)) === 'file')
        await effects.writeFile(copy + part, await effects.readFile(path + part));
    return await read(copy);
  } finally {
    for (const part of PARTS) await effects.remove(copy + part);
  }
}

const MAGIC = new TextEncoder().encode('SQLite format 3\0');
/** Of the magic's 16 bytes this many suffice: a damaged history is still told from a frame or a text. */
const MAGIC_BYTES = 8;
/** File format bytes of the header: 1 (rollback journal) or 2 (write-ahead log). https://www.sqlite.org/fileformat.html */
const FORMAT_BYTES = [18, 19];

/** What the first bytes say: no database at all, or one whose header is in order or not. */
export function headerOf(bytes: Uint8Array): 'foreign' | 'sound' | 'broken' {
  if (bytes.length === 0) return 'sound';
  const same = MAGIC.filter((byte, i) => bytes[i] === byte).length;
  if (same < MAGIC_BYTES) return 'foreign';
  return same === MAGIC.length && FORMAT_BYTES.every((at) => bytes[at] === 1 || bytes[at] === 2) ? 'sound' : 'broken';
}
