import { createHash } from 'node:crypto';
import {
  appendFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { dirname, join } from 'node:path';
import { expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { smallSub } from '../support/smallSub.ts';
import { skipUnless } from '../support/testData.ts';
import { CLI, Watching } from '../support/watching.ts';

const FULL = process.env['STARPLUMB_FULL'] === '1';
const SUBS = FULL ? 2880 : 48;
const STALL_MS = FULL ? 10_000 : 1500;
/** Camera programs at work at once: stalls overlap, or a night of them would take a night. */
const WRITERS = FULL ? 24 : 8;

const wait = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

/** Ways a camera program, a share or a person may bring a sub into a folder. */
const WAYS = ['whole', 'dripped', 'renamed', 'written over', 'deleted and written again', 'stalled', 'nested'] as const;

async function bring(way: (typeof WAYS)[number], path: string, seed: number): Promise<Uint8Array> {
  let bytes = smallSub(seed);
  const random = seededRandom(seed, 'pauses');
  mkdirSync(dirname(path), { recursive: true });
  const drip = async (pieces: number, pauseMs: number): Promise<void> => {
    writeFileSync(path, '');
    for (let i = 0; i < pieces; i++) {
      const part = (at: number): number => Math.floor((at * bytes.length) / pieces);
      appendFileSync(path, bytes.subarray(part(i), part(i + 1)));
      await wait(pauseMs * random.uniform());
    }
  };
  switch (way) {
    case 'whole':
    case 'nested':
      writeFileSync(path, bytes);
      break;
    case 'dripped':
      await drip(7, 120);
      break;
    case 'renamed':
      writeFileSync(`${path}.tmp`, bytes);
      await wait(50);
      renameSync(`${path}.tmp`, path);
      break;
    case 'written over':
      writeFileSync(path, bytes);
      await wait(400 * random.uniform());
      bytes = smallSub(seed + 1_000_000);
      await drip(3, 60);
      break;
    case 'deleted and written again':
      writeFileSync(path, bytes);
      // Now and then in the middle of being read.
      await wait(400 * random.uniform());
      rmSync(path);
      await wait(100 * random.uniform());
      bytes = smallSub(seed + 2_000_000);
      writeFileSync(path, bytes);
      break;
    case 'stalled':
      await drip(2, STALL_MS);
  }
  return bytes;
}

/** What the process holds open; pipes and sockets among it. */
const handles = (pid: number): string[] =>
  readdirSync(`/proc/${pid}/fd`).flatMap((fd) => {
    try {
      return [readlinkSync(`/proc/${pid}/fd/${fd}`)];
    } catch {
      return [];
    }
  });

const residentMb = (pid: number): number =>
  Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1] ?? 0) / 1024;

const childOf = (pid: number): number =>
  Number(readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8').trim().split(' ')[0]);

it(
  `${SUBS} subs, dripped, renamed, written over, deleted and stalled, have one record each, and nothing piles up`,
  async (context) => {
    skipUnless(context, existsSync(CLI), 'dist/cli.js is not built (npm run build)');
    skipUnless(context, existsSync('/proc/self/fd'), 'there is no /proc to count handles in');
    const night = new Watching();
    try {
      await night.start('--port', '0', '--all');
      night.drop('first.fits', smallSub(1));
      await night.until(() => night.out.includes('first.fits'), 120_000);
      await wait(1000);
      const pids = [night.pid, childOf(night.pid)];
      const before = pids.map((pid) => handles(pid).length);
      const expected = new Map<string, string>([['first.fits', sha(smallSub(1))]]);
      const memory: number[][] = [];
      let next = 0;
      const writer = async (): Promise<void> => {
        while (next < SUBS) {
          const i = next++;
          const way = WAYS[i % WAYS.length] ?? 'whole';
          const file = `${way === 'nested' ? `night ${i % 5}/lights/` : ''}sub-${String(i).padStart(4, '0')}.fits`;
          expected.set(file, sha(await bring(way, join(night.folder, file), 10 + i)));
          if (i % Math.ceil(SUBS / 24) === 0) memory.push(pids.map(residentMb));
          // The watch is not to fall behind without end.
          while (FULL && next - recordsOf(night).size > 300) await wait(200);
        }
      };
      await Promise.all(Array.from({ length: WRITERS }, writer));
      const same = (): boolean => {
        const records = recordsOf(night);
        return records.size === expected.size && [...expected].every(([file, sum]) => records.get(file) === sum);
      };
      await night.until(same, FULL ? 3_600_000 : 300_000);
      await wait(2000);
      memory.push(pids.map(residentMb));
      expect(same()).toBe(true);
      expect(new Set(recordsOf(night).values()).size).toBe(expected.size);
      // Nothing of the watched folder is open, and no handle more than after the first sub.
      const after = pids.map((pid) => handles(pid));
      expect(after.flat().filter((name) => name.startsWith(night.folder))).toEqual([]);
      expect(after.map((open) => open.length)).toEqual(before);
      console.log(`${SUBS} subs; MB of the watch and its measuring process: ${memory.map(shown).join(' ')}`);
      if (FULL) {
        const half = memory.slice(Math.floor(memory.length / 2));
        for (const [which, mb] of [night.pid, childOf(night.pid)].entries()) {
          expect(mb).toBe(pids[which]);
          const series = half.map((pair) => pair[which] ?? 0);
          // The second half of the night needs no more than the first half left.
          const first = Math.max(...memory.slice(2, Math.floor(memory.length / 2)).map((pair) => pair[which] ?? 0));
          expect(Math.max(...series)).toBeLessThan(first * 1.15 + 10);
        }
      }
    } finally {
      await night.end();
    }
  },
  FULL ? 7_200_000 : 400_000,
);

const sha = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');
const shown = (pair: readonly number[]): string => pair.map((mb) => mb.toFixed(0)).join('/');

/** Checksum by file, as a restart would read them. */
function recordsOf(night: Watching): Map<string, string> {
  const place = join(night.root, 'data', 'starplumb', 'watch');
  const name = readdirSync(place).find((entry) => entry.endsWith('.jsonl')) ?? '';
  const records = new Map<string, string>();
  for (const line of readFileSync(join(place, name), 'utf8').split('\n').slice(0, -1)) {
    if (!line.startsWith('{"k":"sub"') && !line.startsWith('{"k":"renamed"')) continue;
    const entry = JSON.parse(line) as { k: string; sub?: { file: string; sha256: string }; from?: string; to?: string };
    if (entry.sub) records.set(entry.sub.file, entry.sub.sha256);
    else if (entry.from !== undefined && entry.to !== undefined) {
      records.set(entry.to, records.get(entry.from) ?? '');
      records.delete(entry.from);
    }
  }
  return records;
}
