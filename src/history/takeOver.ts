import type { Database, OpenDatabase, Row } from './driver.ts';
import { digestOfCheck, digestOfEvent, putCheck, putEvent } from './kept.ts';

/** Copies every row of a damaged history that reads and whose digest is right. */
export async function takeOver(
  copy: string,
  fresh: Database,
  open: OpenDatabase,
): Promise<{ checks: number; events: number }> {
  const saved = { checks: 0, events: 0 };
  let damaged: Database;
  try {
    damaged = await open(copy);
  } catch {
    return saved;
  }
  try {
    for (const row of readable(damaged, 'checks')) {
      const report = attempt(() => damaged.get('SELECT report, digest FROM reports WHERE id = ?', row['id'] ?? null));
      if (row['digest'] !== digestOfCheck(row) || report === undefined) continue;
      if (attempt(() => putCheck(fresh, row, report)) !== undefined) saved.checks++;
    }
    for (const row of readable(damaged, 'events'))
      if (row['digest'] === digestOfEvent(row) && attempt(() => putEvent(fresh, row)) !== undefined) saved.events++;
  } finally {
    attempt(() => damaged.close());
  }
  return saved;
}

function attempt<T>(work: () => T): T | undefined {
  try {
    return work();
  } catch {
    return undefined;
  }
}

/** Row by row by their ids, so that a damaged page costs its own rows only. */
function* readable(db: Database, table: 'checks' | 'events'): Generator<Row> {
  const last = attempt(() => db.get(`SELECT max(id) AS last FROM ${table}`)?.['last']);
  const given = attempt(() => db.get('SELECT seq FROM sqlite_sequence WHERE name = ?', table)?.['seq']);
  const most = Math.min(Math.max(Number(last ?? 0), Number(given ?? 0)), MOST_IDS);
  for (let id = 1; id <= most; id++) {
    const row = attempt(() => db.get(`SELECT * FROM ${table} WHERE id = ?`, id));
    if (row !== undefined) yield row;
  }
}

/** A damaged counter must not keep us for ever. */
const MOST_IDS = 1_000_000;
