import { precisionOf } from './precision.ts';
import { runCase } from './runCase.ts';

/** What a child process is told to do, one thing at a time. */
export type Job =
  | { readonly kind: 'case'; readonly seed: number; readonly index: number }
  | { readonly kind: 'precision'; readonly seed: number; readonly index: number };

function done(job: Job): unknown {
  return job.kind === 'case' ? runCase(job.seed, job.index) : precisionOf(job.seed, job.index);
}

process.on('message', (job: Job) => {
  try {
    process.send?.({ job, result: done(job) });
  } catch (error) {
    process.send?.({ job, error: error instanceof Error ? (error.stack ?? error.message) : String(error) });
  }
});
process.on('disconnect', () => process.exit());
