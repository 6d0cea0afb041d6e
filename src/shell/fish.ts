import { type CommandTree, type OptionWord, type Value, walkCommands } from './commandTree.ts';

/** Completion for fish 3. */
export function fishCompletion(tree: CommandTree): string {
  const { name } = tree;
  const lines = walkCommands(tree).flatMap(({ path, command }) => {
    const here = `-c ${name} -n ${quoted(condition(path, command))}`;
    const first = command.arguments[0];
    return [
      ...command.commands.map((sub) => `complete ${here} -f -a ${quoted(sub.name)} -d ${quoted(oneLine(sub.summary))}`),
      ...(first === undefined || first.value.kind === 'any' ? [] : [`complete ${here} ${valueWords(first.value)}`]),
      ...command.options.map((option) => `complete ${here} ${optionWords(option)}`),
    ];
  });
  return `# Completion of ${name} for fish, made by '${name} completion fish'. Load it with
#   ${name} completion fish | source
complete -c ${name} -e
${lines.join('\n')}
`;
}

/** Where the words of the path were given, and none of a command below. */
function condition(path: readonly string[], command: CommandTree): string {
  const seen = path.map((word) => `__fish_seen_subcommand_from ${word}`);
  const below = command.commands.map((sub) => sub.name);
  if (path.length === 0) return '__fish_use_subcommand';
  const none = below.length === 0 ? [] : [`not __fish_seen_subcommand_from ${below.join(' ')}`];
  return [...seen, ...none].join('; and ');
}

function optionWords(option: OptionWord): string {
  return [
    option.short === null ? '' : `-s ${option.short.replace(/^-+/, '')}`,
    option.long === '' ? '' : `-l ${option.long.replace(/^--/, '')}`,
    option.value === null ? '' : `-r ${valueWords(option.value)}`,
    `-d ${quoted(oneLine(option.describes))}`,
  ]
    .filter((part) => part !== '')
    .join(' ');
}

function valueWords(value: Value): string {
  switch (value.kind) {
    case 'choice':
      return `-f -a ${quoted(value.words.join(' '))}`;
    case 'file':
      return '-F';
    case 'folder':
      return `-f -a ${quoted('(__fish_complete_directories)')}`;
    case 'any':
      return '-f';
  }
}

const oneLine = (text: string): string => text.replaceAll('\n', ' ');

const quoted = (text: string): string => `'${text.replaceAll('\\', '\\\\').replaceAll("'", "\\'")}'`;
