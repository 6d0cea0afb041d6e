// Builds dist/ from src/: the program as a few bundled files, each loaded only when it is asked for. A program of many small
// files spends a fifth of a quick check on opening them.
import { execFileSync } from 'node:child_process';
import { chmodSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build, buildSync } from 'esbuild';

const root = fileURLToPath(new URL('..', import.meta.url));
rmSync(`${root}dist`, { recursive: true, force: true });
execFileSync(process.execPath, [`${root}scripts/build-kernels.mjs`], { stdio: 'inherit' });
await build({
  absWorkingDir: root,
  entryPoints: { cli: 'src/cli.ts', helperThread: 'src/commands/helperThread.ts' },
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
writeFileSync(`${root}dist/livePage.html`, livePage());
// What the program itself tells of itself, for package.json's "man" and "exports".
mkdirSync(`${root}dist/man`, { recursive: true });
for (const [file, ...command] of [
  ['man/starplumb.1', 'man'],
  ...['report', 'sweep', 'trend'].map((record) => [`${record}.schema.json`, 'schema', record]),
])
  writeFileSync(`${root}dist/${file}`, execFileSync(process.execPath, [`${root}dist/cli.js`, ...command]));

/** The live page as one document: nothing is loaded from elsewhere. */
function livePage() {
  const page = `${root}src/page/`;
  const options = { bundle: true, minify: true, write: false, target: ['es2022', 'safari16'], legalComments: 'none' };
  const script = buildSync({ ...options, entryPoints: [`${page}main.ts`], format: 'iife' }).outputFiles[0].text.trim();
  const style = buildSync({ ...options, entryPoints: [`${page}page.css`] }).outputFiles[0].text.trim();
  // As functions: '$' in the text is not a pattern.
  return readFileSync(`${page}page.html`, 'utf8')
    .replace('<!--style-->', () => `<style>${style}</style>`)
    .replace('<!--script-->', () => `<script>${script.replaceAll('</script', '<\\/script')}</script>`);
}
