// Keeps the code that V8 made of the program while it checked a drawn sub, in dist/program.script.code, and of the kernels:
// see src/compiledProgram.ts and src/keptKernels.ts.
import { mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { drawFrame } from './bench/frames.mjs';
import { fromSource } from './fromSource.mjs';

const { codeCacheOf, compileProgram, COMPILED, COMPILED_HELPER, kernelCode, kernelCodeOf } = await fromSource(
  ...['compiledProgram', 'keptKernels', 'kernels/compiled'],
);
const program = fileURLToPath(new URL('../dist/program.script', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'starplumb-code-'));
try {
  const frame = join(folder, 'drawn.fits');
  drawFrame(frame, { width: 1600, height: 1200, stars: 400, seed: 1 });
  const { script, load } = compileProgram(program);
  const { realEffects, runProgram } = load();
  const effects = { ...realEffects(), out: () => undefined };
  const code = await runProgram(['check', frame, '--no-history', '--quick', '--out', join(folder, 'report')], effects);
  if (code !== 0) throw new Error(`the check ended with ${code}`);
  keep(codeCacheOf(program), script.createCachedData());
  keep(kernelCodeOf(program, 'kernels'), kernelCode(Buffer.from(COMPILED, 'base64')));
  keep(kernelCodeOf(program, 'helper'), kernelCode(Buffer.from(COMPILED_HELPER, 'base64')));
} finally {
  rmSync(folder, { recursive: true, force: true });
}

function keep(file, code) {
  const part = `${file}.part`;
  writeFileSync(part, code);
  renameSync(part, file);
}
