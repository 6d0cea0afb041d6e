// Bundles the accuracy harness of test/accuracy and runs it: `npm run accuracy -- --help`.
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { buildSync } from 'esbuild';

const root = fileURLToPath(new URL('..', import.meta.url));
buildSync({
  entryPoints: ['main', 'worker'].map((name) => `${root}test/accuracy/${name}.ts`),
  outdir: `${root}dist/accuracy`,
  outExtension: { '.js': '.mjs' },
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  packages: 'external',
});
const { status } = spawnSync(process.execPath, [`${root}dist/accuracy/main.mjs`, ...process.argv.slice(2)], {
  stdio: 'inherit',
  env: { ...process.env, STARPLUMB_ROOT: root },
});
process.exitCode = status ?? 1;
