import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { buildSync } from 'esbuild';
import { afterAll, afterEach, beforeAll, beforeEach, expect, it } from 'vitest';
import { startSha256 } from '../../src/effects.ts';
import { boardIn, PRESENT, shareOut } from '../../src/kernels/crew.ts';
import { type Kernels, kernels, useKernels } from '../../src/kernels/kernels.ts';
import { measureFrame } from '../../src/measure.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { sampleFrame } from '../support/samples.ts';

const folder = mkdtempSync(join(tmpdir(), 'starplumb-crew-'));
const code = join(folder, 'kernelThread.cjs');
let worker: Worker;
let compiled: Kernels;

beforeAll(() => {
  const entry = fileURLToPath(new URL('../../src/kernelThread.ts', import.meta.url));
  buildSync({ entryPoints: [entry], bundle: true, platform: 'node', format: 'cjs', outfile: code });
});
beforeEach(async () => {
  useKernels(true);
  const fresh = kernels();
  if (fresh === null) throw new Error('this Node has no kernels');
  compiled = fresh;
  worker = new Worker(code);
  worker.postMessage(compiled.forHelper());
  for (let tries = 0; !isUp(compiled); tries++) {
    if (tries > 1000) throw new Error('the helper does not come up');
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
});
afterEach(async () => {
  await worker.terminate();
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
  useKernels(true);
});

const isUp = (of: Kernels): boolean => Atomics.load(boardIn(of.room(1).buffer).words, PRESENT) === 1;

const nap = (ms: number): void => void Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, ms);

/** This thread's kernels, but slow, so that the helper gets its share; `pieces` counts what was done here. */
function slowly(): { readonly run: Kernels['run']; pieces: number } {
  const slow = {
    pieces: 0,
    run: {
      ...compiled.run,
      swap16: (...values: number[]) => {
        slow.pieces++;
        nap(3);
        return compiled.run.swap16(...values);
      },
    },
  };
  return slow;
}

it('a helper takes pieces, every piece is done once, and all is done on return', () => {
  const count = 100_003;
  const bytes = compiled.room(2 * count);
  const random = seededRandom(7);
  for (let i = 0; i < bytes.length; i++) bytes[i] = Math.floor(256 * random.uniform());
  const wanted = Buffer.from(bytes).swap16();
  const slow = slowly();
  shareOut(boardIn(bytes.buffer), slow.run, 'swap16', [bytes.byteOffset, 0], count, 1000);
  expect(Buffer.compare(Buffer.from(bytes), wanted)).toBe(0);
  expect(slow.pieces).toBeLessThan(101);
});

it('a frame measures the same to the last bit with a helper and without', () => {
  const frame = sampleFrame('sample-coma.fits.fz');
  const helped = measureFrame(frame);
  useKernels(true);
  expect(kernels()).not.toBe(compiled);
  expect(helped).toEqual(measureFrame(frame));
  expect(helped.stars.shapes.length).toBeGreaterThan(100);
});

it('sums up a file that comes in parts', () => {
  for (const parts of [[], [1], [1000, 1, 70_000], Array.from({ length: 50 }, (_, i) => 100 * i)]) {
    const size = parts.reduce((total, part) => total + part, 0);
    const bytes = compiled.room(size + 1);
    for (let i = 0; i < size; i++) bytes[i] = (i * 7) & 255;
    const sum = compiled.sumBeside(bytes, () => {
      throw new Error('not by the helper');
    });
    let at = 0;
    for (const part of parts) {
      sum?.add(bytes.subarray(at, at + part));
      at += part;
    }
    // Time enough for the helper to take it; a file that is read sooner is summed up here.
    nap(50);
    const wanted = createHash('sha256').update(bytes.subarray(0, size)).digest('hex');
    expect(sum?.hex()).toBe(wanted);
  }
});

it('drops a sum that was begun and never asked for', () => {
  const bytes = compiled.room(1000).fill(3);
  compiled.sumBeside(bytes, startSha256)?.add(bytes);
  nap(20);
  const sum = compiled.sumBeside(bytes, startSha256);
  for (let at = 0; at < 1000; at += 100) sum?.add(bytes.subarray(at, at + 100));
  nap(20);
  expect(sum?.hex()).toBe(createHash('sha256').update(bytes).digest('hex'));
});

it('takes up a sum that was begun before it was up, and is not waited for where it comes too late', async () => {
  await worker.terminate();
  useKernels(true);
  const late = kernels();
  if (late === null) throw new Error('this Node has no kernels');
  const bytes = late.room(5000).fill(9);
  const wanted = createHash('sha256').update(bytes).digest('hex');
  const given = late.forHelper();
  const alone = late.sumBeside(bytes, startSha256);
  alone?.add(bytes);
  expect(isUp(late)).toBe(false);
  expect(alone?.hex()).toBe(wanted);
  const helped = late.sumBeside(bytes, () => {
    throw new Error('not by the helper');
  });
  helped?.add(bytes.subarray(0, 2000));
  worker = new Worker(code);
  worker.postMessage(given);
  while (!isUp(late)) await new Promise((resolve) => setTimeout(resolve, 5));
  nap(50);
  helped?.add(bytes.subarray(2000));
  expect(helped?.hex()).toBe(wanted);
});

it('is not asked for bytes that stand elsewhere, nor where nobody helps', () => {
  expect(compiled.sumBeside(new Uint8Array(10), startSha256)).toBeNull();
  useKernels(true);
  const alone = kernels();
  expect(alone?.sumBeside(alone.room(10), startSha256)).toBeNull();
});

it('where the helper comes to grief, that is said and nobody waits for ever', () => {
  const bytes = compiled.room(1000);
  const beyond = 0xffff_0000;
  const harmless = { ...compiled.run, swap16: () => nap(3) };
  expect(() => shareOut(boardIn(bytes.buffer), harmless, 'swap16', [beyond, 0], 1000, 10)).toThrow(/has failed/);
});

it('a helper that is gone with a piece in hand is not waited for for ever', async () => {
  await worker.terminate();
  const board = boardIn(compiled.room(1000).buffer, 20);
  // The word that counts who is at work: what a thread leaves that is ended in the middle of it.
  Atomics.add(board.words, 2, 1);
  expect(() => {
    shareOut(board, compiled.run, 'swap16', [compiled.room(1000).byteOffset, 0], 500, 100);
  }).toThrow(/does not answer/);
});
