import { spawnSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { cardText } from '../../src/fits/cardText.ts';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { needProgram } from '../support/testData.ts';

const folder = mkdtempSync(join(tmpdir(), 'starplumb-encode-'));

/** Extreme and ordinary values of each type. */
const SAMPLES: Record<string, PixelArray> = {
  u8: Uint8Array.of(0, 1, 127, 128, 254, 255),
  i8: Int8Array.of(-128, -1, 0, 1, 126, 127),
  u16: Uint16Array.of(0, 1, 32767, 32768, 65534, 65535),
  i16: Int16Array.of(-32768, -1, 0, 1, 258, 32767),
  u32: Uint32Array.of(0, 1, 2147483647, 2147483648, 4294967294, 4294967295),
  i32: Int32Array.of(-2147483648, -1, 0, 1, 16909060, 2147483647),
  f32: Float32Array.of(-1.5, 0, 1e-38, 3.25, NaN, Infinity),
  f64: Float64Array.of(-1.5, 0, 1e-300, Math.PI, NaN, -Infinity),
};

const CARDS = [
  { keyword: 'OBJECT', value: "Bel's field / north", comment: 'quotes and a slash' },
  { keyword: 'EXPTIME', value: 12.5, comment: 'seconds' },
  { keyword: 'FOCALLEN', value: 800 },
  { keyword: 'TINY', value: 1.25e-7 },
  { keyword: 'FLAG', value: false },
  { keyword: 'LONGSTR', value: `${"it's long ".repeat(30)}end` },
  { keyword: 'HISTORY', value: 'drawn for a test '.repeat(8) },
];

describe('encodeFits', () => {
  it('writes files that fitsverify passes without error or warning, for every pixel type (FITS 4.0 checked by HEASARC fitsverify)', (context) => {
    needProgram(context, 'fitsverify');
    const paths = Object.entries(SAMPLES).map(([name, pixels]) => {
      const path = join(folder, `${name}.fits`);
      writeFileSync(path, encodeFits({ pixels, width: 3, height: 2, cards: CARDS }));
      return path;
    });
    const several = join(folder, 'several.fits');
    const image = { pixels: SAMPLES['u16'] ?? new Uint16Array(0), width: 3, height: 1, planes: 2, cards: CARDS };
    writeFileSync(several, joinHdus([encodeEmptyPrimary(CARDS), encodeExtension(image), encodeExtension(image)]));
    const run = spawnSync('fitsverify', ['-q', ...paths, several], { encoding: 'utf8' });
    expect(run.stdout.trim().split('\n')).toEqual(
      [...paths, several].map((path) => expect.stringMatching(new RegExp(`^verification OK: ${path}`)) as string),
    );
  });

  it('writes pixels big-endian with the BZERO of the unsigned convention (FITS 4.0, table 11)', () => {
    const bytes = encodeFits({ pixels: Uint16Array.of(0, 1, 32768, 65535), width: 4, height: 1, cards: [] });
    expect(bytes.length).toBe(2 * 2880);
    expect([...bytes.subarray(2880, 2888)]).toEqual([0x80, 0, 0x80, 1, 0, 0, 0x7f, 0xff]);
    expect(new TextDecoder().decode(bytes.subarray(0, 2880))).toContain('BZERO   =                32768');
  });

  it('refuses structural cards, wrong sizes and text that FITS cannot hold', () => {
    const image = { pixels: new Uint8Array(4), width: 2, height: 2 };
    expect(() => encodeFits({ ...image, cards: [{ keyword: 'NAXIS1', value: 3 }] })).toThrow('NAXIS1');
    expect(() => encodeFits({ ...image, width: 3, cards: [] })).toThrow('pixels holds 4 values');
    expect(() => encodeFits({ ...image, cards: [{ keyword: 'SITE', value: 'Žižkov' }] })).toThrow('SITE');
    expect(() => encodeFits({ ...image, cards: [{ keyword: 'GAIN', value: NaN }] })).toThrow('NaN');
  });
});

describe('cardText', () => {
  it('writes each kind of value in fixed format (FITS 4.0, section 4.2)', () => {
    const text = (value: string | number | boolean | null): string => cardText({ keyword: 'KEY', value }).trimEnd();
    expect(text(true)).toBe('KEY     =                    T');
    expect(text(-7)).toBe('KEY     =                   -7');
    expect(text(1e-7)).toBe('KEY     =               1.0E-7');
    expect(text(0.1)).toBe('KEY     =                  0.1');
    expect(text("o'clock")).toBe("KEY     = 'o''clock'");
    expect(text(null)).toBe('KEY     =');
  });

  it('never cuts a doubled quote at a CONTINUE', () => {
    for (let before = 60; before < 72; before++) {
      const text = cardText({ keyword: 'KEY', value: `${'a'.repeat(before)}${"'".repeat(9)}` });
      const parts = (text.match(/.{80}/g) ?? []).map((card) => /'(.*)'/.exec(card)?.[1]?.replace(/&$/, '') ?? '');
      expect(parts.every((part) => (/'*$/.exec(part)?.[0].length ?? 0) % 2 === 0)).toBe(true);
      expect(parts.join('').replaceAll("''", "'")).toBe(`${'a'.repeat(before)}${"'".repeat(9)}`);
    }
  });
});
