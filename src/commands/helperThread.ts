import { createHash } from 'node:crypto';
import { parentPort, workerData } from 'node:worker_threads';
import { DISK } from './frames.ts';
import { type HelperTask, helpMeasuring } from './measureSubs.ts';

/** What a thread does that helperThreads.ts has started. */
export function runHelperThread(): Promise<void> {
  return helpMeasuring(workerData as HelperTask, (index, outcome) => parentPort?.postMessage({ index, outcome }), {
    ...DISK,
    sha256: (bytes) => createHash('sha256').update(bytes).digest('hex'),
  });
}
