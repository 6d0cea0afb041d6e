import { crc32 } from 'node:zlib';
import type { Database, Row } from './driver.ts';

/** Rows as the tables hold them; a digest that does not fit says that the disk has changed the row since. */

/** Puts a check and its report back as they were. */
export function putCheck(db: Database, row: Row, report: Row): number {
  const { id, subs, time, rig, row_version, row: json, digest } = row;
  return db.transaction(() => {
    db.run(
      'INSERT INTO checks (id, subs, time, rig, row_version, row, digest) VALUES (?, ?, ?, ?, ?, ?, ?)',
      ...[id, subs, time, rig, row_version, json, digest].map((value) => value ?? null),
    );
    return db.run(
      'INSERT INTO reports (id, report, digest) VALUES (?, ?, ?)',
      id ?? null,
      report['report'] ?? null,
      report['digest'] ?? null,
    );
  });
}

export function putEvent(db: Database, { id, time, rig, kind, text, digest }: Row): number {
  return db.run(
    'INSERT INTO events (id, time, rig, kind, text, digest) VALUES (?, ?, ?, ?, ?, ?)',
    ...[id, time, rig, kind, text, digest].map((value) => value ?? null),
  );
}

const joined = (...values: (Row[string] | undefined)[]): string =>
  values.map((value) => String(value ?? '')).join('\n');

export const digestOfCheck = ({ subs, time, rig, row_version, row }: Row): number =>
  crc32(joined(subs, time, rig, row_version, row));
export const digestOfEvent = ({ time, rig, kind, text }: Row): number => crc32(joined(time, rig, kind, text));
