import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { loadFrame, resolveFrameArguments } from '../../src/commands/frames.ts';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import { noise } from '../fits/samplePixels.ts';

let folder = '';
const IMAGE = { pixels: noise(new Uint16Array(48), 0, 65535), width: 8, height: 6, cards: [] };
const at = (name: string): string => join(folder, name);

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-arguments-'));
  const several = joinHdus([
    encodeEmptyPrimary([]),
    encodeExtension(IMAGE),
    encodeExtension({ ...IMAGE, pixels: IMAGE.pixels.map((v) => v ^ 1) }),
  ]);
  writeFileSync(at('b.fits'), encodeFits(IMAGE));
  writeFileSync(at('a.FIT'), several);
  writeFileSync(at('c.fits.gz'), gzipSync(encodeFits(IMAGE)));
  writeFileSync(at('b.fits[1]'), encodeFits({ ...IMAGE, pixels: new Uint16Array(48) }));
  writeFileSync(at('notes.txt'), 'no frame');
  writeFileSync(at('.hidden.fits'), 'no frame');
  mkdirSync(at('empty'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('frame arguments (report-contract.md, Commands)', () => {
  it('a folder stands for its frames in the order of their names', async () => {
    const list = await resolveFrameArguments([folder]);
    expect(list.map((each) => each.path)).toEqual(['a.FIT', 'b.fits', 'c.fits.gz'].map(at));
  });

  it('FILE[n] names an extension; a file literally so named wins', async () => {
    expect(await resolveFrameArguments([at('a.FIT[2]'), at('b.fits[1]')])).toEqual([
      { name: at('a.FIT[2]'), path: at('a.FIT'), extension: 2 },
      { name: at('b.fits[1]'), path: at('b.fits[1]') },
    ]);
    const frame = await loadFrame((await resolveFrameArguments([at('a.FIT[2]')]))[0]);
    expect(frame.name).toBe(at('a.FIT[2]'));
    expect(frame.pixels.data).toEqual(IMAGE.pixels.map((v) => v ^ 1));
  });

  it('a folder without frames is said', async () => {
    await expect(resolveFrameArguments([at('empty')])).rejects.toThrow(/no FITS, PNG or TIFF file in this folder/);
  });

  it.each([
    ['nosuch.fits', /nosuch\.fits: no such file/],
    ['nosuch.fits[3]', /nosuch\.fits: no such file/],
    ['notes.txt', /not a FITS file: byte 0 should begin 'SIMPLE {2}='/],
    ['b.fits[0]', null],
    ['a.FIT[7]', /extension 7 holds no two-dimensional image; the file has \[0\] no image data, \[1\] image 8 x 6/],
  ])('%s', async (name, message) => {
    const [argument] = await resolveFrameArguments([at(name)]);
    if (message === null) expect((await loadFrame(argument)).pixels.data).toEqual(IMAGE.pixels);
    else {
      await expect(loadFrame(argument)).rejects.toThrow(message);
      await expect(loadFrame(argument)).rejects.toMatchObject({ exitCode: 3 });
    }
  });

  it('a .gz file is the file inside', async () => {
    expect((await loadFrame({ name: 'c', path: at('c.fits.gz') })).pixels.data).toEqual(IMAGE.pixels);
  });

  it('a machine without memory for a frame says so', async () => {
    const full = {
      readFile: () => Promise.reject(new RangeError('unused')),
      kindOf: () => Promise.resolve('file' as const),
      listFolder: () => Promise.resolve([]),
    };
    const bytes = new Uint8Array(encodeFits({ ...IMAGE, pixels: Float64Array.from(IMAGE.pixels) }));
    // A typed array that finds no memory, wherever it is asked for.
    Object.defineProperty(bytes, 'buffer', {
      get: () => {
        throw new RangeError('Array buffer allocation failed');
      },
    });
    const load = loadFrame({ name: 'b', path: 'b' }, { ...full, readFile: () => Promise.resolve(bytes) });
    await expect(load).rejects.toThrow('b: its header promises more pixels than this machine has memory for');
    await expect(load).rejects.toMatchObject({ exitCode: 3 });
  });

  it('inputs are only read: bytes and times of the file stay as they were', async () => {
    const before = [readFileSync(at('b.fits')).toString('hex'), statSync(at('b.fits')).mtimeMs];
    await loadFrame({ name: 'b', path: at('b.fits') });
    expect([readFileSync(at('b.fits')).toString('hex'), statSync(at('b.fits')).mtimeMs]).toEqual(before);
  });
});
