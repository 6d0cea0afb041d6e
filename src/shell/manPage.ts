import type { ArgumentWord, CommandTree, OptionWord } from './commandTree.ts';
import { walkCommands } from './commandTree.ts';

/** What the definitions themselves do not hold. */
export interface ManPageParts {
  readonly version: string;
  /** Of the command reached by these words; null where it has none. */
  readonly helpOf: (path: readonly string[]) => {
    readonly examples: readonly (readonly [line: string, does: string])[];
    readonly exits: Readonly<Partial<Record<number, string>>>;
  } | null;
  readonly cautions: readonly string[];
}

/** Manual page, section 1, in the man macros every roff knows (groff_man(7)); only ASCII, so that it needs no locale. */
export function manPage(tree: CommandTree, { version, helpOf, cautions }: ManPageParts): string {
  const { name } = tree;
  const commands = walkCommands(tree).filter(({ path }) => path.length > 0);
  return `${[
    `.TH ${name.toUpperCase()} 1 "" "${name} ${roff(version)}" "User Commands"`,
    '.SH NAME',
    `${name} \\- ${roff(tree.description.replace(/\.$/, ''))}`,
    '.SH SYNOPSIS',
    ...commands
      .filter(({ command }) => command.commands.length === 0)
      .flatMap(({ path, command }) => ['.br', synopsis([name, ...path], command)])
      .slice(1),
    '.SH DESCRIPTION',
    ...paragraphs(tree.description),
    '.SH OPTIONS',
    ...tree.options.flatMap(optionLines),
    '.SH COMMANDS',
    ...commands.flatMap(({ path, command }) => commandLines(name, path, command, helpOf(path))),
    '.SH ENVIRONMENT',
    '.TP',
    '.B NO_COLOR',
    'Not empty: no colours on the terminal.',
    '.TP',
    '.B FORCE_COLOR',
    'Neither empty nor 0: colours wherever the output goes.',
    '.SH CAUTIONS',
    ...cautions.flatMap((text) => ['.PP', ...lines(text)]),
    '.SH SEE ALSO',
    `\\(oq${name} explain\\(cq for each fault, \\(oq${name} \\-\\-cite\\(cq for the methods and their sources.`,
  ].join('\n')}\n`;
}

function synopsis(words: readonly string[], command: CommandTree): string {
  const options = command.options.some(({ long }) => long !== '--help') ? ' [\\fIoptions\\fR]' : '';
  return `\\fB${words.map(roff).join(' ')}\\fR${options}${command.arguments.map((a) => ` ${argumentName(a)}`).join('')}`;
}

function argumentName({ name, required, variadic }: ArgumentWord): string {
  const shown = `\\fI${roff(name)}\\fR${variadic ? '...' : ''}`;
  return required ? shown : `[${shown}]`;
}

function commandLines(
  program: string,
  path: readonly string[],
  command: CommandTree,
  help: ReturnType<ManPageParts['helpOf']>,
): string[] {
  return [
    `.SS "${roff([program, ...path].join(' '))}"`,
    ...paragraphs(command.description),
    ...command.arguments.flatMap((argument) => ['.TP', argumentName(argument), ...argumentLines(argument)]),
    ...command.options.flatMap(optionLines),
    ...(help === null
      ? []
      : [
          '.PP',
          'Examples:',
          ...help.examples.flatMap(([line, does]) => ['.TP', `.B ${roff(line)}`, ...lines(does)]),
          '.PP',
          'Exit codes:',
          ...Object.entries(help.exits).flatMap(([code, meaning]) => ['.TP', `.B ${code}`, ...lines(meaning ?? '')]),
        ]),
  ];
}

function argumentLines({ describes, value }: ArgumentWord): string[] {
  return lines(value.kind === 'choice' ? `${describes}: ${value.words.join(', ')}` : describes);
}

function optionLines(option: OptionWord): string[] {
  const choices = option.value?.kind === 'choice' ? ` (${option.value.words.join(', ')})` : '';
  return ['.TP', `.B ${roff(option.flags)}`, ...lines(`${option.describes}${choices}`)];
}

function paragraphs(text: string): string[] {
  return text.split('\n\n').flatMap((paragraph) => ['.PP', ...lines(paragraph.replaceAll('\n', ' '))]);
}

/** One line for each sentence, as manual pages are written; a leading dot or apostrophe would be a request. */
function lines(text: string): string[] {
  return roff(text)
    .split(/(?<=[.!?]) (?=[A-Z])/)
    .map((line) => (/^[.']/.test(line) ? `\\&${line}` : line));
}

/** Text for roff: backslash and hyphen are its own, and what is not ASCII goes by its code point (groff_char(7)). */
function roff(text: string): string {
  return text
    .replaceAll('\n', ' ')
    .replaceAll('\\', '\\e')
    .replaceAll('-', '\\-')
    .replaceAll('"', '\\(dq')
    .replace(
      /[^\x20-\x7e]/gu,
      (sign) => `\\[u${(sign.codePointAt(0) ?? 0).toString(16).toUpperCase().padStart(4, '0')}]`,
    );
}
