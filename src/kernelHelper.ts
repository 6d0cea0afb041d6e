import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import type { HelperKernels } from './kernels/kernels.ts';

/** Where the build puts the thread's code; from source there is none, and no thread. */
const CODE = fileURLToPath(new URL('./kernelThread.js', import.meta.url));

/** Has the thread take part in what these kernels are given from now on. */
type HelpKernels = (kernels: HelperKernels) => void;

/** A thread for the kernels, started before they are known: it takes as long to come up as the program. Null where it cannot be. */
export function startKernelThread(): HelpKernels | null {
  if (availableParallelism() < 2 || !existsSync(CODE)) return null;
  const worker = new Worker(CODE);
  // Nobody waits for it: where it fails, this thread does all the work.
  worker.on('error', () => undefined);
  worker.unref();
  return (kernels) => worker.postMessage(kernels);
}
