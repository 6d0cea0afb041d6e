import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { codeCacheOf, compileProgram } from '../src/compiledProgram.ts';

const programText = (body: string): string => `(function (exports, require, module, __filename, __dirname) {${body}})`;
const TEXT = programText('exports.answer = () => require("node:path").basename(__filename) + 1;');

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
  expect(said(program(programText('exports.answer = () => "another text";'), code))).toEqual({
    refused: true,
    answer: 'another text',
  });
});
