import { readFileSync } from 'node:fs';
import { setFlagsFromString } from 'node:v8';
import { Script } from 'node:vm';
import { crc32 } from 'node:zlib';
import type { CompileKernels, KernelsName } from './kernels/kernels.ts';

/** Where scripts/build.mjs puts V8's machine code of kernels of a program file: for each V8 and processor. */
export const kernelCodeOf = (file: string, name: KernelsName): string =>
  `${file}.${name}-${process.versions.v8}-${process.arch}`;

/**
 * The kernels' module with the machine code that the build kept; compiled as usual where there is none, where it is damaged, or
 * where V8 refuses it (other flags, a processor that knows less). Otherwise V8 compiles every kernel in haste, then again well on
 * a further thread, and the first part of every loop runs in the hasty code: a tenth of the processor time of a quick check.
 */
export function keptKernels(file: string): CompileKernels {
  return (bytes, name) => loadKept(kernelCodeOf(file, name), bytes) ?? new WebAssembly.Module(bytes);
}

/** The module with the code kept in a file; null where that cannot be. */
export function loadKept(file: string, bytes: Uint8Array): WebAssembly.Module | null {
  try {
    const kept = readFileSync(file);
    const code = new Uint8Array(kept.subarray(SUM_BYTES));
    if (!kept.subarray(0, SUM_BYTES).equals(sumOf(code, bytes))) return null;
    return (native(LOAD, code.buffer, bytes) as WebAssembly.Module | undefined) ?? null;
  } catch {
    return null;
  }
}

/** What the build writes to that file. */
export function kernelCode(bytes: Uint8Array<ArrayBuffer>): Uint8Array {
  const module = withFlags(WELL_COMPILED, () => new WebAssembly.Module(bytes));
  const code = new Uint8Array(native(KEEP, module) as ArrayBuffer);
  return Buffer.concat([sumOf(code, bytes), code]);
}

/** V8 itself does not look whether its code is whole, nor whose it is. */
function sumOf(code: Uint8Array, bytes: Uint8Array): Buffer {
  const sums = Buffer.alloc(SUM_BYTES);
  sums.writeUInt32LE(crc32(code), 0);
  sums.writeUInt32LE(crc32(bytes), 4);
  return sums;
}
const SUM_BYTES = 8;

/** Functions that V8 offers under a flag. */
const NATIVE = ['allow-natives-syntax'] as const;
const LOAD = '(code, bytes) => %DeserializeWasmModule(code, bytes)';
const KEEP = '(module) => %SerializeWasmModule(module)';
/** Every kernel at once, by the better of V8's compilers. */
const WELL_COMPILED = ['no-liftoff', 'no-wasm-lazy-compilation', 'no-wasm-dynamic-tiering'] as const;

function native(source: string, ...values: unknown[]): unknown {
  return withFlags(NATIVE, () =>
    (new Script(source).runInThisContext() as (...values: unknown[]) => unknown)(...values),
  );
}

/** Kept code holds for the flags it was made with: afterwards they are as before. */
function withFlags<T>(flags: readonly string[], work: () => T): T {
  for (const flag of flags) setFlagsFromString(`--${flag}`);
  try {
    return work();
  } finally {
    for (const flag of flags) setFlagsFromString(flag.startsWith('no-') ? `--${flag.slice(3)}` : `--no-${flag}`);
  }
}
