import { type ChildProcess, fork } from 'node:child_process';
import { fileOf } from '../commands/drawnFile.ts';
import { rigsForCheck } from '../commands/rigForCheck.ts';
import type { MeasureSettings } from '../diagnosis/setupFromFrames.ts';
import type { Effects } from '../effects.ts';
import { scenesOf } from '../optics/night.ts';
import { parseScenario } from '../optics/scenario.ts';
import { drawFrame } from '../optics/starField.ts';
import { CHILD_ENV } from './childEnv.ts';
import { type MeasuredSub, type Measurer, SubMeasurer, type Unmeasured } from './subMeasurer.ts';

/** What the child is told when it starts. */
export interface ChildSettings {
  readonly settings: MeasureSettings;
  /** Name of the rig, where one was named. */
  readonly rig?: string;
}

interface Tool {
  readonly name: string;
  readonly version: string;
}

/** A question to the child: a method of the measurer and what it is given. */
interface Question {
  readonly id: number;
  readonly method: keyof Measurer;
  readonly given: readonly unknown[];
}

interface Answer {
  readonly id: number;
  readonly value?: unknown;
  readonly error?: string;
}

/** A sub on which the child came to grief is tried again once, in a new child. */
const TRIES = 2;

/**
 * Measures in a process of its own, so that the page and the terminal answer while 26 megapixels are worked on, and so that a
 * file that takes the process down with it (memory) costs this file only.
 */
export class MeasuringChild implements Measurer {
  readonly #program: string;
  readonly #settings: ChildSettings;
  readonly #waiting = new Map<number, { resolve: (value: unknown) => void; reject: (error: Error) => void }>();
  /** What a new child has to be given again. */
  readonly #packed = new Map<string, Uint8Array>();
  #child: ChildProcess | null = null;
  #count = 0;
  #closed = false;

  /** `program`: path of the program's own entry, started anew as the child. */
  constructor(program: string, settings: ChildSettings) {
    this.#program = program;
    this.#settings = settings;
  }

  async measure(path: string, name: string): Promise<MeasuredSub | Unmeasured> {
    for (let attempt = 1; ; attempt++) {
      try {
        const measured = await this.#ask<MeasuredSub | Unmeasured>('measure', path, name);
        if ('packed' in measured) this.#packed.set(measured.sha256, measured.packed);
        return measured;
      } catch (error) {
        if (this.#closed || attempt === TRIES) {
          const why = error instanceof Error ? error.message : String(error);
          return { problem: `could not be measured: ${why}`, gone: false, sha256: '' };
        }
      }
    }
  }

  field(subs: readonly string[], created: string): ReturnType<Measurer['field']> {
    return this.#ask('field', subs, created);
  }

  picture(): Promise<Uint8Array | null> {
    return this.#ask('picture');
  }

  restore(sha256: string, packed: Uint8Array): Promise<boolean> {
    this.#packed.set(sha256, packed);
    return this.#ask('restore', sha256, packed);
  }

  async keepOnly(subs: readonly string[]): Promise<void> {
    for (const sha256 of this.#packed.keys()) if (!subs.includes(sha256)) this.#packed.delete(sha256);
    await this.#ask('keepOnly', subs);
  }

  close(): Promise<void> {
    this.#closed = true;
    const child = this.#child;
    if (child === null) return Promise.resolve();
    return new Promise((resolve) => {
      child.once('exit', () => resolve());
      child.kill('SIGKILL');
    });
  }

  #ask<T>(method: keyof Measurer, ...given: unknown[]): Promise<T> {
    if (this.#closed) return Promise.reject(new Error('the watch has ended'));
    const child = this.#child ?? this.#start();
    return new Promise<T>((resolve, reject) => {
      const id = this.#count++;
      this.#waiting.set(id, { resolve: resolve as (value: unknown) => void, reject });
      child.send({ id, method, given } satisfies Question, (error) => {
        if (error === null) return;
        this.#waiting.delete(id);
        reject(error);
      });
    });
  }

  #start(): ChildProcess {
    const child = fork(this.#program, [], {
      env: { ...process.env, [CHILD_ENV]: JSON.stringify(this.#settings) },
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'inherit', 'ipc'],
    });
    this.#child = child;
    child.on('message', (message) => {
      const { id, value, error } = message as Answer;
      const asked = this.#waiting.get(id);
      this.#waiting.delete(id);
      if (error === undefined) asked?.resolve(value);
      else asked?.reject(new Error(error));
    });
    const ended = (why: string): void => {
      if (this.#child !== child) return;
      this.#child = null;
      for (const { reject } of this.#waiting.values()) reject(new Error(why));
      this.#waiting.clear();
    };
    child.on('error', (error) => ended(error.message));
    child.on('exit', (code, signal) => ended(`the measuring process ended (${signal ?? code ?? 'no reason given'})`));
    for (const [sha256, packed] of this.#packed)
      child.send({ id: -1, method: 'restore', given: [sha256, packed] } satisfies Question);
    return child;
  }
}

/** The child's side: answers one question after another until its parent is gone. */
export async function runMeasuringChild({ settings, rig }: ChildSettings, tool: Tool, effects: Effects): Promise<void> {
  const measurer = new SubMeasurer(settings, tool, await rigsForCheck(rig, effects));
  // The parent decides when to end; Ctrl-C reaches the whole group of processes.
  process.on('SIGINT', () => undefined);
  process.on('disconnect', () => process.exit(0));
  let turn = warmUp(measurer);
  process.on('message', (message) => {
    const { id, method, given } = message as Question;
    turn = turn.then(async () => {
      let answer: Answer;
      try {
        answer = {
          id,
          value: await (measurer[method] as (...values: unknown[]) => Promise<unknown>).apply(measurer, [...given]),
        };
      } catch (error) {
        answer = { id, error: error instanceof Error ? error.message : String(error) };
      }
      process.send?.(answer);
    });
  });
}

/** A first measurement takes twice as long as the later ones: one on a small drawn frame is made before any sub comes. */
async function warmUp(measurer: SubMeasurer): Promise<void> {
  const scenario = parseScenario({
    name: 'warm-up',
    sentence: 'a small field',
    camera: { widthPx: 900, heightPx: 600 },
    stars: { count: 120 },
  });
  const [scene] = scenesOf(scenario);
  if (scene === undefined) return;
  const { bytes } = fileOf(scenario, scene, drawFrame(scene), 0);
  const warm = await measurer.measureBytes(bytes, 'warm-up.fits');
  if ('packed' in warm) await measurer.field([warm.sha256], WARM_UP_TIME);
  await measurer.picture();
  await measurer.keepOnly([]);
}

/** Stands in a report that nobody sees. */
const WARM_UP_TIME = '2000-01-01T00:00:00.000Z';
