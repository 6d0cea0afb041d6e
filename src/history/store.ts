import { crc32, deflateSync, inflateSync } from 'node:zlib';
import type { Effects } from '../effects.ts';
import { parseReport, type Report } from '../report/record.ts';
import { printable } from '../report/untrusted.ts';
import type { Database, Row } from './driver.ts';
import { digestOfCheck, digestOfEvent } from './kept.ts';
import type { CheckRow, EventRow } from './row.ts';
import { ROW_VERSION, rowOf } from './rowOf.ts';
import { HistoryTrouble, inWords } from './trouble.ts';

/** Limits are inclusive; times are ISO 8601, UTC, and may be cut short ('2031-02'). */
export interface Filter {
  /** Checks of this rig; null for those of none. Events of all rigs are always among a rig's. */
  readonly rig?: string | null;
  readonly from?: string;
  readonly to?: string;
}

export interface Kept {
  readonly id: number;
  readonly replaced: boolean;
}

export interface History {
  readonly path: string;
  /** Keeps a report; on return it is safe on the disk. The same subs measured again replace what was kept of them. */
  add(report: Report): Kept;
  /** The same for a report made earlier: nothing that was made later of the same subs is replaced. */
  addUnlessNewer(report: Report): 'kept' | 'replaced' | 'older';
  /** Oldest first. */
  list(filter?: Filter): CheckRow[];
  /** The last `count`, oldest of them first. */
  latest(count: number, filter?: Filter): CheckRow[];
  /** The whole record of one check; null where there is none. */
  report(id: number): Report | null;
  addEvent(event: Omit<EventRow, 'id'>): number;
  /** Oldest first. */
  events(filter?: Filter): EventRow[];
  /** Removes checks and events for good. */
  remove(checks: readonly number[], events: readonly number[]): void;
  close(): void;
}

