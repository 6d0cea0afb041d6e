import { setTimeout as sleep } from 'node:timers/promises';
import { type Database, type OpenDatabase, troubleOf } from './driver.ts';
import { APPLICATION_ID, definitionsOf, migrate, numberOf, SCHEMA_VERSION } from './schema.ts';
import { HistoryTrouble } from './trouble.ts';

/** The file holds a history of ours, but not a sound one. */
export class Unsound extends Error {
  constructor(what: string, cause?: unknown) {
    super(what, { cause });
    this.name = 'Unsound';
  }
}

/** Others write one after the other without a pause, on a slow disk: this one's turn comes by chance. */
const BUSY_MS = 20_000;
/** Pages of 4 KiB: some 600 checks. */
const MOST_PAGES_TO_READ = 1000;

/**
 * Opens a history: new, migrated or as it is, after checking that it is whole.
 * Throws Unsound for a damaged one, HistoryTrouble for one that is not to be touched, else the driver's error.
 */
export async function openSound(path: string, open: OpenDatabase, toRead = false): Promise<Database> {
  let db: Database | null = null;
  try {
    db = await open(path);
    db.exec(`PRAGMA busy_timeout = ${BUSY_MS}; PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON`);
    // A damaged file is found out before anything is written to it.
    if (!isNew(db)) judge(db, path, toRead);
    await setWriteAheadLog(db);
    db.exec('PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON');
    if (numberOf(db, 'user_version') < SCHEMA_VERSION) migrate(db);
    await compareDefinitions(db, open);
    // Tells now, not at the first check to keep, that nothing can be written.
    db.run('DELETE FROM events WHERE id < 0');
    return db;
  } catch (error) {
    db?.close();
    const trouble = troubleOf(error);
    // The statements above are right, so that "no such column" and the like speak of the file.
    if (trouble === 'damaged' || trouble === 'other') throw new Unsound((error as Error).message, error);
    throw error;
  }
}

/** Changing to WAL does not wait for other connections as everything else does. */
async function setWriteAheadLog(db: Database): Promise<void> {
  for (let waited = 0; ; waited += 20) {
    try {
      const mode = db.get('PRAGMA journal_mode')?.['journal_mode'];
      if (mode !== 'wal') db.get('PRAGMA journal_mode = WAL');
      return;
    } catch (error) {
      if (troubleOf(error) !== 'busy' || waited >= BUSY_MS) throw error;
      await sleep(20);
    }
  }
}

function isNew(db: Database): boolean {
  return definitionsOf(db).size === 0 && numberOf(db, 'user_version') === 0;
}

function judge(db: Database, path: string, toRead: boolean): void {
  const version = numberOf(db, 'user_version');
  const told = definitionsOf(db).has('about')
    ? db.get("SELECT value FROM about WHERE key = 'schema'")?.['value']
    : null;
  if (numberOf(db, 'application_id') !== APPLICATION_ID) {
    if (typeof told === 'string') throw new Unsound('its mark is wrong');
    throw new HistoryTrouble(`${path}: an SQLite database of another program, expected a history; nothing was changed`);
  }
  if (told !== String(version)) throw new Unsound(`it says to be of version ${version} and of version ${String(told)}`);
  if (version > SCHEMA_VERSION)
    throw new HistoryTrouble(
      `${path}: written by a newer version of this program (history version ${version}, this one knows up to ` +
        `${SCHEMA_VERSION}); nothing was changed: use the newer program, or another file by --history FILE`,
    );
  // Every page of 20,000 checks is a second's reading: for a list the rows' own digests must do.
  if (toRead && Number(db.get('PRAGMA page_count')?.['page_count']) > MOST_PAGES_TO_READ) return;
  const found = db.get('PRAGMA integrity_check(1)')?.['integrity_check'];
  if (found !== 'ok') throw new Unsound(String(found));
}

/** What the file's tables look like against what a new file's do. */
async function compareDefinitions(db: Database, open: OpenDatabase): Promise<void> {
  const fresh = await open(':memory:');
  try {
    migrate(fresh);
    const held = definitionsOf(db);
    for (const [name, sql] of definitionsOf(fresh))
      if (held.get(name) !== sql) throw new Unsound(`${name} is not as it was made`);
  } finally {
    fresh.close();
  }
}
