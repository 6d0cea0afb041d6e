import { join } from 'node:path';
import type { Command } from 'commander';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { scenesOf } from '../optics/night.ts';
import { parseScenario, type Scenario, ScenarioError } from '../optics/scenario.ts';
import { drawFrame } from '../optics/starField.ts';
import { subTruth } from '../optics/truth.ts';
import { printable } from '../report/untrusted.ts';
import { describeUse } from './commandHelp.ts';
import { fileOf } from './drawnFile.ts';
import { writeWhole } from './writeWhole.ts';

export const TRUTH_FORMAT = 'starplumb-truth';
export const TRUTH_VERSION = 1;

export interface SynthArguments {
  readonly scenarioFile: string;
  readonly out: string;
}

/** The outside world as `synth` needs it. */
export type SynthEffects = Pick<
  Effects,
  | 'readFile'
  | 'writeFile'
  | 'makeFolder'
  | 'rename'
  | 'remove'
  | 'out'
  | 'err'
  | 'errIsTerminal'
  | 'processId'
  | 'interrupted'
  | 'breathe'
>;

const LARGEST_SCENARIO = 10_000_000;

async function readScenario(path: string, effects: SynthEffects): Promise<Scenario> {
  let bytes: Uint8Array;
  try {
    bytes = await effects.readFile(path);
  } catch (cause) {
    throw new UserError(`${path}: cannot be read: ${(cause as Error).message}`, EXIT.unreadableInput, { cause });
  }
  if (bytes.length > LARGEST_SCENARIO) {
    throw new UserError(`${path}: ${bytes.length} bytes are too many for a scenario`, EXIT.unreadableInput);
  }
  let value: unknown;
  try {
    value = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
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
export async function synth(args: SynthArguments, effects: SynthEffects): Promise<string[]> {
  const scenario = await readScenario(args.scenarioFile, effects);
  try {
    await effects.makeFolder(args.out);
  } catch (cause) {
    throw new UserError(`${args.out}: no folder can be made: ${(cause as Error).message}`, EXIT.wrongUsage, { cause });
  }
  const scenes = scenesOf(scenario);
  const files: string[] = [];
  const subs: object[] = [];
  for (const [index, scene] of scenes.entries()) {
    await effects.breathe();
    if (effects.interrupted()) {
      throw new UserError(`Interrupted after ${index} of ${scenes.length} subs; no truth.json.`, EXIT.interrupted);
    }
    if (effects.errIsTerminal) effects.err(`\rDrawing sub ${index + 1} of ${scenes.length} `);
    const drawn = drawFrame(scene);
    const { bytes, ending } = fileOf(scenario, scene, drawn, index);
    const file = `${scenario.name}-${String(index + 1).padStart(2, '0')}${ending}`;
    const path = join(args.out, file);
    await writeWhole(path, bytes, effects);
    files.push(path);
    subs.push({ file, ...subTruth(scenario, scene, drawn) });
  }
  if (effects.errIsTerminal) effects.err('\r\x1b[K');
  const truth = {
    format: TRUTH_FORMAT,
    version: TRUTH_VERSION,
    conventions:
      'directions: degrees counter-clockwise from right on the screen, y up; x, y: 0-based stored pixels; ' +
      'screenX, screenY: pixels from the middle of the frame, y up',
    scenario,
    subs,
  };
  const truthPath = join(args.out, 'truth.json');
  await writeWhole(truthPath, `${JSON.stringify(truth, null, 1)}\n`, effects);
  effects.out(`${scenario.name}: ${printable(scenario.sentence)}\n`);
  for (const file of [...files, truthPath]) effects.out(`${printable(file)}\n`);
  return files;
}

/** Adds `synth` to the program. */
export function registerSynth(program: Command, _tool: unknown, effects: SynthEffects): void {
  const command = program
    .command('synth')
    .argument('<scenario>', 'scenario file (JSON), as in samples/scenarios')
    .requiredOption('--out <folder>', 'folder for the frames and truth.json')
    .summary('draw frames with a known optical state')
    .description('Draws subs of a telescope in a known optical state, with the truth beside them (truth.json).')
    .action(async (scenarioFile: string, options: { out: string }) => {
      await synth({ scenarioFile, out: options.out }, effects);
    });
  describeUse(command, {
    examples: [['starplumb synth samples/scenarios/few-stars.json --out drawn', 'frames and truth.json in drawn/']],
    exits: {
      [EXIT.measured]: 'drawn',
      [EXIT.wrongUsage]: 'wrong usage, or the scenario says something that cannot be drawn',
      [EXIT.unreadableInput]: 'the scenario could not be read',
      [EXIT.interrupted]: 'interrupted (Ctrl-C)',
    },
  });
}
