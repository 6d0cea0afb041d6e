import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { TestContext } from 'vitest';

/** Real frames stand outside the project; only CI names their folder. */
const folder = process.env['STARPLUMB_TEST_DATA'];
const requireAll = process.env['STARPLUMB_REQUIRE_ALL'] === '1';

/** Skips a test that needs something this machine has not, saying so; where everything is required it fails instead. */
export function skipUnless(context: TestContext, present: boolean, reason: string): void {
  if (present) return;
  if (requireAll) throw new Error(`STARPLUMB_REQUIRE_ALL=1, but ${reason}`);
  console.log(`skipped: ${context.task.name}: ${reason}`);
  context.skip(reason);
}

/** Path of a real frame, or skips the test. */
export function realFrame(context: TestContext, name: string): string {
  const path = folder === undefined ? '' : join(folder, name);
  skipUnless(context, path !== '' && existsSync(path), `${name} needs STARPLUMB_TEST_DATA (the folder of real frames)`);
  return path;
}

let debianFolder: string | null = null;

/** Path of a frame that get-debian-frames.sh unpacks from Debian packages (fetched once a process), or skips the test. */
export function debianFrame(context: TestContext, name: string): string {
  const script = realFrame(context, 'get-debian-frames.sh');
  debianFolder ??= process.env['STARPLUMB_DEBIAN_FRAMES'] ?? fetchDebianFrames(script);
  const path = join(debianFolder, name);
  skipUnless(context, existsSync(path), `${name} could not be fetched from Debian's packages`);
  return path;
}

function fetchDebianFrames(script: string): string {
  const target = mkdtempSync(join(tmpdir(), 'starplumb-frames-'));
  spawnSync('bash', [script, target], { stdio: 'ignore', timeout: 300_000 });
  return target;
}

/** Python with astropy, scipy, sep and photutils: Debian's, since another python3 may come first on the PATH. */
export const PYTHON = '/usr/bin/python3';

/** Skips unless Debian's python3 can import the named modules. */
export function needPython(context: TestContext, ...modules: string[]): void {
  const run = spawnSync(PYTHON, ['-c', modules.map((name) => `import ${name}`).join('\n')]);
  skipUnless(context, run.status === 0, `${PYTHON} with ${modules.join(', ')} is not installed`);
}

/** Skips unless a program is on the PATH. */
export function needProgram(context: TestContext, name: string): void {
  const run = spawnSync('sh', ['-c', `command -v ${name}`]);
  skipUnless(context, run.status === 0, `the program ${name} is not installed`);
}
