import { parentPort, workerData } from 'node:worker_threads';
import { startSha256 } from '../effects.ts';
import { DISK } from './frames.ts';
import { type HelperTask, helpMeasuring } from './measureSubs.ts';

/** What a thread does that helperThreads.ts has started. */
export function runHelperThread(): Promise<void> {
  return helpMeasuring(workerData as HelperTask, (index, outcome) => parentPort?.postMessage({ index, outcome }), {
    ...DISK,
    startSha256,
  });
}
