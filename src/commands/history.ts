import { type Command, InvalidArgumentError } from 'commander';
import type { Effects } from '../effects.ts';
import { wantsColour } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { checksCsv, historyJson } from '../history/exportRows.ts';
import { listText, minuteOf } from '../history/listText.ts';
import { openHistory } from '../history/openHistory.ts';
import type { Filter, History } from '../history/store.ts';
import { renderText } from '../report/text.ts';
import { printable } from '../report/untrusted.ts';
import { importReports } from './importReports.ts';
import { describeHistory } from './keptHelp.ts';
import { showTrend, type TrendOptions } from './trend.ts';
import { writeWhole } from './writeWhole.ts';

interface Chosen {
  readonly history?: string;
  readonly rig?: string;
  readonly from?: string;
  readonly to?: string;
}

async function withHistory<T>(
  file: string | undefined,
  effects: Effects,
  work: (history: History) => T | Promise<T>,
): Promise<T> {
  const history = await openHistory(effects, file, { toRead: true });
  try {
    return await work(history);
  } finally {
    history.close();
  }
}

const DATE = /^\d{4}(-\d{2}(-\d{2}(T\d{2}(:\d{2}(:\d{2}(\.\d+)?)?)?)?)?)?Z?$/;

function date(text: string): string {
  if (DATE.test(text)) return text.replace(/Z$/, '');
  throw new InvalidArgumentError('Expected a date such as 2031-02, 2031-02-11 or 2031-02-11T21:30, UTC.');
}

function count(text: string): number {
  const number = Number(text);
  if (Number.isInteger(number) && number > 0) return number;
  throw new InvalidArgumentError('Expected a whole number above 0.');
}

function filterOf({ rig, from, to }: Chosen): Filter {
  return { ...(rig !== undefined && { rig }), ...(from !== undefined && { from }), ...(to !== undefined && { to }) };
}

/** What to say where a filter leaves nothing: which rigs there are. */
function sayNothing(history: History, chosen: Chosen, effects: Effects): void {
  const rigs = [...new Set(history.list().map(({ rig }) => rig ?? '(no rig)'))].sort();
  effects.err(
    rigs.length === 0
      ? `No check is kept yet in ${printable(history.path)}: starplumb check keeps every one.\n`
      : `No check ${chosen.rig === undefined ? 'of that time' : `of the rig ${printable(chosen.rig)}`} is kept; there are checks of ${printable(rigs.join(', '))}.\n`,
  );
}

interface ListOptions extends Chosen {
  readonly last?: number;
  readonly json?: boolean;
}

function list(history: History, options: ListOptions, effects: Effects): void {
  const filter = filterOf(options);
  const checks = options.last === undefined ? history.list(filter) : history.latest(options.last, filter);
  const [first] = checks;
  const events = history
    .events(filter)
    .filter(({ time }) => options.last === undefined || (first !== undefined && time >= first.time));
  if (options.json === true) effects.out(historyJson(checks, events));
  else if (checks.length === 0 && events.length === 0) sayNothing(history, options, effects);
  else effects.out(listText(checks, events));
}

function show(history: History, id: number, options: { readonly json?: boolean }, effects: Effects): void {
  const report = history.report(id);
  if (report === null) {
    const last = history.latest(1)[0]?.id;
    const there = last === undefined ? 'none is kept yet' : `the last one is ${last}; history list shows them`;
    throw new UserError(`No check ${id} in ${history.path}: ${there}`, EXIT.wrongUsage);
  }
  if (options.json === true) effects.out(`${JSON.stringify(report, null, 2)}\n`);
  else effects.out(renderText(report, { width: effects.columns ?? 80, colour: wantsColour(effects), detail: 'full' }));
}

interface NoteOptions {
  readonly rig?: string;
  readonly time?: string;
  readonly adjustment?: boolean;
}

function note(history: History, words: readonly string[], options: NoteOptions, effects: Effects): void {
  const text = words.join(' ').trim();
  if (text === '') throw new UserError('history note: expected some words', EXIT.wrongUsage);
  const at = options.time === undefined ? effects.now() : new Date(fullTime(options.time));
  const kind = options.adjustment === true ? 'adjustment' : 'note';
  const id = history.addEvent({ time: at.toISOString(), rig: options.rig ?? null, kind, text });
  const what = kind === 'adjustment' ? 'Adjustment' : 'Note';
  effects.out(`${what} n${id} of ${minuteOf(at.toISOString())} UTC: ${printable(text)}\n`);
}

/** A date cut short is taken at its beginning, UTC. */
function fullTime(text: string): string {
  const full = `${text}${'0000-01-01T00:00:00'.slice(text.length)}Z`;
  if (Number.isNaN(Date.parse(full))) throw new UserError(`${text}: no such date`, EXIT.wrongUsage);
  return full;
}

interface ExportOptions extends Chosen {
  readonly csv?: boolean;
  readonly out?: string;
}

async function exportTo(history: History, options: ExportOptions, effects: Effects): Promise<void> {
  const checks = history.list(filterOf(options));
  const text = options.csv === true ? checksCsv(checks) : historyJson(checks, history.events(filterOf(options)));
  if (options.out === undefined) effects.out(text);
  else {
    await writeWhole(options.out, text, effects);
    effects.out(`${checks.length} checks in ${printable(options.out)}\n`);
  }
}

