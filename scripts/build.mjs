// Builds dist/ from src/: the program as one file, whose parts run only when they are asked for, and V8's code of those that a
// quick check runs. A program of many small files spends a fifth of a quick check on opening and compiling them.
import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build, buildSync } from 'esbuild';

const root = fileURLToPath(new URL('..', import.meta.url));
rmSync(`${root}dist`, { recursive: true, force: true });
execFileSync(process.execPath, [`${root}scripts/build-kernels.mjs`], { stdio: 'inherit' });
const options = {
  absWorkingDir: root,
  outdir: 'dist',
  bundle: true,
  platform: 'node',
  target: 'node20',
  logLevel: 'warning',
};
// CommonJS: Node takes 6 ms more to start a module.
const script = { format: 'cjs', define: { 'import.meta.url': 'importMetaUrl' } };
const ownUrl = "const importMetaUrl = require('node:url').pathToFileURL(__filename).href;";
await build({
  ...options,
  ...script,
  entryPoints: { cli: 'src/cli.ts', helperThread: 'src/helperThread.ts', kernelThread: 'src/kernelThread.ts' },
  banner: { js: `"use strict";\n${ownUrl}` },
});
writeFileSync(`${root}dist/package.json`, '{ "type": "commonjs" }\n');
await build({
  ...options,
  entryPoints: { program: 'src/wholeProgram.ts' },
  ...script,
  outExtension: { '.js': '.script' },
  charset: 'ascii',
  external: ['sharp', 'better-sqlite3'],
  // A function of what Node gives a CommonJS module: src/compiledProgram.ts calls it.
  banner: {
    js: `(function (exports, require, module, __filename, __dirname) {"use strict";
${ownUrl}`,
  },
  footer: { js: '})' },
  supported: { 'dynamic-import': false },
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
execFileSync(process.execPath, [`${root}scripts/code-cache.mjs`], { stdio: 'inherit' });
if (spawnSync(process.execPath, [`${root}scripts/kernel-code.mjs`], { stdio: 'ignore' }).status !== 0) {
  const kept = readdirSync(`${root}dist`).filter((name) => /^program\.script\.(kernels|helper)-/.test(name));
  for (const name of kept) rmSync(`${root}dist/${name}`);
  console.warn('This V8 keeps no machine code of the kernels: every run compiles them, which takes a tenth longer.');
}

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
