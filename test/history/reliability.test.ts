import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { skipUnless } from '../support/testData.ts';

/**
 * Short forms of scripts/history-torture.mjs, which says what each part does; at length: node scripts/history-torture.mjs, or
 * STARPLUMB_FULL=1. What must hold stands in SQLite's documentation: a commit in WAL mode with synchronous=FULL is
 * durable (https://www.sqlite.org/wal.html, https://www.sqlite.org/pragma.html#pragma_synchronous).
 */
const SCRIPT = fileURLToPath(new URL('../../scripts/history-torture.mjs', import.meta.url));
const full = process.env['STARPLUMB_FULL'] === '1';

interface Figures {
  readonly ok: boolean;
  readonly skipped?: string;
  readonly acknowledged?: number;
  readonly tried?: number;
  readonly kept?: number;
  readonly words?: number;
  readonly setAside?: number;
  readonly silent?: number;
  readonly calls?: Readonly<Record<string, number>>;
}

function torture(part: string, short: number): Figures {
  const run = spawnSync(process.execPath, [SCRIPT, full ? part : `${part}=${short}`], { encoding: 'utf8' });
  if (run.stdout === '') throw new Error(run.stderr);
  return JSON.parse(run.stdout) as Figures;
}

const LONG = 3_600_000;

it('no acknowledged check is lost when processes are killed at random moments', { timeout: LONG }, () => {
  const figures = torture('kills', 25);
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, lost: 0, unsound: 0 });
  expect(figures.acknowledged).toBeGreaterThan(20);
});

it('a write-ahead log cut anywhere keeps every whole commit and no half one', { timeout: LONG }, () => {
  const figures = torture('cuts', 499);
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, lost: 0, torn: 0, wrong: 0 });
  expect(figures.tried).toBeGreaterThan(50);
});

it('a disk that errs or is full at any file call costs at most this check, with words', {
  timeout: LONG,
}, (context) => {
  const figures = torture('faults', 5);
  skipUnless(context, figures.skipped === undefined, figures.skipped ?? '');
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, lost: 0, unsound: 0, wrong: [] });
  expect(figures.words).toBeGreaterThan(10);
  expect(figures.kept).toBeGreaterThan(0);
});

it('a process that dies before or amid any file call leaves a sound history', { timeout: LONG }, (context) => {
  const figures = torture('deaths', 23);
  skipUnless(context, figures.skipped === undefined, figures.skipped ?? '');
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, lost: 0, unsound: 0, wrong: [] });
  for (const calls of Object.values(figures.calls ?? {})) expect(calls).toBeGreaterThan(3);
});

it('four processes keep checks and two read them at once: none is lost', { timeout: LONG }, () => {
  const figures = torture('writers', 40);
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, lost: 0 });
});

it('a database with flipped bits is whole, or set aside unchanged, and nothing is wrong in silence', {
  timeout: LONG,
}, () => {
  const figures = torture('flips', 200);
  expect(figures, JSON.stringify(figures)).toMatchObject({ ok: true, silent: 0, changed: 0, crashed: [] });
  expect(figures.setAside).toBeGreaterThan(20);
});
