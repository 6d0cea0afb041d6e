import { ANSWERS, ARGUMENTS, CONTROL, DIGEST, MAX_ANSWERS } from './layout.ts';

/**
 * Two threads at one work: a kernel called in pieces that do not touch one another, each piece taken by whoever is free. What comes
 * out is the same whoever takes which, and whether there is a helper at all: one that is not up yet is not waited for.
 */

/** Kernels whose work can be cut: their last two parameters say from where to where. */
const SHARED_KERNELS = ['swap16', 'binBlocks', 'mesh', 'localMaxima', 'inspect', 'measureStars'] as const;
export type SharedKernel = (typeof SHARED_KERNELS)[number];

type Run = Readonly<Record<SharedKernel, (...values: number[]) => unknown>>;

/** Words of the control block. */
const WORKS = 0;
const OPEN = 1;
const BUSY = 2;
const TAKEN = 3;
const KERNEL = 4;
const LENGTH = 5;
const STEP = 6;
const COUNT = 7;
/** 1: a helper is up; nobody waits for it. */
export const PRESENT = 8;
/** 1: it came to grief. */
const FAILED = 9;
/** How far the sum of a file is: one of the values below. */
const SUM = 10;
/** Bytes of it that have been read, or ~bytes once that is all. */
const READ = 11;
const START = 12;
/** Which file this is: a sum that was begun and never asked for, because reading failed, is dropped for the next. */
const FILE = 13;
/** 1: one was started, up or not yet. */
const EXPECTED = 14;

const NO_SUM = 0;
const ASKED = 1;
const SUMMING = 2;
const SUMMED = 3;

/** A piece takes milliseconds, the sum of the largest file a few seconds: a helper silent for so long is gone. */
const PATIENCE_MS = 30_000;

/** What both threads see of a work: views of the kernels' memory. */
interface Board {
  readonly words: Int32Array;
  readonly values: Float64Array;
  /** What the kernel answered to each piece. */
  readonly answers: Float64Array;
  /** Sum of a file. */
  readonly digest: Uint8Array;
  /** How long a helper at work is waited for. */
  readonly patienceMs: number;
}

/** The sum of all parts added so far. */
export interface RunningSum {
  add(part: Uint8Array): void;
  /** Lower-case hexadecimal; nothing can be added afterwards. */
  hex(): string;
}

/** What a helper thread needs to sum up a file. */
interface Summing {
  readonly start: () => { update(part: Uint8Array): unknown; digest(): Uint8Array };
  /** The kernels' memory as it is now. */
  readonly bytes: (at: number, count: number) => Uint8Array;
}

export function boardIn(buffer: ArrayBufferLike, patienceMs = PATIENCE_MS): Board {
  return {
    words: new Int32Array(buffer, CONTROL, 16),
    values: new Float64Array(buffer, ARGUMENTS, 16),
    answers: new Float64Array(buffer, ANSWERS, MAX_ANSWERS),
    digest: new Uint8Array(buffer, DIGEST, 32),
    patienceMs,
  };
}

/** A helper is being started, and will come to `help`. */
export function expectHelp({ words }: Board): void {
  Atomics.store(words, EXPECTED, 1);
}

/** Calls the kernel with the values for 0 to `length` in pieces of `step`; returns once all is done. */
export function shareOut(
  board: Board,
  run: Run,
  kernel: SharedKernel,
  given: readonly number[],
  length: number,
  step: number,
): void {
  const { words, values, patienceMs } = board;
  values.set(given);
  words[KERNEL] = SHARED_KERNELS.indexOf(kernel);
  words[LENGTH] = length;
  words[STEP] = step;
  words[COUNT] = given.length;
  words[TAKEN] = 0;
  Atomics.store(words, OPEN, 1);
  Atomics.add(words, WORKS, 1);
  Atomics.notify(words, WORKS);
  takePieces(board, run);
  Atomics.store(words, OPEN, 0);
  // Whoever came while it was open has a piece in hand.
  for (let busy = Atomics.load(words, BUSY); busy > 0; busy = Atomics.load(words, BUSY))
    if (Atomics.wait(words, BUSY, busy, patienceMs) === 'timed-out')
      throw new Error('a thread that shared the work does not answer');
  if (Atomics.load(words, FAILED) === 1) throw new Error('a thread that shared the work has failed');
}

