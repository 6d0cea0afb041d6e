import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeAll, describe, expect, it, type TestContext } from 'vitest';
import { makeProgram } from '../../src/program.ts';
import { bashCompletion } from '../../src/shell/bash.ts';
import { commandTree } from '../../src/shell/commandTree.ts';
import { fishCompletion } from '../../src/shell/fish.ts';
import { zshCompletion } from '../../src/shell/zsh.ts';
import { memoryWorld } from '../support/memoryEffects.ts';

/** What the shells themselves answer, in a folder with a few files of awkward names. */
const folder = mkdtempSync(join(tmpdir(), 'starplumb-completion-'));
const program = await makeProgram({ name: 'starplumb', version: '1' }, memoryWorld().effects);
const tree = commandTree(program);
const commandNames = program.commands.map((command) => command.name());

beforeAll(() => {
  writeFileSync(join(folder, 'sub one.fits'), '');
  writeFileSync(join(folder, 'sub[2].fits'), '');
  mkdirSync(join(folder, 'subs'));
  writeFileSync(join(folder, 'bash.sh'), bashCompletion(tree));
  writeFileSync(join(folder, '_starplumb'), zshCompletion(tree));
  writeFileSync(join(folder, 'starplumb.fish'), fishCompletion(tree));
});

/** Words as bash splits them, the last one being completed. */
function bashOffers(...words: string[]): string[] {
  const quoted = ['starplumb', ...words].map((word) => `'${word}'`).join(' ');
  const script = `source ./bash.sh; COMP_WORDS=(${quoted}); COMP_CWORD=${words.length}; _starplumb; printf '%s\\n' "\${COMPREPLY[@]}"`;
  const run = spawnSync('bash', ['--norc', '-u', '-c', script], { cwd: folder, encoding: 'utf8' });
  expect(run.stderr).toBe('');
  return run.stdout.split('\n').filter((word) => word !== '');
}

describe('bash', () => {
  it('offers every command first', () => {
    expect(bashOffers('').sort()).toEqual([...commandNames].sort());
    expect(bashOffers('che')).toEqual(['check']);
    expect(bashOffers('--debug', 'che')).toEqual(['check']);
  });

  it('offers the options of the command given, and of no other', () => {
    expect(bashOffers('check', '--foc')).toEqual(['--focal']);
    expect(bashOffers('check', 'a.fits', '--js')).toEqual(['--json']);
    expect(bashOffers('synth', '--foc')).toEqual([]);
    expect(bashOffers('check', '--rig', 'synth', '--js')).toEqual(['--json']);
  });

  it('offers the words a value may have, also after an equals sign', () => {
    expect(bashOffers('check', '--row-order', '')).toEqual(['top-down', 'bottom-up']);
    expect(bashOffers('check', '--row-order', '=', 'b')).toEqual(['bottom-up']);
    expect(bashOffers('check', '--row-order', '=')).toEqual(['top-down', 'bottom-up']);
    expect(bashOffers('explain', 'pin')).toEqual(['pinched-optics']);
    expect(bashOffers('completion', 'p')).toEqual(['powershell']);
    expect(bashOffers('check', '--focal', '')).toEqual([]);
  });

  it('offers files and folders whatever their names, where they belong', () => {
    expect(bashOffers('check', 'sub').sort()).toEqual(['sub one.fits', 'sub[2].fits', 'subs']);
    expect(bashOffers('check', '--out', 'sub')).toEqual(['subs']);
    expect(bashOffers('check', '--dark', 'sub o')).toEqual(['sub one.fits']);
  });
});

function runIn(context: TestContext, shell: string, args: readonly string[]): string {
  const run = spawnSync(shell, args, { cwd: folder, encoding: 'utf8', env: { ...process.env, HOME: folder } });
  if (run.error !== undefined) context.skip(`${shell} is not installed`);
  expect(run.stderr).toBe('');
  expect(run.status).toBe(0);
  return run.stdout;
}

it('fish offers the same', (context) => {
  const offers = (line: string): string[] =>
    runIn(context, 'fish', ['--no-config', '-c', `source starplumb.fish; complete -C '${line}'`])
      .split('\n')
      .map((row) => row.split('\t')[0] ?? '')
      .filter((word) => word !== '');
  expect(offers('starplumb ')).toEqual(expect.arrayContaining(commandNames));
  expect(offers('starplumb check --foc')).toEqual(['--focal']);
  expect(offers('starplumb check --row-order ').sort()).toEqual(['bottom-up', 'top-down']);
  expect(offers('starplumb explain pin')).toEqual(['pinched-optics']);
  expect(offers('starplumb check sub').length).toBe(3);
  expect(offers('starplumb check --out sub')).toEqual(['subs/']);
});

it('zsh reads the script and offers the same', (context) => {
  runIn(context, 'zsh', ['-n', '_starplumb']);
  // The completion system answers only on a terminal: a pseudo one of zsh's own, asked until it has answered.
  const script = `
    zmodload zsh/zpty
    zpty shell 'zsh -f -i'
    seen=''
    await() { repeat 100; do while zpty -r -t shell part; do seen+=$part; done; [[ $seen == *$1* ]] && return; sleep 0.1; done; }
    zpty -w shell 'PS1=; autoload -U compinit; compinit -u -D; source ./_starplumb; bindkey "^I" complete-word; print REA""DY'
    await READY
    for line word in "$@"; do
      seen=''
      zpty -w -n shell "$line"$'\\t'
      await "$word"
      [[ $seen == *$word* ]] && print -r -- "$word" || print -r -- "$line: \${(q)seen}"
      zpty -w -n shell $'\\C-u'
    done
    zpty -d shell`;
  const asked = [
    ['starplumb che', 'starplumb check'],
    ['starplumb check --foc', '--focal'],
    ['starplumb explain pin', 'pinched-optics'],
    ['starplumb check --row-order=b', '--row-order=bottom-up'],
  ];
  const answers = runIn(context, 'zsh', ['-f', '-c', script, 'zsh', ...asked.flat()]);
  expect(
    answers
      .trimEnd()
      .split('\n')
      .map((line) => line.trim()),
  ).toEqual(asked.map(([, answer]) => answer?.trim()));
});