/** The history in an opened, sound database. */
export function historyOf(db: Database, path: string, effects: Pick<Effects, 'err' | 'sha256'>): History {
  const said = new Set<string>();
  const guarded = <T>(work: () => T): T => {
    try {
      return work();
    } catch (error) {
      throw inWords(error, path);
    }
  };
  const reportOf = (id: number): Report | null => {
    const kept = db.get('SELECT report, digest FROM reports WHERE id = ?', id);
    if (kept === undefined) return null;
    const bytes = kept['report'];
    if (!(bytes instanceof Uint8Array) || crc32(bytes) !== kept['digest'])
      throw new HistoryTrouble(`${path}: the report of check ${id} is damaged; the rest is whole`);
    return parseReport(JSON.parse(inflateSync(bytes).toString('utf8')));
  };
  const leftOut = (what: string): void => {
    if (!said.has(what)) effects.err(`${printable(path)}: ${what} is damaged and left out; the rest is whole.\n`);
    said.add(what);
  };
  const checkOf = (kept: Row): CheckRow[] => {
    const id = Number(kept['id']);
    // Parsed together with its number: to copy twenty thousand rows takes as long as to parse them.
    if (kept['digest'] === digestOfCheck(kept) && kept['row_version'] === ROW_VERSION)
      return [JSON.parse(`{"id":${id},${String(kept['row']).slice(1)}`) as CheckRow];
    // Of another version of the program, or damaged: made anew from the report.
    try {
      const report = reportOf(id);
      if (report !== null) return [{ id, ...rowOf(report) }];
    } catch (error) {
      if (!(error instanceof HistoryTrouble)) throw error;
    }
    leftOut(`check ${id}`);
    return [];
  };
  const eventOf = (kept: Row): EventRow[] => {
    const { id, time, rig, kind, text } = kept;
    if (kept['digest'] === digestOfEvent(kept)) return [{ id, time, rig, kind, text } as unknown as EventRow];
    leftOut(`note ${String(id)}`);
    return [];
  };
  const put = (report: Report): Kept => {
    const row = rowOf(report);
    const subs = subsKey(report, effects);
    const json = JSON.stringify(row);
    const digest = digestOfCheck({ subs, time: row.time, rig: row.rig, row_version: ROW_VERSION, row: json });
    const bytes = deflateSync(JSON.stringify(report));
    const columns = [row.time, row.rig, ROW_VERSION, json, digest];
    const before = db.get('SELECT id FROM checks WHERE subs = ?', subs)?.['id'];
    const kept =
      before === undefined
        ? db.get(
            'INSERT INTO checks (time, rig, row_version, row, digest, subs) VALUES (?, ?, ?, ?, ?, ?) RETURNING id',
            ...[...columns, subs],
          )
        : db.get(
            'UPDATE checks SET time = ?, rig = ?, row_version = ?, row = ?, digest = ? WHERE id = ? RETURNING id',
            ...[...columns, before],
          );
    const id = Number(kept?.['id']);
    db.run(
      `INSERT INTO reports (id, report, digest) VALUES (?, ?, ?)
       ON CONFLICT (id) DO UPDATE SET report = excluded.report, digest = excluded.digest`,
      ...[id, bytes, crc32(bytes)],
    );
    return { id, replaced: before !== undefined };
  };
  return {
    path,
    add: (report) => guarded(() => db.transaction(() => put(report))),
    addUnlessNewer: (report) =>
      guarded(() =>
        db.transaction(() => {
          const kept = db.get('SELECT row FROM checks WHERE subs = ?', subsKey(report, effects))?.['row'];
          const { created } = kept === undefined ? { created: '' } : (JSON.parse(String(kept)) as CheckRow);
          if (created >= rowOf(report).created) return 'older';
          return put(report).replaced ? 'replaced' : 'kept';
        }),
      ),
    list: (filter = {}) =>
      guarded(() => {
        const { where, values } = conditionsOf(filter, 'checks');
        return db.all(`SELECT * FROM checks ${where} ORDER BY time, id`, ...values).flatMap(checkOf);
      }),
    latest: (count, filter = {}) =>
      guarded(() => {
        const { where, values } = conditionsOf(filter, 'checks');
        const rows = db.all(`SELECT * FROM checks ${where} ORDER BY time DESC, id DESC LIMIT ?`, ...values, count);
        return rows.reverse().flatMap(checkOf);
      }),
    report: (id) => guarded(() => reportOf(id)),
    addEvent: ({ time, rig, kind, text }) =>
      guarded(() => {
        const digest = digestOfEvent({ time, rig, kind, text });
        const kept = db.get(
          'INSERT INTO events (time, rig, kind, text, digest) VALUES (?, ?, ?, ?, ?) RETURNING id',
          ...[time, rig, kind, text, digest],
        );
        return Number(kept?.['id']);
      }),
    events: (filter = {}) =>
      guarded(() => {
        const { where, values } = conditionsOf(filter, 'events');
        return db.all(`SELECT * FROM events ${where} ORDER BY time, id`, ...values).flatMap(eventOf);
      }),
    remove: (checks, events) =>
      guarded(() =>
        db.transaction(() => {
          for (const id of checks) db.run('DELETE FROM checks WHERE id = ?', id);
          for (const id of events) db.run('DELETE FROM events WHERE id = ?', id);
        }),
      ),
    close: () => db.close(),
  };
}

/** Later than any time that begins with the text before it. */
const AFTER_ALL = '\uffff';

function conditionsOf(filter: Filter, table: 'checks' | 'events'): { where: string; values: string[] } {
  const conditions: string[] = [];
  const values: string[] = [];
  if (filter.rig === null) conditions.push('rig IS NULL');
  else if (filter.rig !== undefined) {
    conditions.push(table === 'events' ? '(rig = ? OR rig IS NULL)' : 'rig = ?');
    values.push(filter.rig);
  }
  if (filter.from !== undefined) {
    conditions.push('time >= ?');
    values.push(filter.from);
  }
  if (filter.to !== undefined) {
    conditions.push('time <= ?');
    values.push(filter.to + AFTER_ALL);
  }
  return { where: conditions.length === 0 ? '' : `WHERE ${conditions.join(' AND ')}`, values };
}

/** The same for the same subs in any order: their checksums, and which extension of a file each one is. */
function subsKey(report: Report, effects: Pick<Effects, 'sha256'>): string {
  const used = report.frames.filter((frame) => frame.used);
  const told = used.length > 0 && used.every((frame) => frame.sha256 !== null);
  const names = told
    ? used.map(({ sha256, file }) => `${sha256}${/\[\d+\]$/.exec(file)?.[0] ?? ''}`).sort()
    : ['no checksums', report.created, ...report.frames.map(({ file }) => file)];
  return effects.sha256(new TextEncoder().encode(names.join('\n')));
}
