// Builds dist/ from src/: the program as a few bundled files, each loaded only when it is asked for. A program of many small
// files spends a fifth of a quick check on opening them.
import { execFileSync } from 'node:child_process';
import { chmodSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const root = fileURLToPath(new URL('..', import.meta.url));
rmSync(`${root}dist`, { recursive: true, force: true });
execFileSync(process.execPath, [`${root}scripts/build-kernels.mjs`], { stdio: 'inherit' });
await build({
  absWorkingDir: root,
  entryPoints: ['src/cli.ts'],
  outdir: 'dist',
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  external: ['sharp', 'better-sqlite3'],
  // Libraries written for require() find one here.
  banner: {
    js: "import { createRequire as requireFor } from 'node:module';\nconst require = requireFor(import.meta.url);",
  },
  chunkNames: '[name]-[hash]',
  logLevel: 'warning',
});
chmodSync(`${root}dist/cli.js`, 0o755);
// What the program itself tells of itself, for package.json's "man" and "exports".
mkdirSync(`${root}dist/man`, { recursive: true });
for (const [command, file] of [
  ['man', 'man/starplumb.1'],
  ['schema', 'report.schema.json'],
])
  writeFileSync(`${root}dist/${file}`, execFileSync(process.execPath, [`${root}dist/cli.js`, command]));
