import { type CommandTree, type Value, walkCommands } from './commandTree.ts';

/** Completion for bash 3.2 and later; needs no other package. */
export function bashCompletion(tree: CommandTree): string {
  const { name } = tree;
  const all = walkCommands(tree);
  const steps = all
    .filter(({ path }) => path.length > 0)
    .map(({ path }) => `      '${path.slice(0, -1).join(' ')}|${path.at(-1) ?? ''}') path='${path.join(' ')}' ;;`);
  const values = all.flatMap(({ path, command }) =>
    command.options.flatMap((option) =>
      option.value === null
        ? []
        : [option.short, option.long].flatMap((flag) =>
            flag === null || flag === ''
              ? []
              : [`      '${path.join(' ')}|${flag}') wants='${wanted(option.value)}' ;;`],
          ),
    ),
  );
  const words = all.map(({ path, command }) => {
    const flags = command.options.flatMap((option) => [option.long, option.short ?? '']).filter((flag) => flag !== '');
    const places =
      command.commands.length > 0
        ? `choice:${names(command)}`
        : (command.arguments.map((a) => wanted(a.value))[0] ?? 'any');
    return `    '${path.join(' ')}') flags='${flags.join(' ')}' places='${places}' ;;`;
  });
  return `# Completion of ${name} for bash, made by '${name} completion bash'. Load it with
#   source <(${name} completion bash)
_${name}_value() {
  local path=$1 flag=$2 wants=''
  case "$path|$flag" in
${values.join('\n')}
  esac
  printf '%s' "$wants"
}

_${name}_reply() {
  local wants=$1 cur=$2 word
  case "$wants" in
    choice:*) set -- -W "\${wants#choice:}" ;;
    file) set -- -f ;;
    folder) set -- -d ;;
    *) return ;;
  esac
  while IFS= read -r word; do COMPREPLY+=("$word"); done < <(compgen "$@" -- "$cur")
}

_${name}() {
  local cur=\${COMP_WORDS[COMP_CWORD]} before=\${COMP_WORDS[COMP_CWORD-1]} path='' flags='' places='' i word wants
  COMPREPLY=()
  # bash splits --option=value at the sign.
  if [[ $cur == '=' ]]; then cur=''
  elif [[ $before == '=' ]]; then before=\${COMP_WORDS[COMP_CWORD-2]}
  fi
  for ((i = 1; i < COMP_CWORD; i++)); do
    word=\${COMP_WORDS[i]}
    [[ -n $(_${name}_value "$path" "\${COMP_WORDS[i-1]}") ]] && continue
    case "$path|$word" in
${steps.join('\n')}
    esac
  done
  wants=$(_${name}_value "$path" "$before")
  if [[ -n $wants ]]; then
    _${name}_reply "$wants" "$cur"
    return
  fi
  case "$path" in
${words.join('\n')}
  esac
  if [[ $cur == -* ]]; then _${name}_reply "choice:$flags" "$cur"
  else _${name}_reply "$places" "$cur"
  fi
}
complete -o filenames -F _${name} ${name}
`;
}

/** 'file', 'folder', 'any', or 'choice:' and the words. */
function wanted(value: Value | null): string {
  if (value === null) return '';
  return value.kind === 'choice' ? `choice:${value.words.join(' ')}` : value.kind;
}

const names = (command: CommandTree): string => command.commands.map((sub) => sub.name).join(' ');
