import type { Argument, Command, Option } from 'commander';

/** What may stand for a value: words from a list, a file, a folder, or anything. */
export type Value =
  | { readonly kind: 'choice'; readonly words: readonly string[] }
  | { readonly kind: 'file' }
  | { readonly kind: 'folder' }
  | { readonly kind: 'any' };

export interface OptionWord {
  readonly short: string | null;
  readonly long: string;
  /** As declared: '--out <dir>'. */
  readonly flags: string;
  readonly describes: string;
  /** Null where the option takes no value. */
  readonly value: Value | null;
  /** Name of the value, without brackets. */
  readonly valueName: string;
}

export interface ArgumentWord {
  readonly name: string;
  readonly required: boolean;
  readonly variadic: boolean;
  readonly describes: string;
  readonly value: Value;
}

/** A program's own definitions as plain data: all that completion scripts and the manual page are made from. */
export interface CommandTree {
  readonly name: string;
  readonly summary: string;
  readonly description: string;
  readonly options: readonly OptionWord[];
  readonly arguments: readonly ArgumentWord[];
  readonly commands: readonly CommandTree[];
}

export function commandTree(command: Command): CommandTree {
  const help = command.createHelp();
  return {
    name: command.name(),
    summary: command.summary() || firstLine(command.description()),
    description: command.description() || command.summary(),
    options: help.visibleOptions(command).map(optionWord),
    arguments: command.registeredArguments.map(argumentWord),
    commands: command.commands.map(commandTree),
  };
}

function optionWord(option: Option): OptionWord {
  const valueName = /[<[]([^>\]]+)[>\]]/.exec(option.flags)?.[1] ?? '';
  const takes = option.required || option.optional;
  return {
    short: option.short ?? null,
    long: option.long ?? '',
    flags: option.flags,
    describes: option.description,
    value: takes ? valueOf(valueName, option.argChoices) : null,
    valueName,
  };
}

function argumentWord(argument: Argument): ArgumentWord {
  return {
    name: argument.name(),
    required: argument.required,
    variadic: argument.variadic,
    describes: argument.description,
    value: valueOf(argument.name(), argument.argChoices),
  };
}

/** Values are files or folders by the name they are declared with. */
function valueOf(name: string, choices: readonly string[] | undefined): Value {
  if (choices !== undefined) return { kind: 'choice', words: choices };
  if (/dir|folder/i.test(name)) return { kind: 'folder' };
  if (/file|frame|scenario|report|path/i.test(name)) return { kind: 'file' };
  return { kind: 'any' };
}

const firstLine = (text: string): string => text.split('\n')[0] ?? '';

/** Every command below the program with the words that lead to it; the program itself first, with none. */
export function walkCommands(
  tree: CommandTree,
  path: readonly string[] = [],
): { readonly path: readonly string[]; readonly command: CommandTree }[] {
  return [
    { path, command: tree },
    ...tree.commands.flatMap((command) => walkCommands(command, [...path, command.name])),
  ];
}
