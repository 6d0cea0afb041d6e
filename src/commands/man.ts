import type { Command } from 'commander';
import type { Effects } from '../effects.ts';
import { CAUTIONS } from '../report/cautions.ts';
import { commandTree } from '../shell/commandTree.ts';
import { manPage } from '../shell/manPage.ts';
import { describeUse, helpOf, USUAL_EXITS } from './commandHelp.ts';

interface Tool {
  readonly name: string;
  readonly version: string;
}

/** The program's manual page in roff, from its own definitions. */
export function manPageOf(program: Command, { version }: Tool): string {
  const find = (path: readonly string[]): Command | undefined =>
    path.reduce<Command | undefined>((at, word) => at?.commands.find((command) => command.name() === word), program);
  return manPage(commandTree(program), {
    version,
    helpOf: (path) => {
      const command = find(path);
      return command === undefined ? null : helpOf(command);
    },
    cautions: CAUTIONS,
  });
}

/** Adds `man` to the program, whose every command must stand in it by the time it runs. */
export function registerMan(program: Command, tool: Tool, effects: Pick<Effects, 'out'>): void {
  const command = program
    .command('man')
    .summary('print the manual page')
    .description('Prints the manual page (roff), made from the same definitions as --help.')
    .action(() => effects.out(manPageOf(program, tool)));
  describeUse(command, {
    examples: [
      [`${tool.name} man | man -l -`, 'read it'],
      [`${tool.name} man > ~/.local/share/man/man1/${tool.name}.1`, `keep it: then 'man ${tool.name}' finds it`],
    ],
    exits: USUAL_EXITS,
  });
}
