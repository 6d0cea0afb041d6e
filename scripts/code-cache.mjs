// Keeps the code that V8 made of the program while it checked a drawn sub, in dist/program.script.code: see src/compiledProgram.ts.
import { mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { drawFrame } from './bench/frames.mjs';
import { fromSource } from './fromSource.mjs';

const { codeCacheOf, compileProgram } = await fromSource('compiledProgram');
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
  const part = `${codeCacheOf(program)}.part`;
  writeFileSync(part, script.createCachedData());
  renameSync(part, codeCacheOf(program));
} finally {
  rmSync(folder, { recursive: true, force: true });
}
