import { type ArgumentWord, type CommandTree, type OptionWord, type Value, walkCommands } from './commandTree.ts';

/** Completion for zsh's own completion system (_arguments). */
export function zshCompletion(tree: CommandTree): string {
  const { name } = tree;
  const functions = walkCommands(tree).map(({ path, command }) => functionOf(name, path, command));
  return `#compdef ${name}
# Completion of ${name} for zsh, made by '${name} completion zsh'. Write it to a folder of $fpath as _${name}, or
#   source <(${name} completion zsh)
${functions.join('\n')}
if [ "$funcstack[1]" = "_${name}" ]; then
  _${name} "$@"
elif (( $+functions[compdef] )); then
  compdef _${name} ${name}
fi
`;
}

function functionOf(program: string, path: readonly string[], command: CommandTree): string {
  const own = functionName([program, ...path]);
  const options = command.options.flatMap(optionSpecs);
  if (command.commands.length === 0) {
    const specs = [...options, ...command.arguments.map(argumentSpec)];
    return `${own}() {\n  _arguments -s -S ${specs.map(quoted).join(' \\\n    ')}\n}`;
  }
  const listed = command.commands.map((sub) => quoted(`${sub.name}:${sub.summary}`));
  const cases = command.commands.map((sub) => `        ${sub.name}) ${functionName([program, ...path, sub.name])} ;;`);
  return `${own}() {
  local curcontext="$curcontext" state line
  local -a commands=(
    ${listed.join('\n    ')}
  )
  _arguments -C ${[...options, '1: :->command', '*:: :->rest'].map(quoted).join(' \\\n    ')}
  case $state in
    command) _describe -t commands command commands ;;
    rest)
      case $words[1] in
${cases.join('\n')}
      esac ;;
  esac
}`;
}

const functionName = (words: readonly string[]): string => `_${words.join('_').replaceAll('-', '_')}`;

function optionSpecs(option: OptionWord): string[] {
  const ends = option.value === null ? '' : `:${escaped(option.valueName)}:${action(option.value)}`;
  const spec = (flag: string, sign: string): string => `${flag}${sign}[${escaped(option.describes)}]${ends}`;
  return [
    ...(option.short === null ? [] : [spec(option.short, option.value === null ? '' : '+')]),
    ...(option.long === '' ? [] : [spec(option.long, option.value === null ? '' : '=')]),
  ];
}

function argumentSpec(argument: ArgumentWord): string {
  const many = argument.variadic ? '*' : '';
  return `${many}:${escaped(argument.name)}:${action(argument.value)}`;
}

function action(value: Value): string {
  switch (value.kind) {
    case 'choice':
      return `(${value.words.join(' ')})`;
    case 'file':
      return '_files';
    case 'folder':
      return '_files -/';
    case 'any':
      return ' ';
  }
}

/** Brackets and colons end a description in _arguments. */
const escaped = (text: string): string => text.replace(/[[\]:\\]/g, (sign) => `\\${sign}`).replaceAll('\n', ' ');

const quoted = (text: string): string => `'${text.replaceAll("'", `'\\''`)}'`;
