import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdtempSync, readFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import { skipUnless } from '../support/testData.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const CLI = join(ROOT, 'dist/cli.js');
const SAMPLE = join(ROOT, 'samples/sample-coma.fits.fz');
const FONTS = ['/usr/share/fonts', '/usr/local/share/fonts', '/etc/fonts', '/var/cache/fontconfig'];

/** A shell with a file system of its own in which no font is to be found. */
const withoutFonts = (command: string) =>
  spawnSync(
    'unshare',
    [
      '-rm',
      'sh',
      '-c',
      `${FONTS.map((f) => `if [ -d ${f} ]; then mount -t tmpfs none ${f}; fi`).join(' && ')} && ${command}`,
    ],
    { encoding: 'utf8', env: { ...process.env, HOME: mkdtempSync(join(tmpdir(), 'starplumb-home-')) } },
  );

it('the picture has the same pixels on a machine without fonts', { timeout: 120_000 }, (context) => {
  skipUnless(context, existsSync(CLI), 'dist/cli.js is not built (npm run build)');
  skipUnless(context, withoutFonts('true').status === 0, 'unshare may not make a file system of its own here');
  const folder = mkdtempSync(join(tmpdir(), 'starplumb-fonts-'));
  const command = (out: string): string =>
    `${process.execPath} ${CLI} check ${SAMPLE} --quick --no-history --out ${join(folder, out)}`;
  const here = spawnSync('sh', ['-c', command('with')], { encoding: 'utf8' });
  expect(here.status, here.stderr).toBe(0);
  const bare = withoutFonts(`test -z "$(ls /usr/share/fonts)" && ${command('without')}`);
  expect(bare.status, bare.stderr).toBe(0);
  const hash = (out: string): string =>
    createHash('sha256')
      .update(readFileSync(join(folder, out, 'field.png')))
      .digest('hex');
  expect(hash('without')).toBe(hash('with'));
});
