import type { Effects } from '../effects.ts';
import type { FrameArgument } from './frames.ts';
import {
  type Masters,
  measureSub,
  NO_MASTERS,
  type SubOutcome,
  type SubSettings,
  type WithPixels,
} from './measureSub.ts';

/** What a helper thread is given. */
export interface HelperTask {
  readonly subs: readonly FrameArgument[];
  readonly settings: SubSettings;
  /** Index of the next sub that nobody has taken. */
  readonly next: Int32Array<SharedArrayBuffer>;
}

/** A thread that measures subs beside this one. */
export interface Helper {
  /** All subs are taken and its own are measured. */
  readonly done: Promise<void>;
  readonly stop: () => void;
}

/** Starts a helper; null where there is no further processor, or no threads at all. */
export type StartHelper = (task: HelperTask, take: (index: number, outcome: SubOutcome) => void) => Helper;

/** What stays on the first thread. */
export interface OnThisThread {
  readonly masters: Masters;
  readonly beforeEach: (index: number) => Promise<void>;
  readonly withPixels: WithPixels | null;
}

/**
 * Measures subs, several at once where the machine can: every thread takes the next that is left. Each holds one frame. Where
 * master frames or somebody who wants the pixels are at work, all subs stay on this thread.
 */
export async function measureSubs(
  subs: readonly FrameArgument[],
  settings: SubSettings,
  { masters, beforeEach, withPixels }: OnThisThread,
  effects: Effects,
): Promise<SubOutcome[]> {
  const outcomes: SubOutcome[] = [];
  const next = new Int32Array(new SharedArrayBuffer(4));
  const apart = masters.dark === null && masters.flat === null && withPixels === null;
  const count = apart ? Math.min(effects.helperThreads, subs.length - 1) : 0;
  const helpers = Array.from({ length: count }, () =>
    effects.startHelper({ subs, settings, next }, (index, outcome) => {
      outcomes[index] = outcome;
    }),
  );
  try {
    for (;;) {
      const index = takeNext({ subs, settings, next });
      if (index === null) break;
      await beforeEach(index);
      outcomes[index] = await measureSub(subs[index], settings, masters, wantsPreview(index), withPixels, effects);
    }
    await Promise.all(helpers.map((helper) => helper.done));
  } finally {
    for (const helper of helpers) helper.stop();
  }
  return outcomes;
}

/** What a helper thread does. */
export async function helpMeasuring(
  task: HelperTask,
  give: (index: number, outcome: SubOutcome) => void,
  effects: Parameters<typeof measureSub>[5],
): Promise<void> {
  for (let index = takeNext(task); index !== null; index = takeNext(task))
    give(index, await measureSub(task.subs[index], task.settings, NO_MASTERS, wantsPreview(index), null, effects));
}

function takeNext({ subs, next }: HelperTask): number | null {
  const index = Atomics.add(next, 0, 1);
  return index < subs.length ? index : null;
}

/** The picture shows the first sub. */
const wantsPreview = (index: number): boolean => index === 0;
