import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { Worker } from 'node:worker_threads';
import type { SubOutcome } from './measureSub.ts';
import type { StartHelper } from './measureSubs.ts';

/** Where the build puts the thread's code; from source there is none, and no threads. */
const CODE = new URL('./helperThread.js', import.meta.url);
/** Each holds a frame of its own. */
const MOST = 3;

/** Threads that measure subs beside the first. */
export const HELPER_THREADS = existsSync(CODE) ? Math.min(MOST, availableParallelism() - 1) : 0;

export const startHelper: StartHelper = (task, take) => {
  const worker = new Worker(CODE, { workerData: task });
  worker.on('message', ({ index, outcome }: { index: number; outcome: SubOutcome }) => {
    take(index, outcome);
  });
  const done = new Promise<void>((resolve, reject) => {
    worker.once('error', reject);
    worker.once('exit', () => {
      resolve();
    });
  });
  // Awaited later, perhaps never: a failure is seen there.
  done.catch(() => undefined);
  return {
    done,
    stop: () => {
      void worker.terminate();
    },
  };
};
