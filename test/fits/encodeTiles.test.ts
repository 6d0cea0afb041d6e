import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { encodeFitsTiled } from '../../src/fits/encodeTiles.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { type RiceArray, riceDecode } from '../../src/fits/rice.ts';
import { riceEncode } from '../../src/fits/riceEncode.ts';
import { needProgram, needPython } from '../support/testData.ts';
import { digest, readWithAstropy } from './astropy.ts';
import { noise, starLike } from './samplePixels.ts';

const WIDTH = 83;
const N = WIDTH * 61;
const SAMPLES: Record<string, PixelArray> = {
  u8: noise(new Uint8Array(N), 0, 255),
  i16: starLike(new Int16Array(N), WIDTH),
  u16: noise(new Uint16Array(N), 0, 65535),
  i32: noise(new Int32Array(N), -2147483648, 2147483647),
  u32: noise(new Uint32Array(N), 0, 4294967295),
  f32: starLike(new Float32Array(N), WIDTH),
  f64: starLike(new Float64Array(N), WIDTH),
  flat: new Int16Array(N).fill(-300),
};

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-tiles-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function writeAll(): { path: string; pixels: PixelArray }[] {
  return Object.entries(SAMPLES).flatMap(([name, pixels]) => {
    const float = pixels instanceof Float32Array || pixels instanceof Float64Array;
    return (['RICE_1', 'GZIP_1', 'GZIP_2'] as const)
      .filter((codec) => !(float && codec === 'RICE_1'))
      .flatMap((codec) =>
        [{}, { tileWidth: 20, tileHeight: 20 }].map((tile, index) => {
          const path = join(folder, `${name}-${codec}-${index}.fits`);
          writeFileSync(path, encodeFitsTiled({ pixels, width: WIDTH, height: 61, codec, cards: [], ...tile }));
          return { path, pixels };
        }),
      );
  });
}

it('what we compress, astropy reads as the original and fitsverify passes', (context) => {
  needPython(context, 'astropy');
  needProgram(context, 'fitsverify');
  const files = writeAll();
  const read = readWithAstropy(files.map((file) => file.path));
  expect(read.map((image) => image.planes)).toEqual(files.map((file) => [digest({ pixels: file.pixels, mask: null })]));
  const verify = spawnSync('fitsverify', ['-q', ...files.map((file) => file.path)], { encoding: 'utf8' });
  expect(verify.stdout.split('\n').filter((line) => line !== '' && !line.startsWith('verification OK'))).toEqual([]);
});

it('Rice coding gives back every width, block size and length, extreme differences included', () => {
  const arrays: RiceArray[] = [1, 2, 31, 32, 33, 1000].flatMap((n) => [
    noise(new Uint8Array(n), 0, 255, n),
    noise(new Int16Array(n), -32768, 32767, n),
    noise(new Int32Array(n), -2147483648, 2147483647, n),
    noise(new Int16Array(n), -3, 3, n),
    Int16Array.from({ length: n }, (_, i) => (i % 2 === 0 ? -32768 : 32767)),
    Int32Array.from({ length: n }, (_, i) => (i % 64 < 32 ? 5 : (i * 7919) | 0)),
  ]);
  for (const block of [16, 32]) {
    for (const pixels of arrays) {
      const back = pixels.slice();
      back.fill(0);
      expect(riceDecode(riceEncode(pixels, block), back, block)).toBe(null);
      expect(back).toEqual(pixels);
    }
  }
});
