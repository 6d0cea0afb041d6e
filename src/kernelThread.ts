import { createHash } from 'node:crypto';
import { parentPort } from 'node:worker_threads';
import { boardIn, help } from './kernels/crew.ts';
import type { HelperKernels } from './kernels/kernels.ts';

// Runs in a thread of its own, started by kernelHelper.ts; nothing of the program is loaded here, so that it is soon up.
parentPort?.once('message', ({ module, memory }: HelperKernels) => {
  const { exports } = new WebAssembly.Instance(module, { env: { memory } });
  help(boardIn(memory.buffer), exports as unknown as Parameters<typeof help>[1], {
    start: () => createHash('sha256'),
    bytes: (at, count) => new Uint8Array(memory.buffer, at, count),
  });
});
