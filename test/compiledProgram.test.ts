import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { codeCacheOf, compileProgram } from '../src/compiledProgram.ts';
import { keptKernels, kernelCode, kernelCodeOf, loadKept } from '../src/keptKernels.ts';
import { COMPILED } from '../src/kernels/compiled.ts';
import { skipUnless } from './support/testData.ts';

const programText = (body: string): string => `(function (exports, require, module, __filename, __dirname) {${body}})`;
/** What the real program is handed before anything else. */
const HANDED = 'exports.compileKernelsBy = () => undefined;';
const TEXT = programText(`${HANDED}exports.answer = () => require("node:path").basename(__filename) + 1;`);

let folder = '';
let cases = 0;
let code = Buffer.alloc(0);

/** A program with kept code in a place of its own: V8 remembers by name what it has compiled before. */
function program(text: string, kept: Uint8Array | null): string {
  const place = join(folder, String(++cases));
  mkdirSync(place);
  const file = join(place, 'program.script');
  writeFileSync(file, text);
  if (kept !== null) writeFileSync(codeCacheOf(file), kept);
  return file;
}

/** Whether V8 refused the kept code, and what the program's function says. */
function said(file: string): { readonly refused: boolean | undefined; readonly answer: unknown } {
  const { script, load } = compileProgram(file);
  const { answer } = load() as unknown as { answer: () => unknown };
  return { refused: script.cachedDataRejected, answer: answer() };
}

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-compiled-'));
  code = compileProgram(program(TEXT, null)).script.createCachedData();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('runs the program without kept code and with it', () => {
  expect(said(program(TEXT, null))).toEqual({ refused: undefined, answer: 'program.script1' });
  expect(said(program(TEXT, code))).toEqual({ refused: false, answer: 'program.script1' });
});

it('runs the program all the same where the kept code is of another V8, cut short or nonsense', () => {
  // V8's header: its own mark, then the hash of its version.
  const ofAnotherVersion = Buffer.from(code);
  ofAnotherVersion[4] ^= 0xff;
  for (const wrong of [ofAnotherVersion, code.subarray(0, code.length >> 1), Buffer.alloc(0), Buffer.from('no code')])
    expect(said(program(TEXT, wrong))).toEqual({ refused: true, answer: 'program.script1' });
});

it('refuses kept code of another text', () => {
  expect(said(program(programText(`${HANDED}exports.answer = () => "another text";`), code))).toEqual({
    refused: true,
    answer: 'another text',
  });
});

describe('machine code of the kernels', () => {
  const bytes = Buffer.from(COMPILED, 'base64');

  /** Twice the sum of the squares of 1 to 8, by a kernel of the module that this kept code gives. */
  function sumBy(code: Uint8Array | null): number {
    const file = program(TEXT, null);
    if (code !== null) writeFileSync(kernelCodeOf(file, 'kernels'), code);
    const memory = new WebAssembly.Memory({ initial: 1024, maximum: 65536, shared: true });
    const { exports } = new WebAssembly.Instance(keptKernels(file)(bytes, 'kernels'), { env: { memory } });
    const addIntensity = exports['addIntensity'] as (field: number, count: number, weight: number, sum: number) => void;
    const [field, sum] = [0x2000000, 0x2010000];
    new Float64Array(memory.buffer, field, 8).set([1, 2, 3, 4, 5, 6, 7, 8]);
    addIntensity(field, 4, 2, sum);
    return new Float64Array(memory.buffer, sum, 4).reduce((total, value) => total + value, 0);
  }

  // Another V8 may end the process that asks for it: scripts/build.mjs asks in a process of its own.
  it.skipIf(!process.versions.v8.startsWith('11.'))(
    'gives the same kernels with it, without it, and where it is damaged or cut short',
    () => {
      const code = kernelCode(bytes);
      const file = program(TEXT, null);
      writeFileSync(kernelCodeOf(file, 'kernels'), code);
      expect(loadKept(kernelCodeOf(file, 'kernels'), bytes)).not.toBeNull();
      expect(code.length).toBeGreaterThan(bytes.length);
      const damaged = Uint8Array.from(code);
      damaged[code.length >> 1] ^= 1;
      for (const kept of [code, null, damaged, code.subarray(0, 100), new Uint8Array(0)])
        expect(sumBy(kept)).toBe(2 * (1 + 4 + 9 + 16 + 25 + 36 + 49 + 64));
    },
  );

  /** What V8 under the program's own flags says to the code that the build kept, told by a process of its own. */
  const ASK_BUILT = `
    const { fromSource } = await import(process.argv[1] + 'scripts/fromSource.mjs');
    const modules = ['compiledProgram', 'keptKernels', 'kernels/compiled'];
    const { compileProgram, kernelCodeOf, loadKept, COMPILED, COMPILED_HELPER } = await fromSource(...modules);
    const file = process.argv[1] + 'dist/program.script';
    const { script } = compileProgram(file);
    const kept = [['kernels', COMPILED], ['helper', COMPILED_HELPER]].map(
      ([name, bytes]) => loadKept(kernelCodeOf(file, name), Buffer.from(bytes, 'base64')) !== null);
    console.log(JSON.stringify([script.cachedDataRejected, ...kept]));`;

  it.skipIf(!process.versions.v8.startsWith('11.'))(
    'is kept by the build in a form that the program as it runs takes',
    (context) => {
      const root = fileURLToPath(new URL('..', import.meta.url));
      skipUnless(context, existsSync(`${root}dist/program.script`), 'dist is not built (npm run build)');
      const asked = spawnSync(process.execPath, ['--input-type=module', '--eval', ASK_BUILT, root], {
        encoding: 'utf8',
      });
      expect(asked.stderr).toBe('');
      expect(JSON.parse(asked.stdout)).toEqual([false, true, true]);
    },
  );
});
