import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { isBuiltin } from 'node:module';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import type { Effects } from '../../src/effects.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import { NoDriver } from '../../src/history/driver.ts';
import { openHistory } from '../../src/history/openHistory.ts';
import { runProgram } from '../../src/program.ts';
import { parseReport } from '../../src/report/record.ts';
import { drawSub } from '../support/draw.ts';
import { type DiskWorld, diskWorld } from '../support/historyFolder.ts';
import { skipUnless } from '../support/testData.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const NODE_HAS_SQLITE = isBuiltin('node:sqlite');
const [width, height] = [900, 640];
let bytes: Uint8Array | null = null;
const drawn = (): Uint8Array =>
  encodeFits({
    pixels: drawSub({ width, height, starCount: 150, seed: 7 }).pixels.data,
    width,
    height,
    cards: [{ keyword: 'EGAIN', value: 1 }],
  });

/** A folder with one sub in it; the history would be in data/ beside it. */
function worldWithSub(changes: Partial<Effects> = {}): DiskWorld & { readonly sub: string } {
  bytes ??= drawn();
  const world = diskWorld(changes);
  const sub = join(world.folder, 'a.fits');
  writeFileSync(sub, bytes);
  return Object.assign(world, { sub });
}

const FILES = ['field.png', 'report.json'];
const reportIn = (folder: string): ReturnType<typeof parseReport> =>
  parseReport(JSON.parse(readFileSync(join(folder, 'report.json'), 'utf8')));

const refuse = (code: string): Promise<never> => Promise.reject(Object.assign(new Error(code), { code }));

/** A history that cannot be kept costs the history only: the answer stands, its exit code too, and one line says why. */
describe('check answers all the same', () => {
  it.each([
    [
      'without a driver',
      { openDatabase: () => Promise.reject(new NoDriver()) },
      /No history: this Node \(v\S+\) has no SQLite built in and better-sqlite3 is not installed; Node 22\.13 or newer/,
    ],
    ['in a data place that is read-only', { makeFolder: 'EROFS' }, /is read-only; allow writing, or name another file/],
    ['in a data place that is not ours', { makeFolder: 'EACCES' }, /cannot be opened; allow it, or name another file/],
    ['on a disk that is full from the folder on', { makeFolder: 'ENOSPC' }, /the disk is full: nothing was written/],
  ] as const)('%s', async (_name, change, words) => {
    const world = worldWithSub();
    const { effects, folder } = world;
    const changed: Effects = {
      ...effects,
      ...('openDatabase' in change
        ? change
        : {
            makeFolder: (path) =>
              path.startsWith(join(folder, 'data')) ? refuse(change.makeFolder) : effects.makeFolder(path),
          }),
    };
    const out = join(folder, 'report');
    expect(await runProgram(['check', world.sub, '--quick', '--out', out], changed)).toBe(0);
    expect(readdirSync(out).sort()).toEqual(FILES);
    expect(world.out).toContain(reportIn(out).headline.slice(0, 30));
    expect(world.out).not.toContain('History');
    expect(world.err).toMatch(/^This check is not in the history\. .*\n$/);
    expect(world.err).toMatch(words);
    expect(world.err).not.toMatch(/ at .*:\d+:\d+/);
    // For programs nothing but the record stands on standard output.
    world.out = '';
    expect(await runProgram(['check', world.sub, '--quick', '--out', out, '--json'], changed)).toBe(0);
    expect(parseReport(JSON.parse(world.out)).verdict).toBe(reportIn(out).verdict);
  });

  it('where the history is a folder or a picture', async () => {
    const world = worldWithSub();
    mkdirSync(world.file, { recursive: true });
    const out = join(world.folder, 'report');
    expect(await runProgram(['check', world.sub, '--quick', '--out', out], world.effects)).toBe(0);
    expect(world.err).toMatch(/^This check is not in the history\. \S+history\.sqlite: .*\n$/);
    world.err = '';
    const picture = join(out, 'field.png');
    const before = readFileSync(picture);
    const other = ['check', world.sub, '--quick', '--out', join(world.folder, 'r2'), '--history', picture];
    expect(await runProgram(other, world.effects)).toBe(0);
    expect(world.err).toMatch(/^This check is not in the history\. /);
    expect(readFileSync(picture).equals(before)).toBe(true);
  });
});

describe('on a disk that fails under the history (LD_PRELOAD, GNU C library)', () => {
  const CLI = `${ROOT}dist/cli.js`;

  it.for([
    ['full', 1, 'the disk is full'],
    ['full', 9, 'the disk is full'],
    // The drivers do not do the same at their second call: Node's own writes, better-sqlite3 opens.
    ['error', 2, NODE_HAS_SQLITE ? 'the disk reports an error' : 'cannot be opened'],
    ['error', 12, 'the disk reports an error'],
  ] as const)(
    '%s from its call %i on: the answer, a sound history, and the next check is kept',
    async ([mode, n, words], context) => {
      skipUnless(context, existsSync(CLI), 'dist is not built (npm run build)');
      const world = worldWithSub();
      const library = join(world.folder, 'faultyDisk.so');
      const source = `${ROOT}test/support/faultyDisk.c`;
      const cc = spawnSync('cc', ['-shared', '-fPIC', '-O1', '-o', library, source, '-ldl']);
      skipUnless(context, cc.status === 0, 'no C compiler, or not the GNU C library');
      const struck = join(world.folder, 'struck');
      const file = join(world.folder, 'data', 'history.sqlite');
      const run = (folder: string, env: NodeJS.ProcessEnv) =>
        spawnSync(process.execPath, [CLI, 'check', world.sub, '--quick', '--out', folder, '--history', file], {
          env: { ...process.env, ...env, XDG_CONFIG_HOME: world.folder },
          encoding: 'utf8',
        });
      const out = join(world.folder, 'report');
      const failed = run(out, {
        LD_PRELOAD: library,
        STARPLUMB_FAULT_FILE: file,
        STARPLUMB_FAULT_LOG: struck,
        STARPLUMB_FAULT: `k ${mode} ${n}`,
      });
      expect(existsSync(struck)).toBe(true);
      expect(failed.status, failed.stderr).toBe(0);
      expect(readdirSync(out).sort()).toEqual(FILES);
      expect(failed.stdout).toContain(reportIn(out).headline.slice(0, 30));
      // An error may strike where SQLite gets over it; then the check is kept, and said to be.
      if (failed.stdout.includes('History')) expect(failed.stderr).toBe('');
      else expect(failed.stderr).toMatch(new RegExp(`^This check is not in the history\\. .*${words}.*\\n$`));
      const next = run(join(world.folder, 'next'), {});
      expect(next.stderr).toBe('');
      expect(next.stdout).toMatch(/History {3}check 1/);
      const history = await openHistory(world.effects, file);
      expect(history.list()).toHaveLength(1);
      history.close();
    },
  );
});
