import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { setFlagsFromString } from 'node:v8';
import { Script } from 'node:vm';
import { keptKernels } from './keptKernels.ts';

type WholeProgram = typeof import('./wholeProgram.ts');

/** The built program and, where this Node made one for it, V8's compiled code of what a check runs. */
export interface CompiledProgram {
  readonly script: Script;
  /** Runs it: what wholeProgram.ts exports. */
  readonly load: () => WholeProgram;
}

/**
 * How much code V8 11 (Node 20) runs before it optimises a function, bytes of its own code; 67,584 unless said. The hot loops are
 * kernels and what is left repays its optimising late: a quick check takes a tenth less CPU, a full one a twentieth.
 */
const INTERRUPT_BUDGET = 540_000;

/** V8 as the program runs in it; kept code of any kind holds for these flags only. Other versions know no such flag. */
export function setEngineFlags(): void {
  if (process.versions.v8.startsWith('11.')) setFlagsFromString(`--interrupt-budget=${INTERRUPT_BUDGET}`);
}

/** Where scripts/build.mjs puts V8's code for a program file. */
export const codeCacheOf = (file: string): string => `${file}.code`;

/**
 * Compiling functions as they are first called would take a tenth of a quick check. Code of another version of V8, or for
 * another text, is refused by V8 itself and everything is compiled as usual.
 */
export function compileProgram(
  file: string = fileURLToPath(new URL('./program.script', import.meta.url)),
): CompiledProgram {
  setEngineFlags();
  // The build writes ASCII.
  const text = readFileSync(file, 'latin1');
  const cachedData = codeCache(file);
  const script = new Script(text, { filename: file, ...(cachedData && { cachedData }) });
  const load = (): WholeProgram => {
    const module = { exports: {} };
    const run = script.runInThisContext() as (...scope: unknown[]) => void;
    run(module.exports, createRequire(file), module, file, dirname(file));
    const program = module.exports as WholeProgram;
    program.compileKernelsBy(keptKernels(file));
    return program;
  };
  return { script, load };
}

function codeCache(file: string): Buffer | null {
  try {
    return readFileSync(codeCacheOf(file));
  } catch {
    return null;
  }
}
