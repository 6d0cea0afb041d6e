import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { encodeFits, encodeFitsGz } from '../../src/fits/encode.ts';
import { encodeFitsTiled } from '../../src/fits/encodeTiles.ts';
import { type Wholeness, wholenessOf } from '../../src/live/settled.ts';
import { debianFrame } from '../support/testData.ts';

const FIXTURES = fileURLToPath(new URL('../fixtures/fits', import.meta.url));

/** What is said of the first `size` bytes, as if the rest were still to be written. */
function afterBytes(file: Uint8Array, size: number): Promise<Wholeness> {
  const written = file.subarray(0, size);
  const read = (offset: number, length: number): Promise<Uint8Array> =>
    Promise.resolve(written.subarray(offset, offset + length));
  return wholenessOf(read, size, 'growing.fits');
}

const image = {
  pixels: Uint16Array.from({ length: 90 * 70 }, (_, i) => 900 + ((i * 7919) % 331)),
  width: 90,
  height: 70,
  // More cards than one header block holds (FITS 4.0, sec. 3.3.1: 36 of 80 bytes).
  cards: Array.from({ length: 60 }, (_, i) => ({ keyword: `CARD${i}`, value: i })),
};

describe('a FITS file is as long as its headers imply (FITS 4.0, sec. 3.1, 3.3.1 and 4.4.1)', () => {
  const plain = encodeFits(image);
  const tiled = encodeFitsTiled({ ...image, codec: 'RICE_1' });

  it.each([
    ['plain', plain],
    ['tile-compressed', tiled],
  ])('%s: whole at its last byte, never before', async (_kind, file) => {
    expect((await afterBytes(file, file.length)).state).toBe('whole');
    const lengths = fc.integer({ min: 0, max: file.length - 1 });
    await fc.assert(
      fc.asyncProperty(lengths, async (size) => {
        expect((await afterBytes(file, size)).state).not.toBe('whole');
      }),
      { numRuns: 400 },
    );
  });

  it('without its last padding it counts once it is quiet', async () => {
    const data = 2880 * Math.floor((plain.length - 1) / 2880) + 1;
    expect((await afterBytes(plain, data - 1)).state).toBe('growing');
    const promised = plain.length - ((plain.length - 1) % 2880) - 1 + ((90 * 70 * 2) % 2880);
    expect((await afterBytes(plain, promised)).state).toBe('when-quiet');
    expect((await afterBytes(plain, promised - 1)).state).toBe('growing');
  });

  it('bytes behind the last HDU belong to nobody (sec. 3.6), unless they begin an extension', async () => {
    const and = (text: string): Uint8Array => Buffer.concat([plain, Buffer.from(text)]);
    expect((await afterBytes(and('something else'), plain.length + 14)).state).toBe('whole');
    expect((await afterBytes(and('XTEN'), plain.length + 4)).state).toBe('when-quiet');
    expect((await afterBytes(and("XTENSION= 'IMAGE   '"), plain.length + 20)).state).toBe('growing');
  });

  it('says how long it must become', async () => {
    expect(await afterBytes(plain, plain.length - 3000)).toEqual({ state: 'growing', needs: plain.length });
  });

  it('a primary header without an image waits for the extension', async () => {
    expect((await afterBytes(tiled, 2880)).state).toBe('growing');
  });

  it('files that cfitsio wrote are whole', async () => {
    const names = readdirSync(FIXTURES).filter((name) => name.endsWith('.fz'));
    const files = names.map((name) => new Uint8Array(readFileSync(join(FIXTURES, name))));
    expect(files.length).toBeGreaterThan(2);
    for (const file of files.filter((bytes) => bytes.length > 0))
      expect((await afterBytes(file, file.length)).state).toBe('whole');
  });

  it('real frames of several HDUs are whole, and not before their last one', async (context) => {
    const file = new Uint8Array(readFileSync(debianFrame(context, 'vimos.fits')));
    expect((await afterBytes(file, file.length)).state).toBe('whole');
    expect((await afterBytes(file, file.length - 2881)).state).not.toBe('whole');
  });
});

describe('other files', () => {
  it('gzip tells nothing: it counts once it is quiet', async () => {
    const packed = encodeFitsGz(image);
    expect((await afterBytes(packed, packed.length)).state).toBe('when-quiet');
  });

  it('a PNG file ends with IEND (ISO/IEC 15948, sec. 11.2.5)', async () => {
    const png = new Uint8Array(readFileSync(new URL('../../samples/demo-field.png', import.meta.url)));
    expect((await afterBytes(png, png.length)).state).toBe('whole');
    expect((await afterBytes(png, png.length - 1)).state).toBe('growing');
  });

  it('an empty file is only begun', async () => {
    expect((await afterBytes(new Uint8Array(0), 0)).state).toBe('growing');
  });
});
