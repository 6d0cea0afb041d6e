import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { deserialize, serialize } from 'node:v8';
import { gunzipSync, gzipSync } from 'node:zlib';
import { drawCase } from './drawnCase.ts';
import { precisionCase } from './precision.ts';
import { judgeCase, type MeasuredCase, measureCase, type Outcome } from './runCase.ts';

/** What a child process is told to do, one thing at a time. */
export interface Job {
  readonly kind: 'case' | 'precision';
  readonly seed: number;
  readonly index: number;
  /** Folder that keeps the measured stars, so that a change of the diagnosis alone is judged without drawing anew. */
  readonly keep: string | null;
  /** Leave the whole-field fit out. */
  readonly quick: boolean;
}

export function runJob(job: Job): Outcome {
  return judgeCase(job.keep === null ? drawn(job) : kept(job, job.keep), job.quick);
}

const drawn = ({ kind, seed, index }: Job): MeasuredCase =>
  measureCase(kind === 'case' ? drawCase(seed, index) : precisionCase(seed, index));

function kept(job: Job, folder: string): MeasuredCase {
  const path = `${folder}/${job.kind}-${job.seed}-${job.index}.stars.gz`;
  if (existsSync(path)) return deserialize(gunzipSync(readFileSync(path))) as MeasuredCase;
  const measured = drawn(job);
  mkdirSync(folder, { recursive: true });
  writeFileSync(`${path}.${process.pid}`, gzipSync(serialize(measured), { level: 1 }));
  renameSync(`${path}.${process.pid}`, path);
  return measured;
}

if (process.send !== undefined) {
  process.on('message', (job: Job) => {
    try {
      process.send?.({ result: runJob(job) });
    } catch (error) {
      process.send?.({ error: error instanceof Error ? (error.stack ?? error.message) : String(error) });
    }
  });
  process.on('disconnect', () => process.exit());
}
