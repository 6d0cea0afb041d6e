import { dirname } from 'node:path';
import type { Effects } from '../effects.ts';
import { printable } from '../report/untrusted.ts';
import { type Database, troubleOf } from './driver.ts';
import { openSound, Unsound } from './openSound.ts';
import { historyFile } from './place.ts';
import { type AsideEffects, headerOf, setAside, withCopy } from './setAside.ts';
import { type History, historyOf } from './store.ts';
import { takeOver } from './takeOver.ts';
import { HistoryTrouble, inWords } from './trouble.ts';

/** What keeping history needs of the outside world. */
export type HistoryEffects = AsideEffects & Pick<Effects, 'openDatabase' | 'makeFolder' | 'err' | 'sha256' | 'places'>;

/**
 * Opens the history, making it where there is none. A damaged one is set aside by a rename, said on standard error, and what
 * can be read of it is taken over; `toRead`: a large one is not searched for damage first. Throws HistoryTrouble where history cannot be used.
 */
export async function openHistory(
  effects: HistoryEffects,
  path = historyFile(effects.places),
  { toRead = false }: { readonly toRead?: boolean } = {},
): Promise<History> {
  try {
    await effects.makeFolder(dirname(path));
    return historyOf(await openOrReplace(path, effects, toRead), path, effects);
  } catch (error) {
    throw inWords(error, path);
  }
}

async function openOrReplace(path: string, effects: HistoryEffects, toRead: boolean): Promise<Database> {
  for (let look = 1; ; look++) {
    try {
      return await openSound(path, effects.openDatabase, toRead);
    } catch (error) {
      if (!(await isDamage(error, path, effects))) throw error;
      // Looked at twice: another process may have put a sound one in its place meanwhile.
      if (look < 2) continue;
      return await replaceDamaged(path, effects);
    }
  }
}

async function isDamage(error: unknown, path: string, effects: HistoryEffects): Promise<boolean> {
  const unsound = error instanceof Unsound;
  if (!unsound && troubleOf(error) !== 'read-only') return false;
  let header: ReturnType<typeof headerOf>;
  try {
    header = headerOf(await effects.readFile(path));
  } catch {
    return unsound;
  }
  if (unsound && header === 'foreign')
    throw new HistoryTrouble(
      `${path}: not a history (no SQLite database); nothing was changed, name another file`,
      error,
    );
  // SQLite opens a file of an unknown format for reading only.
  return unsound || header === 'broken';
}

async function replaceDamaged(path: string, effects: HistoryEffects): Promise<Database> {
  const aside = await setAside(path, effects);
  const fresh = await openSound(path, effects.openDatabase);
  const saved = await withCopy(aside, effects, (copy) => takeOver(copy, fresh, effects.openDatabase));
  effects.err(
    `The history ${printable(path)} was damaged. It is set aside as ${printable(aside)}, nothing was deleted; ` +
      `${saved.checks} checks and ${saved.events} notes could be read from it and are in the new history.\n`,
  );
  return fresh;
}
