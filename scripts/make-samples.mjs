// Draws the sample frames of samples/ anew from their scenarios: `node scripts/make-samples.mjs` after a build.
// The same scenarios give the same bytes; test/commands/synth.test.ts holds that.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, renameSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const samples = join(root, 'samples');
const scenarios = readdirSync(join(samples, 'scenarios')).filter((name) => name.startsWith('sample-'));

for (const scenario of scenarios) {
  const name = scenario.replace(/\.json$/, '');
  const folder = mkdtempSync(join(samples, '.drawing-'));
  execFileSync(
    process.execPath,
    [join(root, 'dist', 'cli.js'), 'synth', join(samples, 'scenarios', scenario), '--out', folder],
    {
      stdio: 'inherit',
    },
  );
  renameSync(join(folder, `${name}-01.fits.fz`), join(samples, `${name}.fits.fz`));
  renameSync(join(folder, 'truth.json'), join(samples, `${name}.truth.json`));
  rmSync(folder, { recursive: true });
}
