// Compiles src/kernels/assembly to WebAssembly and keeps it as base64 in src/kernels/compiled.ts, so that the same module
// loads from source, from dist and in a worker.
// usage: node scripts/build-kernels.mjs [--check]      (part of npm run build)
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const target = `${root}src/kernels/compiled.ts`;

/** The file's text as the present sources compile to it. */
async function compiledKernels() {
  const { default: asc } = await import('assemblyscript/asc');
  let bytes;
  const { error, stderr } = await asc.main(
    [
      'src/kernels/assembly/index.ts',
      ...['--baseDir', root, '--outFile', 'kernels.wasm', '--runtime', 'stub', '-O3', '--noAssert'],
      ...['--importMemory', '--sharedMemory', '--maximumMemory', '65536', '--enable', 'simd,threads'],
      ...['--disableWarning', '112'],
    ],
    {
      writeFile: (_name, contents) => {
        bytes = contents;
      },
    },
  );
  if (error) throw new Error(`the kernels do not compile\n${stderr.toString()}`, { cause: error });
  const lines = Buffer.from(bytes)
    .toString('base64')
    .match(/.{1,110}/g);
  return [
    '/** Made by scripts/build-kernels.mjs from src/kernels/assembly: WebAssembly, base64. */',
    'export const COMPILED =',
    lines.map((line) => `  '${line}'`).join(' +\n'),
  ]
    .join('\n')
    .concat(';\n');
}

const text = await compiledKernels();
const same = existsSync(target) && readFileSync(target, 'utf8') === text;
if (process.argv[2] === '--check') console.log(same ? 'up to date' : 'src/kernels/compiled.ts is stale: npm run build');
else if (!same) writeFileSync(target, text);
