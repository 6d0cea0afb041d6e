import { ANSWERS, ARGUMENTS, CONTROL, MAX_ANSWERS } from './layout.ts';

/**
 * Two threads at one work: a kernel called in pieces that do not touch one another, each piece taken by whoever is free. What comes
 * out is the same whoever takes which, and whether there is a helper at all: one that is not up yet is not waited for.
 */

/** Kernels whose work can be cut: their last two parameters say from where to where. */
export const SHARED_KERNELS = ['swap16', 'binBlocks', 'mesh', 'localMaxima', 'measureStars'] as const;
export type SharedKernel = (typeof SHARED_KERNELS)[number];

type Run = Readonly<Record<SharedKernel, (...values: number[]) => number | void>>;

/** Words of the control block. */
const WORKS = 0;
const OPEN = 1;
const BUSY = 2;
const TAKEN = 3;
const KERNEL = 4;
const LENGTH = 5;
const STEP = 6;
const COUNT = 7;

/** What both threads see of a work: views of the kernels' memory. */
interface Board {
  readonly words: Int32Array;
  readonly values: Float64Array;
  /** What the kernel answered to each piece. */
  readonly answers: Float64Array;
}

export function boardIn(buffer: ArrayBufferLike): Board {
  return {
    words: new Int32Array(buffer, CONTROL, 16),
    values: new Float64Array(buffer, ARGUMENTS, 16),
    answers: new Float64Array(buffer, ANSWERS, MAX_ANSWERS),
  };
}

/** Calls the kernel with the values for 0 to `length` in pieces of `step`; returns once all is done. */
export function shareOut(
  { words, values, answers }: Board,
  run: Run,
  kernel: SharedKernel,
  given: readonly number[],
  length: number,
  step: number,
): void {
  values.set(given);
  words[KERNEL] = SHARED_KERNELS.indexOf(kernel);
  words[LENGTH] = length;
  words[STEP] = step;
  words[COUNT] = given.length;
  words[TAKEN] = 0;
  Atomics.store(words, OPEN, 1);
  Atomics.add(words, WORKS, 1);
  Atomics.notify(words, WORKS);
  takePieces({ words, values, answers }, run);
  Atomics.store(words, OPEN, 0);
  // Whoever came while it was open has a piece in hand.
  for (let busy = Atomics.load(words, BUSY); busy > 0; busy = Atomics.load(words, BUSY))
    Atomics.wait(words, BUSY, busy);
}

/** What a helper thread does until it is stopped. */
export function help(board: Board, run: Run): never {
  const { words } = board;
  for (let seen = 0; ; ) {
    Atomics.add(words, BUSY, 1);
    if (Atomics.load(words, OPEN) === 1) takePieces(board, run);
    Atomics.sub(words, BUSY, 1);
    Atomics.notify(words, BUSY);
    Atomics.wait(words, WORKS, seen);
    seen = Atomics.load(words, WORKS);
  }
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
    if (piece < answers.length && answer !== undefined) answers[piece] = answer;
  }
}
