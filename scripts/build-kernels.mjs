// Compiles src/kernels/assembly to WebAssembly and keeps it as base64 in src/kernels/compiled.ts, so that the same module
// loads from source, from dist and in a worker.
// usage: node scripts/build-kernels.mjs [--check]      (part of npm run build)
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const target = `${root}src/kernels/compiled.ts`;

/** The file's text as the present sources compile to it. */
async function compiledKernels(helper) {
  const { default: asc } = await import('assemblyscript/asc');
  let bytes;
  const { error, stderr } = await asc.main(
    [
      'src/kernels/assembly/index.ts',
      ...['--baseDir', root, '--outFile', 'kernels.wasm', '--runtime', 'stub', '-O3', '--noAssert'],
      ...['--importMemory', '--sharedMemory', '--maximumMemory', '65536', '--enable', 'simd,threads'],
      ...['--disableWarning', '112', '--use', `HELPER=${helper}`],
    ],
    {
      writeFile: (_name, contents) => {
        bytes = contents;
      },
    },
  );
  if (error) throw new Error(`the kernels do not compile\n${stderr.toString()}`, { cause: error });
  return Buffer.from(bytes)
    .toString('base64')
    .match(/.{1,110}/g)
    .map((line) => `  '${line}'`)
    .join(' +\n');
}

const text = [
  '/** Made by scripts/build-kernels.mjs from src/kernels/assembly: WebAssembly, base64. */',
  `export const COMPILED =\n${await compiledKernels(0)};`,
  '',
  '/** The same for a helper thread. */',
  `export const COMPILED_HELPER =\n${await compiledKernels(1)};`,
  '',
].join('\n');
const same = existsSync(target) && readFileSync(target, 'utf8') === text;
if (process.argv[2] === '--check') console.log(same ? 'up to date' : 'src/kernels/compiled.ts is stale: npm run build');
else if (!same) writeFileSync(target, text);