interface PruneOptions {
  readonly before?: string;
  readonly ids?: string;
  readonly rig?: string;
  readonly yes?: boolean;
}

function prune(history: History, options: PruneOptions, effects: Effects): void {
  const { before, ids, rig } = options;
  if (before === undefined && ids === undefined)
    throw new UserError('history prune: expected --before DATE or --ids 3,17,n2', EXIT.wrongUsage);
  const wanted = ids?.split(',').map((id) => id.trim());
  const wrong = wanted?.find((id) => !/^n?\d+$/.test(id));
  if (wrong !== undefined)
    throw new UserError(`--ids ${wrong}: expected numbers of checks, or n and the number of a note`, EXIT.wrongUsage);
  const filter = filterOf(rig === undefined ? {} : { rig });
  const gone = (id: string, time: string): boolean =>
    (wanted === undefined || wanted.includes(id)) && (before === undefined || time < before);
  const checks = history.list(filter).filter(({ id, time }) => gone(String(id), time));
  // A note that concerns all rigs is not one rig's to remove.
  const events = history
    .events(filter)
    .filter((event) => gone(`n${event.id}`, event.time) && (rig === undefined || event.rig === rig));
  const what = `${checks.length} checks and ${events.length} notes`;
  if (checks.length + events.length > 0) effects.out(listText(checks, events));
  if (options.yes !== true) {
    effects.out(`${what} would be removed for good; nothing was. With --yes they are (history export keeps a copy).\n`);
    return;
  }
  history.remove(
    checks.map(({ id }) => id),
    events.map(({ id }) => id),
  );
  effects.out(`${what} removed.\n`);
}

const withFile = (command: Command): Command =>
  command.option('--history <file>', 'a history of your own (default: the one in your data folder)');

const withFilter = (command: Command): Command =>
  withFile(command)
    .option('--rig <name>', 'checks of this rig only')
    .option('--from <date>', 'not before, UTC', date)
    .option('--to <date>', 'not after, UTC', date);

/** Adds `history` to the program. */
export function registerHistory(
  program: Command,
  tool: { readonly name: string; readonly version: string },
  effects: Effects,
): void {
  const history = program
    .command('history')
    .summary('every check kept: list, trends, notes, export')
    .description('Every check is kept with all its coefficients, so that drift and knocks show across weeks.');
  withFilter(history.command('list').summary('checks and notes by their times'))
    .option('--last <n>', 'the last n checks only', count)
    .option('--json', 'all coefficients as JSON')
    .action(async (options: ListOptions) => withHistory(options.history, effects, (h) => list(h, options, effects)));
  withFile(history.command('show').summary('the whole report of one check').argument('<id>', 'its number', count))
    .option('--json', 'report.json as it was written')
    .action(async (id: number, options: Chosen & { json?: boolean }) =>
      withHistory(options.history, effects, (h) => show(h, id, options, effects)),
    );
  withFilter(history.command('trend').summary('does the collimation hold: drift, jumps, temperature, gravity'))
    .option('--out <file.html>', 'plots as a page of its own, too')
    .option('--json', 'as JSON (its schema: starplumb schema trend)')
    .action(async (options: Chosen & TrendOptions) =>
      withHistory(options.history, effects, async (h) => {
        const filter = filterOf(options);
        const checks = h.list(filter);
        if (checks.length === 0) sayNothing(h, options, effects);
        if (checks.length > 0 || options.json === true)
          await showTrend(checks, h.events(filter), options, tool, effects);
      }),
    );
  withFile(history.command('note').summary("keep what was done: 'moved the pier'").argument('<words...>'))
    .option('--adjustment', 'the telescope was adjusted: a new stretch of the trend begins')
    .option('--rig <name>', 'concerns this rig only')
    .option('--time <date>', 'when it was, UTC (default: now)', date)
    .action(async (words: string[], options: Chosen & NoteOptions) =>
      withHistory(options.history, effects, (h) => note(h, words, options, effects)),
    );
  withFilter(history.command('export').summary('all coefficients as JSON or CSV'))
    .option('--csv', 'one line a check (default: JSON with the notes)')
    .option('--out <file>', 'a file (default: standard output)')
    .action(async (options: ExportOptions) =>
      withHistory(options.history, effects, (h) => exportTo(h, options, effects)),
    );
  withFile(
    history
      .command('import')
      .summary('keep reports that were made before')
      .argument('<folder...>', 'report.json files, or folders that hold them at any depth'),
  )
    .option('--rig <name>', 'of this rig, where the report names none')
    .action(async (folders: string[], options: Chosen) =>
      withHistory(options.history, effects, (h) => importReports(h, folders, options.rig, effects)),
    );
  withFile(history.command('prune').summary('remove checks and notes; without --yes only says which'))
    .option('--before <date>', 'older than this, UTC', date)
    .option('--ids <list>', 'numbers of checks, n before those of notes: 3,17,n2')
    .option('--rig <name>', 'of this rig only')
    .option('--yes', 'remove them')
    .action(async (options: Chosen & PruneOptions) =>
      withHistory(options.history, effects, (h) => prune(h, options, effects)),
    );
  describeHistory(history);
}