/**
 * SHA-256 of a file that is being read to `start` in the kernels' memory, by the helper: parts must follow one another there. Null
 * where none was started; one that is not up before the last part has been read is not waited for.
 */
export function sumBeside(
  { words, digest, patienceMs }: Board,
  start: number,
  alone: () => RunningSum,
): RunningSum | null {
  if (Atomics.load(words, EXPECTED) === 0) return null;
  const parts: Uint8Array[] = [];
  let read = 0;
  const publish = (value: number): void => {
    Atomics.store(words, READ, value);
    Atomics.notify(words, READ);
  };
  Atomics.add(words, FILE, 1);
  words[START] = start;
  publish(0);
  Atomics.store(words, SUM, ASKED);
  Atomics.add(words, WORKS, 1);
  Atomics.notify(words, WORKS);
  return {
    add: (part) => {
      parts.push(part);
      read += part.length;
      publish(read);
    },
    hex: () => {
      publish(~read);
      if (Atomics.compareExchange(words, SUM, ASKED, NO_SUM) !== ASKED) {
        while (Atomics.load(words, SUM) === SUMMING)
          if (Atomics.wait(words, SUM, SUMMING, patienceMs) === 'timed-out') break;
        if (Atomics.load(words, SUM) === SUMMED) return Buffer.from(digest).toString('hex');
      }
      const sum = alone();
      for (const part of parts) sum.add(part);
      return sum.hex();
    },
  };
}

/** What a helper thread does until it is stopped. */
export function help(board: Board, run: Run, summing: Summing): never {
  const { words } = board;
  Atomics.store(words, PRESENT, 1);
  for (let seen = 0; ; ) {
    Atomics.add(words, BUSY, 1);
    try {
      if (Atomics.load(words, OPEN) === 1) takePieces(board, run);
    } catch {
      Atomics.store(words, FAILED, 1);
    }
    Atomics.sub(words, BUSY, 1);
    Atomics.notify(words, BUSY);
    if (Atomics.compareExchange(words, SUM, ASKED, SUMMING) === ASKED) sumUp(board, summing);
    Atomics.wait(words, WORKS, seen);
    seen = Atomics.load(words, WORKS);
  }
}

function sumUp({ words, digest }: Board, { start, bytes }: Summing): void {
  try {
    const file = Atomics.load(words, FILE);
    const sum = start();
    for (let done = 0; ; ) {
      const told = Atomics.load(words, READ);
      if (Atomics.load(words, FILE) !== file) return;
      const read = told < 0 ? ~told : told;
      if (read > done) {
        sum.update(bytes(words[START] + done, read - done));
        done = read;
      } else if (told < 0) break;
      else Atomics.wait(words, READ, told);
    }
    digest.set(sum.digest());
    Atomics.compareExchange(words, SUM, SUMMING, SUMMED);
  } catch {
    Atomics.compareExchange(words, SUM, SUMMING, NO_SUM);
  }
  Atomics.notify(words, SUM);
}

function takePieces({ words, values, answers }: Board, run: Run): void {
  const kernel = run[SHARED_KERNELS[words[KERNEL]]];
  const given = Array.from(values.subarray(0, words[COUNT]));
  const [length, step] = [words[LENGTH], words[STEP]];
  for (;;) {
    const piece = Atomics.add(words, TAKEN, 1);
    const from = piece * step;
    if (from >= length) return;
    const answer = kernel(...given, from, Math.min(length, from + step));
    if (piece < answers.length) answers[piece] = Number(answer);
  }
}
