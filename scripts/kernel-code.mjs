// Keeps V8's machine code of the kernels beside dist/program.script: see src/keptKernels.ts. In a process of its own: a V8 that
// makes no such code, or does not take it back, may end it; then the kernels are compiled as they are needed.
// usage: node scripts/kernel-code.mjs      (part of npm run build)
import { rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { fromSource } from './fromSource.mjs';

const { COMPILED, COMPILED_HELPER, kernelCode, kernelCodeOf, loadKept, setEngineFlags } = await fromSource(
  ...['keptKernels', 'kernels/compiled', 'compiledProgram'],
);
setEngineFlags();
const program = fileURLToPath(new URL('../dist/program.script', import.meta.url));
const kernels = { kernels: COMPILED, helper: COMPILED_HELPER };
process.exitCode = 1;
for (const [name, compiled] of Object.entries(kernels)) {
  const bytes = Buffer.from(compiled, 'base64');
  const file = kernelCodeOf(program, name);
  writeFileSync(file, kernelCode(bytes));
  if (loadKept(file, bytes) === null) rmSync(file);
}
process.exitCode = 0;
