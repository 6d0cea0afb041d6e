import { realpathSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { type Command, InvalidArgumentError } from 'commander';
import { renderUnicodeCompact } from 'uqr';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { SHORT_CAUTION } from '../report/cautions.ts';
import { printable } from '../report/untrusted.ts';
import { Adjusting } from '../screws/adjusting.ts';
import { telescopeFor } from '../screws/telescope.ts';
import { LiveServer } from '../server/liveServer.ts';
import { readPage } from '../server/pageFile.ts';
import { CHILD_ENV } from '../watch/childEnv.ts';
import { WATCH_DISK } from '../watch/disk.ts';
import { historySink } from '../watch/historySink.ts';
import { Journal } from '../watch/journal.ts';
import { listenToKeys } from '../watch/keys.ts';
import { type ChildSettings, MeasuringChild, runMeasuringChild } from '../watch/measuringChild.ts';
import { WATCH, Watch } from '../watch/watch.ts';
import { addSetupOptions, type RawSetup, setupFrom } from './checkOptions.ts';
import { describeUse } from './commandHelp.ts';
import { rigsForCheck } from './rigForCheck.ts';

interface Tool {
  readonly name: string;
  readonly version: string;
}

interface RawWatch extends RawSetup {
  readonly lan?: boolean;
  readonly port: number;
  readonly all?: boolean;
  readonly every: number;
  readonly stopAfter?: number;
  readonly page: boolean;
  readonly rig?: string;
  readonly history?: string | false;
}

const DEFAULT_PORT = 7780;

function wholeIn(from: number, to: number): (text: string) => number {
  return (text) => {
    const value = /^\d+$/.test(text) ? Number(text) : Number.NaN;
    if (value >= from && value <= to) return value;
    throw new InvalidArgumentError(`Expected a whole number from ${from} to ${to}.`);
  };
}

function secondsOf(text: string): number {
  const value = Number(text);
  if (text.trim() !== '' && value >= 0.1 && value <= 60) return value;
  throw new InvalidArgumentError('Expected seconds from 0.1 to 60.');
}

/** Adds `watch` to the program. */
export function registerWatch(program: Command, _tool: Tool, effects: Effects): void {
  const command = program
    .command('watch')
    .summary('measure subs as they arrive, and show the answer on a live page')
    .description(
      'Measures each sub as the camera program writes it, and those since the last move together;\n' +
        'shows the answer on the terminal and on a live page for phone or desk. Never writes to the folder.',
    )
    .argument('<folder>', 'folder the subs are written to; night folders below it are found');
  addSetupOptions(command)
    .option('--rig <name>', 'telescope and camera kept under this name')
    .option('--history <file>', 'keep each set in a history of your own (default: the one in your data folder)')
    .option('--no-history', 'keep no set in the history')
    .option('--lan', 'let other devices of the local network open the page, after pairing')
    .option('--port <number>', 'port of the page; 0 takes any that is free', wholeIn(0, 65535), DEFAULT_PORT)
    .option('--no-page', 'terminal only')
    .option('--all', `measure all subs that stand in the folder already, not the newest ${WATCH.existing} only`)
    .option('--every <seconds>', 'look into the folder so often', secondsOf, WATCH.everyMs / 1000)
    .option('--stop-after <subs>', 'end when so many subs are measured', wholeIn(1, 1_000_000))
    .action(async (folder: string, raw: RawWatch) => {
      await watch(folder, raw, effects);
    });
  describeUse(command, {
    examples: [
      ['starplumb watch ~/astro/tonight', 'on this machine: the terminal, and a page for its own browser'],
      ['starplumb watch ~/astro/tonight --lan', 'the page for a phone at the telescope too, after pairing'],
      ['starplumb watch /mnt/share/subs --every 2 --rig garden', 'a share, looked into every two seconds'],
    ],
    exits: {
      [EXIT.measured]: 'ended by q or --stop-after',
      [EXIT.wrongUsage]: 'wrong usage, or the page cannot be served at this port',
      [EXIT.unreadableInput]: 'no such folder',
      [EXIT.interrupted]: 'ended by Ctrl-C; nothing is lost',
    },
  });
}

/** True where this process was started only to measure: it then does, and the program itself has nothing to do. */
export async function isMeasuringChild(tool: Tool, effects: Effects): Promise<boolean> {
  const settings = effects.env[CHILD_ENV];
  if (settings === undefined || process.send === undefined) return false;
  await runMeasuringChild(JSON.parse(settings) as ChildSettings, tool, effects);
  return true;
}

async function watch(given: string, raw: RawWatch, effects: Effects): Promise<void> {
  const folder = await folderOf(given, effects);
  // A wrong --rig is said now, not by the measuring process.
  await rigsForCheck(raw.rig, effects);
  const settings = { settings: setupFrom(raw), ...(raw.rig !== undefined && { rig: raw.rig }) };
  const { journal, memory } = await Journal.open(join(effects.places.data, 'watch'), folder);
  const say = (line: string): void => effects.out(`${line}\n`);
  let server: LiveServer | null = null;
  const watching = new Watch({
    folder,
    disk: WATCH_DISK,
    measurer: new MeasuringChild(process.argv[1] ?? '', settings),
    journal,
    memory,
    adjusting: await Adjusting.open(await telescopeFor({ rig: raw.rig, folder }, effects), effects),
    history: raw.history === false ? null : historySink(raw.history, effects),
    now: () => effects.now(),
    say,
    onState: (state) => server?.show(state),
    onPicture: (jpeg) => server?.showPicture(jpeg),
    all: raw.all === true,
  });
  let asked = false;
  let interrupted = false;
  let stopKeys = (): void => undefined;
  try {
    if (raw.page) {
      server = new LiveServer({
        page: readPage(),
        lan: raw.lan === true,
        port: raw.port,
        actions: {
          nudge: (screw, turns) => watching.nudge(screw, turns),
          moved: () => watching.moved(),
          showOn: (screen) => watching.showOn(screen),
        },
        onPaired: () => say('A screen is paired. Key p shows a code for another one.'),
      });
      await openServer(server, raw, say);
    }
    say(`Watching ${printable(folder)} (Ctrl-C ends). ${SHORT_CAUTION}`);
    if (journal.trouble !== null) say(printable(journal.trouble));
    stopKeys = listenToKeys(
      process.stdin,
      {
        m: () => void watching.moved().catch((error: unknown) => say(printable(String(error)))),
        p: () => {
          if (server !== null && raw.lan === true) sayCode(server, raw.port, say);
        },
        q: () => {
          asked = true;
        },
      },
      () => {
        asked = true;
        interrupted = true;
      },
    );
    await watching.restore();
    while (!asked && !effects.interrupted()) {
      await watching.tick();
      if (raw.stopAfter !== undefined && watching.measured >= raw.stopAfter) break;
      await sleep(raw.every * 1000, () => asked || effects.interrupted());
    }
    if (raw.stopAfter !== undefined) await watching.idle();
  } finally {
    stopKeys();
    await watching.stop();
    await server?.close();
  }
  if (interrupted || effects.interrupted()) throw new UserError('Ended.', EXIT.interrupted);
}

async function folderOf(given: string, effects: Effects): Promise<string> {
  if ((await effects.kindOf(given)) !== 'folder')
    throw new UserError(
      `${given}: no such folder; expected the one the camera program writes to`,
      EXIT.unreadableInput,
    );
  return realpathSync(resolve(given));
}

let listening = 0;

async function openServer(server: LiveServer, raw: RawWatch, say: (line: string) => void): Promise<void> {
  try {
    listening = await server.listen();
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code ?? '';
    throw new UserError(
      `--port ${raw.port}: the page cannot be served there (${code}); try --port 0`,
      EXIT.wrongUsage,
      {
        cause,
      },
    );
  }
  if (raw.lan === true) sayCode(server, listening, say);
  else say(`Live page: ${server.urls(listening)[0]} (this machine only; --lan lets a phone in)`);
}

/** The code as text and as a QR picture. It stands behind '#', which no browser sends and the page wipes. */
function sayCode(server: LiveServer, port: number, say: (line: string) => void): void {
  const code = server.pairing.code();
  const urls = server.urls(port);
  const first = urls[1] ?? urls[0] ?? '';
  say(`Live page: ${urls.join('  ')}`);
  say(`Pairing code, good for one screen: ${code.slice(0, 4)}-${code.slice(4)}`);
  say(renderUnicodeCompact(`${first}#pair=${code}`, { border: 2 }));
}

/** Wakes early when asked to end. */
async function sleep(ms: number, ending: () => boolean): Promise<void> {
  const until = Date.now() + ms;
  while (!ending() && Date.now() < until)
    await new Promise((resolve) => setTimeout(resolve, Math.min(100, Math.max(1, until - Date.now()))));
}
