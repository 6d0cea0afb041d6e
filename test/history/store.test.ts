import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { mkdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { expect, it } from 'vitest';
import { NoDriver, openDatabase } from '../../src/history/driver.ts';
import { openHistory } from '../../src/history/openHistory.ts';
import { rowOf } from '../../src/history/rowOf.ts';
import { SCHEMA_VERSION } from '../../src/history/schema.ts';
import type { History } from '../../src/history/store.ts';
import { parseReport } from '../../src/report/record.ts';
import { type DiskWorld, diskWorld, reportOf } from '../support/historyFolder.ts';

async function using<T>(world: DiskWorld, work: (history: History) => T): Promise<T> {
  const history = await openHistory(world.effects);
  try {
    return work(history);
  } finally {
    history.close();
  }
}

it('what was kept comes back: rows in the order of time, the whole report, in write-ahead mode with full synchronisation', async () => {
  const world = diskWorld();
  await using(world, (history) => {
    expect(history.add(reportOf(2))).toEqual({ id: 1, replaced: false });
    expect(history.add(reportOf(1))).toEqual({ id: 2, replaced: false });
  });
  await using(world, (history) => {
    expect(history.list().map(({ id }) => id)).toEqual([2, 1]);
    expect(history.list()[0]).toEqual({ id: 2, ...rowOf(reportOf(1)) });
    expect(history.report(2)).toEqual(parseReport(reportOf(1)));
    expect(history.report(7)).toBeNull();
  });
  const db = await openDatabase(world.file);
  expect(db.get('PRAGMA journal_mode')).toEqual({ journal_mode: 'wal' });
  db.close();
  expect(readdirSync(dirname(world.file))).toEqual(['history.sqlite']);
  expect(world.err).toBe('');
});

it('the same subs measured again, in any order, replace; another extension of the same file does not', async () => {
  const world = diskWorld();
  await using(world, (history) => {
    history.add(reportOf(1));
    const again = { ...reportOf(1), frames: [...reportOf(1).frames].reverse(), verdict: 'good' as const };
    expect(history.add(again)).toEqual({ id: 1, replaced: true });
    expect(history.list().map(({ verdict }) => verdict)).toEqual(['good']);
    expect(history.report(1)?.verdict).toBe('good');
    const extension = { ...reportOf(1), frames: reportOf(1).frames.map((f) => ({ ...f, file: `${f.file}[2]` })) };
    expect(history.add(extension)).toEqual({ id: 2, replaced: false });
  });
});

it('filters by rig and time, notes of all rigs among a rig’s, and latest gives the last ones', async () => {
  const world = diskWorld();
  await using(world, (history) => {
    for (let n = 1; n <= 5; n++) history.add(reportOf(n, n, { rig: n % 2 === 0 ? 'garden' : null }));
    history.addEvent({ time: '2031-02-12T10:00:00.000Z', rig: null, kind: 'note', text: 'moved the pier' });
    history.addEvent({ time: '2031-02-13T10:00:00.000Z', rig: 'roof', kind: 'adjustment', text: 'primary' });
    const ids = (rows: readonly { id: number }[]): number[] => rows.map(({ id }) => id);
    expect(ids(history.list({ rig: 'garden' }))).toEqual([2, 4]);
    expect(ids(history.list({ rig: null }))).toEqual([1, 3, 5]);
    expect(ids(history.list({ from: '2031-02-13', to: '2031-02-14' }))).toEqual([2, 3]);
    expect(ids(history.latest(2))).toEqual([4, 5]);
    expect(ids(history.events({ rig: 'garden' }))).toEqual([1]);
    expect(ids(history.events())).toEqual([1, 2]);
    history.remove([1, 2], [1]);
    expect(ids(history.list())).toEqual([3, 4, 5]);
    expect(history.report(1)).toBeNull();
    expect(history.add(reportOf(9)).id).toBe(6);
  });
});

it('rows of another version of the program are made anew from their reports', async () => {
  const world = diskWorld();
  await using(world, (history) => history.add(reportOf(1)));
  const db = await openDatabase(world.file);
  db.run("UPDATE checks SET row_version = 0, row = '{}'");
  db.close();
  await using(world, (history) => expect(history.list()).toEqual([{ id: 1, ...rowOf(reportOf(1)) }]));
  expect(world.err).toBe('');
});

it('a newer schema is refused by its number and left alone', async () => {
  const world = diskWorld();
  await using(world, (history) => history.add(reportOf(1)));
  const db = await openDatabase(world.file);
  db.exec(`UPDATE about SET value = '${SCHEMA_VERSION + 1}'; PRAGMA user_version = ${SCHEMA_VERSION + 1}`);
  db.close();
  const before = readFileSync(world.file);
  await expect(openHistory(world.effects)).rejects.toThrow(
    `newer version of this program (history version ${SCHEMA_VERSION + 1}, this one knows up to ${SCHEMA_VERSION})`,
  );
  expect(readFileSync(world.file).equals(before)).toBe(true);
});

it('a damaged file is set aside byte by byte, what reads of it is taken over, and the way is said', async () => {
  const world = diskWorld();
  await using(world, (history) => {
    for (let n = 1; n <= 30; n++) history.add(reportOf(n));
    history.addEvent({ time: '2031-02-12T10:00:00.000Z', rig: null, kind: 'note', text: 'moved the pier' });
  });
  const bytes = readFileSync(world.file);
  // The tables' roots stay; a page of the rows is overwritten.
  bytes.fill(0xa5, 4096 * 20, 4096 * 21);
  writeFileSync(world.file, bytes);
  const rows = await using(world, (history) => {
    history.add(reportOf(99));
    return history.list();
  });
  const [aside] = readdirSync(dirname(world.file)).filter((name) => name.includes('damaged'));
  expect(aside).toMatch(/^history\.sqlite\.damaged-\d{4}-\d\d-\d\dT\d{6}$/);
  expect(readFileSync(join(dirname(world.file), aside ?? '')).equals(bytes)).toBe(true);
  expect(world.err).toContain(`was damaged. It is set aside as ${world.file}.damaged-`);
  expect(rows.length).toBeGreaterThan(20);
  for (const row of rows.slice(0, -1)) expect(row).toEqual({ ...rowOf(reportOf(row.id)), id: row.id });
  expect(world.err).toContain(`${rows.length - 1} checks and 1 notes could be read`);
});

it('what is no history of ours is neither used nor moved', async () => {
  const world = diskWorld();
  await mkdir(dirname(world.file), { recursive: true });
  const frame = new Uint8Array(28_800).fill(0x20);
  writeFileSync(world.file, frame);
  await expect(openHistory(world.effects)).rejects.toThrow('not a history (no SQLite database); nothing was changed');
  const other = join(world.folder, 'other.sqlite');
  const db = await openDatabase(other);
  db.exec('CREATE TABLE recipes (id INTEGER PRIMARY KEY)');
  db.close();
  await expect(openHistory(world.effects, other)).rejects.toThrow('an SQLite database of another program');
  expect(new Uint8Array(readFileSync(world.file))).toEqual(frame);
  expect(readdirSync(world.folder).sort()).toEqual(['data', 'other.sqlite']);
});

it('without a driver, with a file where a folder should be, in a folder that may not be written: words, no stack', async () => {
  const none = diskWorld({ openDatabase: () => Promise.reject(new NoDriver()) });
  await expect(openHistory(none.effects)).rejects.toThrow(/No history: .* Node 22\.13 or newer .*better-sqlite3/);
  const world = diskWorld();
  writeFileSync(join(world.folder, 'data'), 'a file');
  await expect(openHistory(world.effects)).rejects.toThrow('a part of its path is a file, expected a folder');
  const refuse = (code: string): Promise<never> => Promise.reject(Object.assign(new Error(code), { code }));
  const readOnly = diskWorld({ makeFolder: () => refuse('EROFS') });
  await expect(openHistory(readOnly.effects)).rejects.toThrow('is read-only; allow writing, or name another file');
});

it('several processes may make the same new history at once', async () => {
  const world = diskWorld();
  const histories = await Promise.all(Array.from({ length: 6 }, () => openHistory(world.effects)));
  histories.forEach((history, i) => history.add(reportOf(i)));
  expect(histories.map((history) => history.list().length)).toEqual([6, 6, 6, 6, 6, 6]);
  for (const history of histories) history.close();
  expect(world.err).toBe('');
});
