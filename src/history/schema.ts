import type { Database } from './driver.ts';

/** Marks the file as ours (PRAGMA application_id): 'StPl'. */
export const APPLICATION_ID = 0x5374506c;

/**
 * Numbered steps from an empty file to today's; a step that has been released is never changed. `row` is what rowOf makes of
 * the report, kept for speed; the report itself (report.json, deflated) is the truth. Digests are CRC-32: they tell a row
 * that the disk has changed from one that was written.
 */
export const MIGRATIONS: readonly string[] = [
  `CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
   CREATE TABLE checks (
     id INTEGER PRIMARY KEY AUTOINCREMENT,
     subs TEXT NOT NULL UNIQUE,
     time TEXT NOT NULL,
     rig TEXT,
     row_version INTEGER NOT NULL,
     row TEXT NOT NULL,
     digest INTEGER NOT NULL
   ) STRICT;
   CREATE INDEX checks_by_time ON checks (time);
   CREATE TABLE reports (
     id INTEGER PRIMARY KEY REFERENCES checks (id) ON DELETE CASCADE,
     report BLOB NOT NULL,
     digest INTEGER NOT NULL
   ) STRICT;
   CREATE TABLE events (
     id INTEGER PRIMARY KEY AUTOINCREMENT,
     time TEXT NOT NULL,
     rig TEXT,
     kind TEXT NOT NULL CHECK (kind IN ('adjustment', 'note')),
     text TEXT NOT NULL,
     digest INTEGER NOT NULL
   ) STRICT;`,
];

export const SCHEMA_VERSION = MIGRATIONS.length;

/** Brings a file from version `from` to today's, all or nothing; several processes may try at once. */
export function migrate(db: Database): void {
  db.transaction(() => {
    // Read again under the lock: another process may have been first.
    const from = numberOf(db, 'user_version');
    if (from >= SCHEMA_VERSION) return;
    for (const step of MIGRATIONS.slice(from)) db.exec(step);
    db.run(
      "INSERT INTO about VALUES ('schema', ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
      String(SCHEMA_VERSION),
    );
    db.exec(`PRAGMA application_id = ${APPLICATION_ID}; PRAGMA user_version = ${SCHEMA_VERSION}`);
  });
}

export function numberOf(db: Database, pragma: 'user_version' | 'application_id'): number {
  return Number(db.get(`PRAGMA ${pragma}`)?.[pragma] ?? 0);
}

/** Definitions of our tables and indexes as the file holds them, by name. */
export function definitionsOf(db: Database): Map<string, string> {
  const rows = db.all("SELECT name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'");
  return new Map(rows.map(({ name, sql }) => [String(name), String(sql)]));
}
