import type { Command } from 'commander';
import { EXIT } from '../errors.ts';

/** What a command's --help and the manual page say beside its options. */
export interface CommandHelp {
  /** A whole command line and what it is good for; the commonest first. */
  readonly examples: readonly (readonly [line: string, does: string])[];
  /** Meaning of each exit code this command can end with. */
  readonly exits: Readonly<Partial<Record<number, string>>>;
}

const HELP = new WeakMap<Command, CommandHelp>();

/** What nearly every command may end with. */
export const USUAL_EXITS = {
  [EXIT.measured]: 'done',
  [EXIT.wrongUsage]: 'wrong usage',
} as const;

/** Lets the command's --help begin with examples and end with its exit codes. */
export function describeUse(command: Command, help: CommandHelp): Command {
  HELP.set(command, help);
  const examples = help.examples.map(([line, does]) => `  ${line}\n      ${does}`);
  const exits = Object.entries(help.exits).map(([code, meaning]) => `  ${code.padStart(3)}  ${meaning}`);
  return command
    .addHelpText('before', `Examples:\n${examples.join('\n')}\n`)
    .addHelpText('after', `\nExit codes:\n${exits.join('\n')}`);
}

export const helpOf = (command: Command): CommandHelp | null => HELP.get(command) ?? null;
