import { spawnSync } from 'node:child_process';
import type { Command } from 'commander';
import { expect, it } from 'vitest';
import { helpOf } from '../../src/commands/commandHelp.ts';
import { manPageOf } from '../../src/commands/man.ts';
import { makeProgram, runProgram } from '../../src/program.ts';
import { bashCompletion } from '../../src/shell/bash.ts';
import { commandTree } from '../../src/shell/commandTree.ts';
import { fishCompletion } from '../../src/shell/fish.ts';
import { powershellCompletion } from '../../src/shell/powershell.ts';
import { zshCompletion } from '../../src/shell/zsh.ts';
import { memoryWorld } from '../support/memoryEffects.ts';

const TOOL = { name: 'starplumb', version: '1.2.3' };
const program = await makeProgram(TOOL, memoryWorld().effects);
const tree = commandTree(program);

/** Commands that do something, with the words that lead to them. */
function leaves(command: Command, path: readonly string[] = []): { path: readonly string[]; command: Command }[] {
  if (command.commands.length === 0) return [{ path, command }];
  return command.commands.flatMap((sub) => leaves(sub, [...path, sub.name()]));
}

const commands = leaves(program);
const longOptions = (command: Command): string[] => command.options.flatMap((option) => option.long ?? []);

it('there are commands to speak of', () => {
  expect(commands.map(({ path }) => path.join(' '))).toEqual(
    expect.arrayContaining(['check', 'explain', 'completion']),
  );
});

it.each([
  ['bash', bashCompletion(tree), (long: string) => long],
  ['zsh', zshCompletion(tree), (long: string) => long],
  ['fish', fishCompletion(tree), (long: string) => `-l ${long.slice(2)} `],
  ['powershell', powershellCompletion(tree), (long: string) => `'${long}'`],
  ['man', manPageOf(program, TOOL), (long: string) => long.replaceAll('-', '\\-')],
])('%s knows every command and every option of the program', (_, text, spelled) => {
  for (const { path, command } of commands) {
    for (const word of path) expect(text).toContain(word.replaceAll('-', text.startsWith('.TH') ? '\\-' : '-'));
    for (const long of longOptions(command)) expect(text, `${path.join(' ')} ${long}`).toContain(spelled(long));
  }
});

it.each(commands)(
  'the help of $path begins with examples of it and ends with its exit codes',
  async ({ path, command }) => {
    const world = memoryWorld();
    expect(await runProgram([...path, '--help'], world.effects)).toBe(0);
    expect(world.out.indexOf('Examples:\n')).toBe(0);
    expect(world.out.indexOf('Exit codes:\n')).toBeGreaterThan(world.out.indexOf('Options:'));
    const help = helpOf(command);
    expect(help?.examples.length).toBeGreaterThan(0);
    for (const [line] of help?.examples ?? []) expect(line).toContain(`starplumb ${path.join(' ')}`);
    for (const code of [0, 2] as const) {
      const meaning = help?.exits[code] ?? '';
      expect(meaning, `exit code ${code}`).toMatch(/\w{4}/);
      const shown = world.out.split('\n').find((line) => line.trim().startsWith(`${code} `));
      expect(shown, `exit code ${code}`).toContain(meaning);
    }
  },
);

it('the help of the program itself has examples and all exit codes', async () => {
  const world = memoryWorld();
  expect(await runProgram(['--help'], world.effects)).toBe(0);
  for (const code of ['0', '1', '2', '3', '4', '130']) expect(world.out).toMatch(new RegExp(`^ +${code}  \\w`, 'm'));
});

it('examples use only options that exist', () => {
  for (const { path, command } of commands) {
    const known = [...longOptions(command), '--help'];
    for (const [line] of helpOf(command)?.examples ?? [])
      for (const [used] of line.matchAll(/--[a-z][a-z-]*/g))
        expect(known, `${path.join(' ')}: ${line}`).toContain(used);
  }
});

it.each([
  [['chekc', 'a.fits'], 'check'],
  [['explian'], 'explain'],
  [['check', 'a.fits', '--focl', '800'], '--focal'],
  [['check', 'a.fits', '--aperture-mm', '200'], null],
  [['explain', 'miscolimation'], 'miscollimation'],
])('a slip of the pen in %j is answered by what was meant', async (args, meant) => {
  const world = memoryWorld();
  expect(await runProgram(args, world.effects)).toBe(2);
  if (meant !== null) expect(world.err).toContain(meant);
  expect(world.err).toContain('--help');
});

it('the manual page has no warning from groff', (context) => {
  const groff = spawnSync('groff', ['-man', '-ww', '-Tutf8'], { input: manPageOf(program, TOOL), encoding: 'utf8' });
  if (groff.error !== undefined) context.skip('groff is not installed');
  expect(groff.stderr).toBe('');
  expect(groff.status).toBe(0);
  const plain = groff.stdout.replace(/\u001b\[[\d;]*m/g, '').replace(/.\u0008/g, '');
  expect(plain).toContain('--focal');
  expect(plain).toMatch(/EXIT|Exit codes/);
});

it('the manual page is plain ASCII, and no text of ours is a request to roff', () => {
  const page = manPageOf(program, TOOL);
  expect(page).not.toMatch(/[^\x0a\x20-\x7e]/);
  const requests = [...page.matchAll(/^\.(\w+)/gm)].map((match) => match[1]);
  expect(new Set(requests)).toEqual(new Set(['TH', 'SH', 'SS', 'PP', 'TP', 'B', 'br']));
});
