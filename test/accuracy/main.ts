import { fork } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { drawCase, type Kind, kindOf } from './drawnCase.ts';
import { classOf } from './judge.ts';
import { accuracyPicture } from './plots.ts';
import { precisionOf } from './precision.ts';
import { withAccuracy } from './readmePart.ts';
import type { Outcome } from './runCase.ts';
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
import { quickOutcomes, type Target, targetsOf } from './targets.ts';
import { type Job, runJob } from './worker.ts';

const USAGE = `usage: npm run accuracy -- [--cases N] [--seed S] [--only good|single|mixture|CAUSE] [--write] [--misses] [--quick]
                          [--case K [--scenario FILE]] [--json FILE] [--keep FOLDER]
       npm run accuracy -- --join FILE... [--write] [--misses]

Draws N seeded cases (default 320), measures them as check does and holds the records against what was drawn.
--only     cases of one kind, or with one cause put in
--case     one case alone: what was drawn, what the record says; --scenario writes it for starplumb synth
--nights   repeats of the night that tells how well coma is seen (default 4)
--quick    leaves the whole-field fit out, as check --quick does
--misses   lists the cases that were judged wrongly
--json     writes every case: truth and record
--join     judges what --json wrote in runs of different seeds together, and draws nothing
--keep     keeps the measured stars in a folder: after a change of the diagnosis alone nothing is drawn anew
--write    writes the table into README.md and the error plots into samples/
`;

const DEFAULT_CASES = 320;
const DEFAULT_SEED = 1;
const PRECISION_NIGHTS = 4;

function wanted(only: string | undefined, seed: number, index: number): boolean {
  if (only === undefined) return true;
  if (['good', 'single', 'mixture'].includes(only)) return kindOf(index) === (only as Kind);
  const drawn = drawCase(seed, index);
  return kindOf(index) !== 'good' && drawn.intended[0]?.fault === only;
}

/** What one run found, as --json writes it. */
interface Run {
  readonly seed: number;
  /** What --only left of the cases; null: all. */
  readonly only: string | null;
  readonly quick: boolean;
  readonly outcomes: readonly Outcome[];
  readonly nights: readonly Outcome[];
}

