import { mkdir, readFile, rename, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { Command } from 'commander';
import { EXIT, UserError } from '../errors.ts';
import { scenesOf } from '../optics/night.ts';
import { parseScenario, type Scenario, ScenarioError } from '../optics/scenario.ts';
import { drawFrame } from '../optics/starField.ts';
import { subTruth } from '../optics/truth.ts';
import { fileOf } from './drawnFile.ts';

export const TRUTH_FORMAT = 'starplumb-truth';

export interface SynthArguments {
  readonly scenarioFile: string;
  readonly out: string;
}

/** The outside world as `synth` needs it. */
export interface SynthEffects {
  readText(path: string): Promise<string>;
  makeFolder(path: string): Promise<void>;
  /** Replaces the file whole or not at all. */
  writeFile(path: string, content: Uint8Array | string): Promise<void>;
  /** Standard output. */
  say(line: string): void;
  /** Standard error, when it is a terminal. */
  progress(line: string): void;
}

const REAL: SynthEffects = {
  readText: (path) => readFile(path, 'utf8'),
  makeFolder: async (path) => {
    await mkdir(path, { recursive: true });
  },
  writeFile: async (path, content) => {
    const temporary = `${path}.${process.pid}.part`;
    await writeFile(temporary, content);
    await rename(temporary, path);
  },
  say: (line) => process.stdout.write(`${line}\n`),
  progress: (line) => {
    if (process.stderr.isTTY) process.stderr.write(`${line}\n`);
  },
};

async function readScenario(path: string, effects: SynthEffects): Promise<Scenario> {
  let text: string;
  try {
    text = await effects.readText(path);
  } catch (cause) {
    throw new UserError(`${path}: cannot be read: ${(cause as Error).message}`, EXIT.unreadableInput, { cause });
  }
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    throw new UserError(`${path}: not JSON: ${(cause as Error).message}`, EXIT.unreadableInput, { cause });
  }
  try {
    return parseScenario(value);
  } catch (cause) {
    if (!(cause instanceof ScenarioError)) throw cause;
    const problems = cause.problems.map((problem) => `  ${problem}`).join('\n');
    throw new UserError(`${path}: not a scenario:\n${problems}`, EXIT.wrongUsage, { cause });
  }
}

/** Draws a scenario's subs and their truth into a folder; returns the frames' paths. */
export async function synth(args: SynthArguments, effects: SynthEffects = REAL): Promise<string[]> {
  const scenario = await readScenario(args.scenarioFile, effects);
  await effects.makeFolder(args.out);
  const scenes = scenesOf(scenario);
  const files: string[] = [];
  const subs: object[] = [];
  for (const [index, scene] of scenes.entries()) {
    effects.progress(`drawing sub ${index + 1} of ${scenes.length}`);
    const drawn = drawFrame(scene);
    const { bytes, ending } = fileOf(scenario, scene, drawn, index);
    const file = `${scenario.name}-${String(index + 1).padStart(2, '0')}${ending}`;
    const path = join(args.out, file);
    await effects.writeFile(path, bytes);
    files.push(path);
    subs.push({ file, ...subTruth(scenario, scene, drawn) });
  }
  const truth = {
    format: TRUTH_FORMAT,
    version: 1,
    conventions:
      'directions: degrees counter-clockwise from right on the screen, y up; x, y: 0-based stored pixels; ' +
      'screenX, screenY: pixels from the middle of the frame, y up',
    scenario,
    subs,
  };
  await effects.writeFile(join(args.out, 'truth.json'), `${JSON.stringify(truth, null, 1)}\n`);
  effects.say(`${scenario.name}: ${scenario.sentence}`);
  for (const file of files) effects.say(file);
  effects.say(join(args.out, 'truth.json'));
  return files;
}

/** Adds `synth` to the program. */
export function registerSynth(program: Command): void {
  program
    .command('synth')
    .argument('<scenario>', 'scenario file (JSON), as in samples/scenarios')
    .requiredOption('--out <folder>', 'folder for the frames and truth.json')
    .summary('draw frames with a known optical state')
    .description('Draws subs of a telescope in a known optical state, with the truth beside them (truth.json).')
    .action(async (scenarioFile: string, options: { out: string }) => {
      await synth({ scenarioFile, out: options.out });
    });
}
