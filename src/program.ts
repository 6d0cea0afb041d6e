import { readFileSync } from 'node:fs';
import { Command, CommanderError } from 'commander';
import { type CommandHelp, describeUse } from './commands/commandHelp.ts';
import type { Effects } from './effects.ts';
import { EXIT, UserError } from './errors.ts';
import { printable } from './report/untrusted.ts';
import { CHILD_ENV } from './watch/childEnv.ts';

interface Tool {
  readonly name: string;
  readonly version: string;
}

type Register = (program: Command, tool: Tool, effects: Effects) => void;

/** Each command is loaded only when it is asked for: the others cost nothing. */
const COMMANDS: Readonly<Record<string, () => Promise<Register>>> = {
  check: async () => (await import('./commands/check.ts')).registerCheck,
  history: async () => (await import('./commands/history.ts')).registerHistory,
  rig: async () => (await import('./commands/rig.ts')).registerRig,
  sweep: async () => (await import('./commands/sweep.ts')).registerSweep,
  synth: async () => (await import('./commands/synth.ts')).registerSynth,
  explain: async () => (await import('./commands/explain.ts')).registerExplain,
  schema: async () => (await import('./commands/schema.ts')).registerSchema,
  completion: async () => (await import('./commands/completion.ts')).registerCompletion,
  man: async () => (await import('./commands/man.ts')).registerMan,
  watch: async () => (await import('./commands/watch.ts')).registerWatch,
  nudge: async () => (await import('./commands/nudge.ts')).registerNudge,
};

/** These speak of all the others. */
const NEEDS_ALL: ReadonlySet<string> = new Set(['completion', 'man']);

export function readTool(): Tool {
  const text = readFileSync(new URL('../package.json', import.meta.url), 'utf8');
  const { name, version } = JSON.parse(text) as Tool;
  return { name, version };
}

const PROGRAM_HELP: CommandHelp = {
  examples: [
    ['starplumb check night/*.fits', 'is it collimated, and which way to move'],
    ['starplumb explain miscollimation', 'what a fault is, how it looks, how it is put right'],
    ['starplumb check --help', 'every command has examples of its own'],
  ],
  exits: {
    [EXIT.measured]: 'done; for check: measured, whatever the verdict',
    1: 'a fault of the program',
    [EXIT.wrongUsage]: 'wrong usage',
    [EXIT.unreadableInput]: 'an input could not be read',
    [EXIT.noStars]: 'no star could be fitted',
    [EXIT.interrupted]: 'interrupted (Ctrl-C)',
  },
};

/** The program with the commands named, or with all of them. */
export async function makeProgram(
  tool: Tool,
  effects: Effects,
  names: readonly string[] = Object.keys(COMMANDS),
): Promise<Command> {
  const program = new Command(tool.name)
    .description(
      'Tells from ordinary subs whether a fast Newtonian is collimated, what is wrong, and which way to move.',
    )
    .version(tool.version)
    .option('--cite', 'how to cite the program and the published methods it uses')
    .option('--debug', 'show the stack of an unexpected error')
    .exitOverride()
    .configureOutput({ writeOut: (text) => effects.out(text), writeErr: (text) => effects.err(text) })
    .showHelpAfterError('(--help lists what there is)');
  describeUse(program, PROGRAM_HELP);
  for (const name of names) {
    const register = await COMMANDS[name]?.();
    register?.(program, tool, effects);
  }
  return program;
}

/** Code of a program fault: neither success nor anything of the user's. */
const BUG_EXIT = 1;

/** Runs the program; returns its exit code. */
export async function runProgram(args: readonly string[], effects: Effects): Promise<number> {
  const debug = args.includes('--debug');
  try {
    const tool = readTool();
    if (await measuresForAnother(tool, effects)) return EXIT.measured;
    if (args.includes('--cite') && args.every((argument) => argument.startsWith('-'))) {
      effects.out((await import('./report/citation.ts')).citationText(tool));
      return EXIT.measured;
    }
    const asked = args.find((argument) => !argument.startsWith('-')) ?? '';
    const known = Object.hasOwn(COMMANDS, asked) && !NEEDS_ALL.has(asked);
    const version = args.length === 1 && (args[0] === '--version' || args[0] === '-V');
    const program = await makeProgram(tool, effects, known ? [asked] : version ? [] : Object.keys(COMMANDS));
    await program.parseAsync(
      args.filter((argument) => argument !== '--debug'),
      { from: 'user' },
    );
    return EXIT.measured;
  } catch (error) {
    return sayError(error, debug, effects);
  }
}

/** `watch` starts this program once more to measure in a process of its own. */
async function measuresForAnother(tool: Tool, effects: Effects): Promise<boolean> {
  if (effects.env[CHILD_ENV] === undefined) return false;
  return (await import('./commands/watch.ts')).isMeasuringChild(tool, effects);
}

function sayError(error: unknown, debug: boolean, effects: Effects): number {
  // commander has written its message already.
  if (error instanceof CommanderError) return error.exitCode === 0 ? EXIT.measured : EXIT.wrongUsage;
  if (error instanceof UserError) {
    if (error.name !== 'AlreadySaid') effects.err(`${lines(error.message)}\n`);
    return error.exitCode;
  }
  const what = error instanceof Error ? error : new Error(String(error));
  effects.err(`This is a fault of the program, not of your files: ${printable(what.message)}\n`);
  effects.err(
    debug ? `${what.stack ?? ''}\n` : 'The same command with --debug tells where; please report it with that text.\n',
  );
  return BUG_EXIT;
}

/** Line breaks of our own messages stay; whatever else a file name may smuggle in does not. */
const lines = (message: string): string => message.split('\n').map(printable).join('\n');
