import { mkdir, rename, rm, writeFile } from 'node:fs/promises';
import { isatty } from 'node:tty';
import { DISK, type FrameEffects } from './commands/frames.ts';
import { HELPER_THREADS, startHelper } from './commands/helperThreads.ts';
import type { StartHelper } from './commands/measureSubs.ts';
import { EXIT, UserError } from './errors.ts';
import { type OpenDatabase, openDatabase } from './history/driver.ts';
import { type Places, userPlaces } from './history/place.ts';
import type { RunningSum } from './kernels/crew.ts';

/** Everything a command needs of the outside world; tests put their own in its place. */
export interface Effects extends FrameEffects {
  now(): Date;
  writeFile(path: string, content: Uint8Array | string): Promise<void>;
  /** With its parents; no error where it exists. */
  makeFolder(path: string): Promise<void>;
  rename(from: string, to: string): Promise<void>;
  /** A file or a folder with all it holds; no error where it is absent. */
  remove(path: string): Promise<void>;
  /** Lower-case hexadecimal. */
  sha256(bytes: Uint8Array): string;
  /** The same of what comes in parts. */
  startSha256(): RunningSum;
  /** Standard output. */
  out(text: string): void;
  /** Standard error. */
  err(text: string): void;
  /** Asks a question on the terminal and waits for the line typed; Ctrl-C or Ctrl-D is an interruption. */
  ask(question: string): Promise<string>;
  readonly inIsTerminal: boolean;
  readonly outIsTerminal: boolean;
  readonly errIsTerminal: boolean;
  /** Columns of the terminal, where there is one. */
  readonly columns: number | undefined;
  /** An SQLite database; throws NoDriver where this Node has none. */
  readonly openDatabase: OpenDatabase;
  /** Where the user's data and settings live. */
  readonly places: Places;
  readonly env: Readonly<Record<string, string | undefined>>;
  /** Unique to this process, for temporary names. */
  readonly processId: number;
  /** Threads that can measure subs beside this one. */
  readonly helperThreads: number;
  readonly startHelper: StartHelper;
  /** Whether the user asked to stop (Ctrl-C). */
  interrupted(): boolean;
  /** Lets waiting signals arrive. */
  breathe(): Promise<void>;
}

/** Loaded where it is first needed: a helper thread mostly sums up in its stead. */
const sha256 = (): ReturnType<typeof import('node:crypto').createHash> =>
  process.getBuiltinModule('node:crypto').createHash('sha256');

export function startSha256(): RunningSum {
  const sum = sha256();
  return { add: (part) => void sum.update(part), hex: () => sum.digest('hex') };
}

/** The real world. The first Ctrl-C asks to stop and clean up; the second stops at once. */
export function realEffects(): Effects {
  let stop = false;
  process.once('SIGINT', () => {
    stop = true;
  });
  // A reader that closes the pipe early (head) has what it wanted.
  for (const stream of [process.stdout, process.stderr])
    stream.on('error', (error: NodeJS.ErrnoException) => {
      if (error.code !== 'EPIPE') throw error;
    });
  return {
    ...DISK,
    now: () => new Date(),
    writeFile: (path, content) => writeFile(path, content),
    makeFolder: async (path) => {
      await mkdir(path, { recursive: true });
    },
    rename: (from, to) => rename(from, to),
    remove: (path) => rm(path, { recursive: true, force: true }),
    sha256: (bytes) => sha256().update(bytes).digest('hex'),
    startSha256,
    out: (text) => {
      process.stdout.write(text);
    },
    err: (text) => {
      process.stderr.write(text);
    },
    ask,
    inIsTerminal: isatty(0),
    outIsTerminal: process.stdout.isTTY,
    errIsTerminal: process.stderr.isTTY,
    columns: process.stdout.columns,
    openDatabase,
    places: userPlaces(),
    env: process.env,
    processId: process.pid,
    helperThreads: HELPER_THREADS,
    startHelper,
    interrupted: () => stop,
    breathe: () => new Promise((resolve) => setImmediate(resolve)),
  };
}

async function ask(question: string): Promise<string> {
  const { createInterface } = await import('node:readline');
  const terminal = createInterface({ input: process.stdin, output: process.stderr });
  try {
    return await new Promise<string>((resolve, reject) => {
      terminal.once('close', () => reject(new UserError('Interrupted; nothing was written.', EXIT.interrupted)));
      terminal.question(question, resolve);
    });
  } finally {
    terminal.close();
  }
}

/**
 * Whether to write colours: NO_COLOR (not empty) says no, FORCE_COLOR (neither empty nor 0) says yes,
 * a dumb terminal or none says no. https://no-color.org, https://force-color.org
 */
export function wantsColour({ env, outIsTerminal }: Pick<Effects, 'env' | 'outIsTerminal'>): boolean {
  const { NO_COLOR: no = '', FORCE_COLOR: force = '', TERM: terminal = '' } = env;
  if (no !== '') return false;
  if (force !== '') return force !== '0';
  return outIsTerminal && terminal !== 'dumb';
}
