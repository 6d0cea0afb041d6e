import { type CommandTree, walkCommands } from './commandTree.ts';

/** Completion for PowerShell 5 and later; where it offers nothing, PowerShell itself completes file names. */
export function powershellCompletion(tree: CommandTree): string {
  const { name } = tree;
  const all = walkCommands(tree);
  const known = all.map(({ path, command }) => {
    const [first] = command.arguments;
    const choices = first?.value.kind === 'choice' ? first.value.words : [];
    return table(path.join(' '), [
      ...command.commands.map((sub): Pair => [sub.name, sub.summary]),
      ...choices.map((word): Pair => [word, word]),
      ...command.options.map((option): Pair => [option.long, option.describes]),
    ]);
  });
  const values = all.flatMap(({ path, command }) =>
    command.options.flatMap(({ long, short, value, valueName }) => {
      if (value === null) return [];
      const words = value.kind === 'choice' ? value.words.map((word): Pair => [word, valueName]) : [];
      return [long, short ?? ''].filter((flag) => flag !== '').map((flag) => table(`${path.join(' ')}|${flag}`, words));
    }),
  );
  return `# Completion of ${name} for PowerShell, made by '${name} completion powershell'. Load it with
#   ${name} completion powershell | Out-String | Invoke-Expression
Register-ArgumentCompleter -Native -CommandName ${quoted(name)} -ScriptBlock {
  param($wordToComplete, $commandAst, $cursorPosition)
  $known = @{
${known.join('\n')}
  }
  $values = @{
${values.join('\n')}
  }
  $given = @($commandAst.CommandElements | Select-Object -Skip 1 |
    Where-Object { $_.Extent.EndOffset -lt $cursorPosition } | ForEach-Object { $_.ToString() })
  $path = ''
  $before = ''
  foreach ($word in $given) {
    $longer = "$path $word".Trim()
    if (-not $values.ContainsKey("$path|$before") -and $known.ContainsKey($longer)) { $path = $longer }
    $before = $word
  }
  $offered = if ($values.ContainsKey("$path|$before")) { $values["$path|$before"] } else { $known[$path] }
  $offered.GetEnumerator() | Where-Object { $_.Key -like "$wordToComplete*" } | ForEach-Object {
    [System.Management.Automation.CompletionResult]::new($_.Key, $_.Key, 'ParameterValue', $_.Value)
  }
}
`;
}

type Pair = readonly [word: string, help: string];

/** An ordered table keeps the order of the definitions, and does not fall apart with a single entry as an array would. */
function table(key: string, pairs: readonly Pair[]): string {
  const entries = pairs.map(([word, help]) => `      ${quoted(word)} = ${quoted(help)}`);
  return `    ${quoted(key)} = [ordered]@{${entries.length === 0 ? '' : `\n${entries.join('\n')}\n    `}}`;
}

const quoted = (text: string): string => `'${text.replaceAll("'", "''").replaceAll('\n', ' ')}'`;
