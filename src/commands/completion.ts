import { Argument, type Command } from 'commander';
import type { Effects } from '../effects.ts';
import { bashCompletion } from '../shell/bash.ts';
import { commandTree } from '../shell/commandTree.ts';
import { fishCompletion } from '../shell/fish.ts';
import { powershellCompletion } from '../shell/powershell.ts';
import { zshCompletion } from '../shell/zsh.ts';
import { describeUse, USUAL_EXITS } from './commandHelp.ts';

const SHELLS = {
  bash: bashCompletion,
  zsh: zshCompletion,
  fish: fishCompletion,
  powershell: powershellCompletion,
} as const;

/** Adds `completion` to the program, whose every command must stand in it by the time it runs. */
export function registerCompletion(
  program: Command,
  tool: { readonly name: string },
  effects: Pick<Effects, 'out'>,
): void {
  const command = program
    .command('completion')
    .summary('print a script that completes commands and options in your shell')
    .description('Prints the completion script of a shell; it is made from the same definitions as --help.')
    .addArgument(new Argument('<shell>', 'your shell').choices(Object.keys(SHELLS)))
    .action((shell: keyof typeof SHELLS) => effects.out(SHELLS[shell](commandTree(program))));
  describeUse(command, {
    examples: [
      [`source <(${tool.name} completion bash)`, 'for this session; in ~/.bashrc for all (zsh the same, in ~/.zshrc)'],
      [`${tool.name} completion fish > ~/.config/fish/completions/${tool.name}.fish`, 'for fish'],
      [`${tool.name} completion powershell | Out-String | Invoke-Expression`, 'for PowerShell, in your $PROFILE'],
    ],
    exits: USUAL_EXITS,
  });
}
