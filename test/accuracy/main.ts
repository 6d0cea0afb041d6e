import { fork } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { drawCase, type Kind, kindOf } from './drawnCase.ts';
import type { Precision } from './precision.ts';
import { type Outcome, runCase } from './runCase.ts';
import {
  confusionTable,
  describe,
  directionTable,
  findingsLine,
  missList,
  mixtureTable,
  targetTable,
  verdictTable,
} from './tables.ts';
import { targetsOf } from './targets.ts';
import type { Job } from './worker.ts';

const USAGE = `usage: npm run accuracy -- [--cases N] [--seed S] [--only good|single|mixture|CAUSE] [--write] [--misses]
                          [--case K [--scenario FILE]] [--json FILE]

Draws N seeded cases (default 400), measures them as check does and holds the records against what was drawn.
--only     cases of one kind, or with one cause put in
--case     one case alone: what was drawn, what the record says; --scenario writes it for starplumb synth
--misses   lists the cases that were judged wrongly
--json     writes every case: truth and record
--write    writes the table into README.md and the error plots into samples/
`;

const DEFAULT_CASES = 400;
const DEFAULT_SEED = 1;
const PRECISION_NIGHTS = 8;

function wanted(only: string | undefined, seed: number, index: number): boolean {
  if (only === undefined) return true;
  if (['good', 'single', 'mixture'].includes(only)) return kindOf(index) === (only as Kind);
  const drawn = drawCase(seed, index);
  return kindOf(index) !== 'good' && drawn.intended[0]?.fault === only;
}

/** Hands the jobs to as many child processes as there are cores. */
async function runAll(jobs: readonly Job[], report: (done: number) => void): Promise<unknown[]> {
  const results: unknown[] = [];
  let next = 0;
  let done = 0;
  const worker = fileURLToPath(new URL('worker.js', import.meta.url));
  const runOne = async (): Promise<void> => {
    const child = fork(worker, { stdio: 'inherit' });
    try {
      while (next < jobs.length) {
        const at = next++;
        results[at] = await new Promise((resolve, reject) => {
          child.once('message', (message: { result?: unknown; error?: string }) => {
            child.removeAllListeners('exit');
            if (message.error !== undefined) reject(new Error(`${JSON.stringify(jobs[at])}: ${message.error}`));
            else resolve(message.result);
          });
          child.once('exit', (code) => reject(new Error(`a child process ended with code ${code}`)));
          child.send(jobs[at]);
        });
        report(++done);
      }
    } finally {
      child.removeAllListeners('exit');
      child.kill();
    }
  };
  await Promise.all(Array.from({ length: Math.min(availableParallelism(), jobs.length) }, runOne));
  return results;
}

function showOne(seed: number, index: number, scenarioFile: string | undefined): void {
  const outcome = runCase(seed, index);
  console.log(describe(outcome));
  console.log(`    record: ${outcome.report.verdict}, ${findingsLine(outcome)}`);
  console.log(JSON.stringify({ truth: outcome.truth, field: outcome.report.field }, null, 1));
  console.log(`    settings: ${JSON.stringify(outcome.drawn.settings)}`);
  if (scenarioFile !== undefined) writeFileSync(scenarioFile, `${JSON.stringify(outcome.drawn.scenario, null, 2)}\n`);
}

async function main(): Promise<void> {
  const { values } = parseArgs({
    options: {
      cases: { type: 'string' },
      seed: { type: 'string' },
      only: { type: 'string' },
      case: { type: 'string' },
      scenario: { type: 'string' },
      json: { type: 'string' },
      misses: { type: 'boolean' },
      write: { type: 'boolean' },
      help: { type: 'boolean', short: 'h' },
    },
  });
  if (values.help) {
    process.stdout.write(USAGE);
    return;
  }
  const seed = Number(values.seed ?? DEFAULT_SEED);
  const count = Number(values.cases ?? DEFAULT_CASES);
  if (values.case !== undefined) {
    showOne(seed, Number(values.case), values.scenario);
    return;
  }
  const jobs: Job[] = [];
  for (let index = 0; jobs.length < count; index++) {
    if (wanted(values.only, seed, index)) jobs.push({ kind: 'case', seed, index });
  }
  const nights: Job[] =
    values.only === undefined
      ? Array.from({ length: PRECISION_NIGHTS }, (_, index) => ({ kind: 'precision', seed, index }))
      : [];
  const started = performance.now();
  const all = [...jobs, ...nights];
  const results = await runAll(all, (done) => {
    if (!process.stderr.isTTY) return;
    const left = ((performance.now() - started) / 1000 / done) * (all.length - done);
    process.stderr.write(`\r${done} of ${all.length} cases, ${left.toFixed(0)} s left   `);
  });
  if (process.stderr.isTTY) process.stderr.write('\r\u001b[K');
  const outcomes = results.slice(0, jobs.length) as Outcome[];
  const precision = results.slice(jobs.length) as Precision[];
  if (values.json !== undefined) writeFileSync(values.json, JSON.stringify(outcomes));
  const seconds = (performance.now() - started) / 1000;
  console.log(`${jobs.length} cases, seed ${seed}, ${seconds.toFixed(0)} s on ${availableParallelism()} cores\n`);
  console.log(confusionTable(outcomes), '\n');
  console.log(verdictTable(outcomes), '\n');
  console.log(mixtureTable(outcomes), '\n');
  console.log(directionTable(outcomes), '\n');
  console.log(targetTable(targetsOf(outcomes, precision)));
  if (values.misses) console.log(`\n${missList(outcomes).join('\n')}`);
}

await main();