/** Hands the jobs to as many child processes as there are cores. */
async function runAll(jobs: readonly Job[], report: (done: number) => void): Promise<Outcome[]> {
  const results: Outcome[] = [];
  let next = 0;
  let done = 0;
  const worker = fileURLToPath(new URL('worker.mjs', import.meta.url));
  const runOne = async (): Promise<void> => {
    const child = fork(worker, { stdio: 'inherit' });
    try {
      while (next < jobs.length) {
        const at = next++;
        results[at] = await new Promise((resolve, reject) => {
          child.once('message', (message: { result: Outcome } | { error: string }) => {
            child.removeAllListeners('exit');
            if ('error' in message) reject(new Error(`${JSON.stringify(jobs[at])}: ${message.error}`));
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

function showOne(job: Job, scenarioFile: string | undefined): void {
  const outcome = runJob(job);
  console.log(describe(outcome));
  console.log(`    record: ${outcome.report.verdict}, ${findingsLine(outcome)}`);
  console.log(JSON.stringify({ truth: outcome.truth, field: outcome.report.field }, null, 1));
  console.log(`    settings: ${JSON.stringify(outcome.drawn.settings)}`);
  if (scenarioFile !== undefined) writeFileSync(scenarioFile, `${JSON.stringify(outcome.drawn.scenario, null, 2)}\n`);
}

/** Targets with the whole-field fit and without. */
function bothTargets(outcomes: readonly Outcome[], nights: readonly Outcome[]): [Target[], Target[]] {
  return [
    targetsOf(outcomes, nights.map(precisionOf)),
    targetsOf(quickOutcomes(outcomes), quickOutcomes(nights).map(precisionOf)),
  ];
}

const PICTURE = 'samples/accuracy.svg';

/** One run, or several judged as one. */
interface Judged extends Omit<Run, 'seed' | 'only'> {
  readonly seeds: readonly number[];
}

function joined(files: readonly string[]): Judged {
  if (files.length === 0) throw new Error('--join needs files that --json wrote');
  const runs = files.map((file) => JSON.parse(readFileSync(file, 'utf8')) as Run);
  for (const [i, { only, outcomes }] of runs.entries())
    if (!Array.isArray(outcomes) || only !== null)
      throw new Error(`${files[i]}: expected what --json writes of all cases`);
  const seeds = runs.map(({ seed }) => seed);
  if (new Set(seeds).size < seeds.length) throw new Error(`the same cases twice: seeds ${seeds.join(', ')}`);
  if (runs.some(({ quick }) => quick !== runs[0].quick)) throw new Error('runs with --quick and without');
  return {
    seeds,
    quick: runs[0].quick,
    outcomes: runs.flatMap(({ outcomes }) => outcomes),
    nights: runs.flatMap(({ nights }) => nights),
  };
}

function show(judged: Judged, { write, misses }: { readonly write: boolean; readonly misses: boolean }): void {
  const { outcomes, nights } = judged;
  console.log(confusionTable(outcomes), '\n');
  console.log(verdictTable(outcomes), '\n');
  console.log(mixtureTable(outcomes), '\n');
  console.log(directionTable(outcomes), '\n');
  console.log(targetTable(...bothTargets(outcomes, nights)));
  if (write) writeReadme(judged);
  if (misses) console.log(`\n${missList(outcomes).join('\n')}`);
}

/** The table into README.md and the plots beside it. */
function writeReadme({ quick, seeds, outcomes, nights }: Judged): void {
  const root = process.env['STARPLUMB_ROOT'] ?? '.';
  const { good, subs, stars } = {
    good: outcomes.filter((o) => classOf(o) === 'good').length,
    subs: outcomes.reduce((sum, o) => sum + o.drawn.scenario.subs.length, 0),
    stars: outcomes.reduce((sum, o) => sum + o.report.frames.reduce((n, f) => n + f.starsFitted, 0), 0),
  };
  const machine = `${process.arch === 'x64' ? 'x86-64' : process.arch}, ${availableParallelism()} cores, Node ${process.versions.node}`;
  const drawn = seeds.length === 1 ? `seed ${seeds[0]}` : `seeds ${seeds.join(' and ')}, judged together`;
  const text = [
    `${outcomes.length} cases drawn with ${drawn}, ${good} of them with nothing wrong; ${subs} frames of 6.5 megapixels, ${stars} stars measured, as \`${quick ? 'check --quick' : 'check'}\` does (${machine}).`,
    '\u00b1 is the binomial error of a share.',
    '',
    targetTable(...bothTargets(outcomes, nights)),
    '',
    'What was drawn (down) and what the record names first (across):',
    '',
    confusionTable(outcomes),
    '',
    `![Off directions against significance, found over drawn tilt of the primary, and how many numbers lie within their quoted errors](${PICTURE})`,
  ].join('\n');
  writeFileSync(
    `${root}${PICTURE}`,
    accuracyPicture(outcomes, `${outcomes.length} drawn cases, seed ${seeds.join(' and ')}`),
  );
  const readme = `${root}README.md`;
  writeFileSync(readme, withAccuracy(readFileSync(readme, 'utf8'), text));
}

async function main(): Promise<void> {
  const { values, positionals } = parseArgs({
    allowPositionals: true,
    options: {
      cases: { type: 'string' },
      seed: { type: 'string' },
      only: { type: 'string' },
      case: { type: 'string' },
      scenario: { type: 'string' },
      json: { type: 'string' },
      join: { type: 'boolean' },
      keep: { type: 'string' },
      misses: { type: 'boolean' },
      nights: { type: 'string' },
      write: { type: 'boolean' },
      quick: { type: 'boolean' },
      help: { type: 'boolean', short: 'h' },
    },
  });
  if (values.help) {
    process.stdout.write(USAGE);
    return;
  }
  const shown = { write: values.write ?? false, misses: values.misses ?? false };
  if (values.join) {
    show(joined(positionals), shown);
    return;
  }
  if (positionals.length > 0) throw new Error(`not an option: ${positionals.join(' ')}`);
  const seed = Number(values.seed ?? DEFAULT_SEED);
  const count = Number(values.cases ?? DEFAULT_CASES);
  const keep = values.keep ?? null;
  const quick = values.quick ?? false;
  if (values.case !== undefined) {
    showOne({ kind: 'case', seed, index: Number(values.case), keep, quick }, values.scenario);
    return;
  }
  const jobs: Job[] = [];
  for (let index = 0; jobs.length < count; index++) {
    if (wanted(values.only, seed, index)) jobs.push({ kind: 'case', seed, index, keep, quick });
  }
  const nights: Job[] =
    values.only === undefined
      ? Array.from({ length: Number(values.nights ?? PRECISION_NIGHTS) }, (_, index) => ({
          kind: 'precision',
          seed,
          index,
          keep,
          quick,
        }))
      : [];
  const started = performance.now();
  const all = [...jobs, ...nights];
  const results = await runAll(all, (done) => {
    if (!process.stderr.isTTY) return;
    const left = ((performance.now() - started) / 1000 / done) * (all.length - done);
    process.stderr.write(`\r${done} of ${all.length} cases, ${left.toFixed(0)} s left   `);
  });
  if (process.stderr.isTTY) process.stderr.write('\r\u001b[K');
  const only = values.only ?? null;
  const run: Run = { seed, only, quick, outcomes: results.slice(0, jobs.length), nights: results.slice(jobs.length) };
  if (values.json !== undefined) writeFileSync(values.json, JSON.stringify(run));
  const seconds = (performance.now() - started) / 1000;
  console.log(`${jobs.length} cases, seed ${seed}, ${seconds.toFixed(0)} s on ${availableParallelism()} cores\n`);
  show({ ...run, seeds: [seed] }, shown);
}

await main();
