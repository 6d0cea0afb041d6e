import { spawnSync } from 'node:child_process';
import {
  closeSync,
  ftruncateSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { loadFrame } from '../src/commands/frames.ts';
import { UserError } from '../src/errors.ts';
import { encodeFits } from '../src/fits/encode.ts';
import type { PixelArray } from '../src/fits/pixels.ts';
import { fitsFile, rawHeader } from './fits/rawFits.ts';
import { noise } from './fits/samplePixels.ts';
import { needPython, PYTHON, skipUnless } from './support/testData.ts';

/** Pains that users of other programs have put on record, and how ours answers; each names where it was reported. */

const W = 37;
const H = 29;
let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-pains-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const at = (name: string): string => join(folder, name);

async function load(name: string, bytes: Uint8Array): ReturnType<typeof loadFrame> {
  writeFileSync(at(name), bytes);
  return loadFrame({ name, path: at(name) });
}

describe('pain 6: big-endian and 16-bit pixels rejected, or wrong after a swap of bytes (sep#57, #23, #50)', () => {
  it('every stored type over its whole range is bit-equal to what cfitsio reads', async (context) => {
    needPython(context, 'ctypes');
    const wide = new Uint8Array(8 * W * H);
    noise(new Uint8Array(wide.buffer), 0, 255);
    const arrays: PixelArray[] = [
      noise(new Uint8Array(W * H), 0, 255),
      noise(new Int8Array(W * H), -128, 127),
      noise(new Uint16Array(W * H), 0, 65535),
      noise(new Int16Array(W * H), -32768, 32767),
      noise(new Uint32Array(W * H), 0, 4294967295),
      noise(new Int32Array(W * H), -2147483648, 2147483647),
      noise(new Float32Array(W * H), -1e6, 1e6),
      noise(new Float64Array(W * H), -1e6, 1e6),
    ];
    const files = [
      ...arrays.map((pixels) => encodeFits({ pixels, width: W, height: H, cards: [] })),
      fitsFile(['BITPIX  = 64', 'NAXIS   = 2', `NAXIS1  = ${W}`, `NAXIS2  = ${H}`], wide),
    ];
    const lines: string[] = [];
    for (const [i, bytes] of files.entries()) {
      const path = at(`type${i}.fits`);
      writeFileSync(path, bytes);
      lines.push(`${path}\t0\t${path}.pixels`);
    }
    writeFileSync(at('list'), lines.join('\n'));
    const script = fileURLToPath(new URL('../scripts/reference/cfitsio_pixels.py', import.meta.url));
    const run = spawnSync(PYTHON, [script, at('list')], { encoding: 'utf8' });
    skipUnless(context, run.status === 0, 'the cfitsio library could not be loaded');
    expect(run.stdout.trim().split('\n')).toEqual(files.map(() => 'ok'));
    for (const i of files.keys()) {
      const raw = readFileSync(at(`type${i}.fits.pixels`));
      const theirs = new Float64Array(raw.buffer.slice(raw.byteOffset + 16, raw.byteOffset + raw.length));
      const ours = await loadFrame({ name: 'x', path: at(`type${i}.fits`) });
      expect(Float64Array.from(ours.pixels.data)).toEqual(theirs);
    }
  });
});

describe('pain 7: integers become float64 because of BLANK or BZERO (astropy#7789)', () => {
  it('16-bit pixels with BZERO and BLANK stay 16-bit, with a mask beside them', async () => {
    const pixels = noise(new Uint16Array(W * H), 1, 65535);
    pixels[70] = 0;
    const frame = await load(
      'blank.fits',
      encodeFits({ pixels, width: W, height: H, cards: [{ keyword: 'BLANK', value: -32768 }] }),
    );
    expect(frame.pixels.data).toEqual(pixels);
    expect(frame.mask?.indexOf(1)).toBe(70);
    expect(frame.mask?.lastIndexOf(1)).toBe(70);
  });
});

describe('pain 8: one odd card makes a file or a whole batch unreadable (astropy#3829, #9003, #5732; ccdproc#607)', () => {
  it('odd cards become notes, the pixels are read', async () => {
    const odd = [
      'SITELAT = 47,25',
      "TEMP    = '-10 \xb0C'",
      'FILTER  =',
      "OBJECT  = 'open",
      'GAIN    = 12 e-/ADU',
      'lower   = 5',
      '\x01\x02\x03',
    ];
    const cards = ['BITPIX  = 16', 'NAXIS   = 2', 'NAXIS1  = 4', 'NAXIS2  = 2', ...odd];
    const frame = await load(
      'odd.fits',
      fitsFile(
        cards,
        Uint8Array.from({ length: 16 }, (_, i) => i),
      ),
    );
    expect(frame.pixels.data).toEqual(Int16Array.of(0x0001, 0x0203, 0x0405, 0x0607, 0x0809, 0x0a0b, 0x0c0d, 0x0e0f));
    expect(frame.notes.length).toBeGreaterThanOrEqual(5);
  });

  it('an unreadable file is an error of its own, with exit code 3: the next one is read', async () => {
    await expect(load('bad.fits', rawHeader(['SIMPLE  = T', 'BITPIX  = 17']))).rejects.toMatchObject({ exitCode: 3 });
    const pixels = noise(new Uint16Array(W * H), 0, 65535);
    expect((await load('good.fits', encodeFits({ pixels, width: W, height: H, cards: [] }))).pixels.data).toEqual(
      pixels,
    );
  });
});

describe('pain 9: a half-written file gives a puzzling TypeError, and handles stay open (astropy#13356, #7404, #4196, #7440)', () => {
  const whole = encodeFits({ pixels: noise(new Uint16Array(W * H), 0, 65535), width: W, height: H, cards: [] });

  it('wherever the file ends, the message says so; lost padding alone is no harm', async () => {
    const said = new Set<string>();
    for (let length = 0; length < whole.length; length += 97) {
      const message = await load('cut.fits', whole.slice(0, length)).then(
        () => 'read',
        (error: unknown) => (error instanceof UserError ? error.message : `wrong kind of error: ${String(error)}`),
      );
      const complete = length >= 2880 + 2 * W * H;
      if (complete) expect(message).toBe('read');
      else
        expect(message).toMatch(
          /the file is empty|not a FITS file|inside the header.*still being written|file ends at row \d+ of 29.*still being written/,
        );
      said.add(message.replace(/\d+/g, 'n').replace(/^.*cut\.fits/, ''));
    }
    expect(said.size).toBe(4);
  });

  it('no file handle is left open, whatever happened', async (context) => {
    skipUnless(context, process.platform === 'linux', 'open handles are counted in /proc');
    const open = (): number => readdirSync('/proc/self/fd').length;
    const before = open();
    for (let length = 0; length < whole.length; length += 500)
      await load('cut.fits', whole.slice(0, length)).catch(() => null);
    expect(open()).toBe(before);
  });
});

describe('pain 10: memory on large frames (photutils#1643, #1316)', () => {
  it('a frame of 61 megapixels takes the memory of its file and no second copy', async () => {
    const [width, height] = [9576, 6388];
    const header = rawHeader([
      'SIMPLE  = T',
      'BITPIX  = 16',
      'NAXIS   = 2',
      `NAXIS1  = ${width}`,
      `NAXIS2  = ${height}`,
      'BZERO   = 32768',
    ]);
    const size = header.length + 2 * width * height;
    const file = openSync(at('large.fits'), 'w');
    writeSync(file, header);
    // The rest is a hole of zeros: 32768 everywhere.
    ftruncateSync(file, size);
    closeSync(file);
    const before = process.memoryUsage().arrayBuffers;
    const frame = await loadFrame({ name: 'large.fits', path: at('large.fits') });
    const taken = process.memoryUsage().arrayBuffers - before;
    expect(frame.pixels.data).toBeInstanceOf(Uint16Array);
    expect(frame.pixels.get(height - 1, width - 1)).toBe(32768);
    expect(taken).toBeLessThan(1.02 * size);
  });
});
