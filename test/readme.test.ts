import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { skipUnless } from './support/testData.ts';

const ROOT = fileURLToPath(new URL('..', import.meta.url));
const CLI = join(ROOT, 'dist/cli.js');
const readme = readFileSync(join(ROOT, 'README.md'), 'utf8');

/** Commands of the README's console blocks: lines that begin with '$ starplumb'. */
const commands = [...readme.matchAll(/^\$ starplumb (.+)$/gm)].map((match) => match[1] ?? '');

/** A folder of its own in which samples/ lies as in the project, so that the examples leave nothing behind. */
function run(command: string): { status: number | null; stdout: string; stderr: string; folder: string } {
  const folder = mkdtempSync(join(tmpdir(), 'starplumb-readme-'));
  symlinkSync(join(ROOT, 'samples'), join(folder, 'samples'));
  const env = { ...process.env };
  delete env['FORCE_COLOR'];
  const result = spawnSync(process.execPath, [CLI, ...command.split(' ')], {
    cwd: folder,
    // Rigs and history of the examples stay in their folder, whoever runs the tests.
    env: { ...env, NO_COLOR: '1', HOME: folder, XDG_CONFIG_HOME: folder, XDG_DATA_HOME: folder },
    encoding: 'utf8',
    maxBuffer: 1 << 26,
  });
  return { ...result, folder };
}

describe('the README', () => {
  it('begins with the job and the two commands that need nothing else', () => {
    expect(readme.indexOf('npm ci && npm run demo')).toBeGreaterThan(0);
    expect(readme.indexOf('npm ci && npm test')).toBeGreaterThan(0);
    expect(readme.indexOf('npm ci && npm run demo')).toBeLessThan(readme.indexOf('## '));
    const scripts = (JSON.parse(readFileSync(join(ROOT, 'package.json'), 'utf8')) as { scripts: object }).scripts;
    expect(Object.keys(scripts)).toEqual(expect.arrayContaining(['demo', 'test', 'build']));
  });

  it('has examples, and each of them runs', (context) => {
    skipUnless(context, existsSync(CLI), 'dist/cli.js is not built (npm run build)');
    expect(commands.length).toBeGreaterThanOrEqual(4);
    for (const command of commands) {
      const { status, stderr } = run(command);
      expect(status, `${command}: ${stderr}`).toBe(0);
    }
  }, 240_000);

  it('shows what the first example prints, word for word', (context) => {
    skipUnless(context, existsSync(CLI), 'dist/cli.js is not built (npm run build)');
    const shown = /```text\n([\s\S]+?)\n```/.exec(readme)?.[1];
    const { stdout, folder } = run(commands[0] ?? '');
    expect(stdout.trimEnd()).toBe(shown);
    for (const file of ['report.json', 'report.html', 'report.txt', 'field.png'])
      expect(existsSync(join(folder, 'report', file)), file).toBe(true);
  });

  it('names only files that exist', () => {
    const named = [...readme.matchAll(/\b((?:samples|test|src|scripts)\/[\w./-]+\w)/g)].map((match) => match[1] ?? '');
    expect(named.filter((path) => !existsSync(join(ROOT, path)))).toEqual([]);
  });
});
