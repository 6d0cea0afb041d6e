import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import { readHdus } from '../../src/fits/hdu.ts';
import { type ImageData, readImage } from '../../src/fits/image.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { debianFrame, needPython, realFrame } from '../support/testData.ts';
import { digest, readWithAstropy } from './astropy.ts';
import { fitsFile } from './rawFits.ts';

function readFile(bytes: Uint8Array, hdu = 0, plane = 0): ImageData {
  return readImage(bytes, readHdus(bytes, 'test.fits').hdus[hdu], plane, 'test.fits');
}

const fitsIn = (folder: string): string[] =>
  readdirSync(folder)
    .filter((name) => /\.fits?(\.fz)?$/.test(name))
    .map((name) => join(folder, name));

/** Planes that astropy reads otherwise than we. */
function unlike(paths: readonly string[]): { wrong: string[]; compared: number } {
  const wrong: string[] = [];
  let compared = 0;
  for (const image of readWithAstropy(paths)) {
    (image.planes ?? []).forEach((expected, plane) => {
      const bytes = new Uint8Array(readFileSync(image.file));
      const ours = readImage(bytes, readHdus(bytes, image.file).hdus[image.hdu], plane, image.file);
      compared++;
      if (digest(ours) !== expected || ours.width !== image.width)
        wrong.push(`${image.file}[${image.hdu}] plane ${plane}`);
    });
  }
  return { wrong, compared };
}

describe('real frames, pixel by pixel with astropy', () => {
  it('every image of the shared data', (context) => {
    needPython(context, 'astropy');
    const paths = fitsIn(dirname(realFrame(context, 'm13.fits')));
    const { wrong, compared } = unlike(paths);
    expect(wrong).toEqual([]);
    expect(compared).toBeGreaterThanOrEqual(5);
  });

  it("every image of Debian's frames: scaled, unsigned, 3-D, BLANK, several extensions, compressed", (context) => {
    needPython(context, 'astropy');
    const folder = dirname(debianFrame(context, 'vimos.fits'));
    const { wrong, compared } = unlike([...fitsIn(folder), ...fitsIn(join(folder, 'astropy-fits-tests'))]);
    expect(wrong).toEqual([]);
    expect(compared).toBeGreaterThanOrEqual(28);
  });

  it('m13 and its RICE_1 and GZIP_1 twins have the same pixels', (context) => {
    const digests = [
      ['m13.fits', 0],
      ['m13_rice.fits', 1],
      ['m13_gzip.fits', 1],
    ].map(([name, hdu]) =>
      digest(readFile(new Uint8Array(readFileSync(realFrame(context, String(name)))), Number(hdu))),
    );
    expect(new Set(digests).size).toBe(1);
  });

  it('ngc1316o.fit and comp.fits (RICE_1 of the same pixels) agree', (context) => {
    const plain = readFile(new Uint8Array(readFileSync(debianFrame(context, 'ngc1316o.fit'))));
    const path = debianFrame(context, 'comp.fits');
    expect(existsSync(path)).toBe(true);
    expect(digest(readFile(new Uint8Array(readFileSync(path)), 1))).toBe(digest(plain));
  });
});

describe('pixel types', () => {
  const SAMPLES: PixelArray[] = [
    Uint8Array.of(0, 127, 128, 255, 7, 9),
    Int8Array.of(-128, -1, 0, 1, 126, 127),
    Uint16Array.of(0, 1, 32767, 32768, 65534, 65535),
    Int16Array.of(-32768, -1, 0, 1, 258, 32767),
    Uint32Array.of(0, 1, 2147483647, 2147483648, 4294967294, 4294967295),
    Int32Array.of(-2147483648, -1, 0, 1, 16909060, 2147483647),
    Float32Array.of(-1.5, 0, 1.1754943508222875e-38, 3.25, 1e30, -0),
    Float64Array.of(-1.5, 0, 1e-300, Math.PI, 1e300, -0),
  ];

  it('each array type comes back as itself, odd lengths included', () => {
    for (const pixels of SAMPLES) {
      for (const width of [6, 5, 1]) {
        const part = pixels.slice(0, width);
        const image = readFile(encodeFits({ pixels: part, width, height: 1, cards: [] }));
        expect(image.pixels).toEqual(part);
        expect(image.mask).toBe(null);
      }
    }
  });

  it('pixels stand in the memory of the file: no second copy of a frame', () => {
    for (const pixels of SAMPLES) {
      const bytes = encodeFits({ pixels, width: 3, height: 2, cards: [] });
      expect(readFile(bytes).pixels.buffer).toBe(bytes.buffer);
    }
  });

  it('bytes that begin at an odd place in memory are read the same', () => {
    for (const pixels of SAMPLES) {
      const bytes = encodeFits({ pixels, width: 3, height: 2, cards: [] });
      const shifted = new Uint8Array(bytes.length + 3).subarray(3);
      shifted.set(bytes);
      expect(readFile(shifted).pixels).toEqual(pixels);
    }
  });

  it('BITPIX 64 becomes the nearest doubles, signed and unsigned (BZERO 2^63)', () => {
    const data = new Uint8Array(32);
    const view = new DataView(data.buffer);
    const stored = [-(2n ** 63n), -1n, 9007199254740993n, 2n ** 63n - 1n];
    stored.forEach((each, i) => {
      view.setBigInt64(8 * i, each);
    });
    const cards = ['BITPIX  = 64', 'NAXIS   = 2', 'NAXIS1  = 4', 'NAXIS2  = 1'];
    expect([...readFile(fitsFile(cards, data)).pixels]).toEqual(stored.map(Number));
    const unsigned = [...cards, 'BZERO   = 9223372036854775808'];
    expect([...readFile(fitsFile(unsigned, data)).pixels]).toEqual(stored.map((each) => Number(each + 2n ** 63n)));
  });
});

describe('scaling and pixels without value', () => {
  const data = Uint8Array.of(0, 1, 0x80, 0, 0xff, 0xff, 0, 5);
  const cards = ['BITPIX  = 16', 'NAXIS   = 2', 'NAXIS1  = 4', 'NAXIS2  = 1'];

  it('BLANK is compared with the stored integer, before BZERO (FITS 4.0, section 4.4.2.5)', () => {
    const image = readFile(fitsFile([...cards, 'BZERO   = 32768', 'BLANK   = -32768'], data));
    expect(image.pixels).toEqual(Uint16Array.of(32769, 0, 32767, 32773));
    expect(image.mask).toEqual(Uint8Array.of(0, 1, 0, 0));
    const zero = readFile(fitsFile([...cards, 'BLANK   = 5'], data));
    expect(zero.pixels).toEqual(Int16Array.of(1, -32768, -1, 5));
    expect(zero.mask).toEqual(Uint8Array.of(0, 0, 0, 1));
  });

  it('scaled pixels without value are NaN and masked', () => {
    const image = readFile(fitsFile([...cards, 'BSCALE  = 0.5', 'BZERO   = 10', 'BLANK   = -1'], data));
    expect(image.pixels).toEqual(Float32Array.of(10.5, -16374, NaN, 12.5));
    expect(image.mask).toEqual(Uint8Array.of(0, 0, 1, 0));
  });

  it('NaN and infinities are masked; BLANK says nothing for floating point', () => {
    const image = readFile(
      encodeFits({
        pixels: Float32Array.of(1, NaN, Infinity, -Infinity),
        width: 4,
        height: 1,
        cards: [{ keyword: 'BLANK', value: 1 }],
      }),
    );
    expect(image.mask).toEqual(Uint8Array.of(0, 1, 1, 1));
    expect(image.notes.join()).toContain('BLANK means nothing');
  });

  it('D exponents, decimal commas and quoted numbers scale as they mean', () => {
    for (const bzero of ['3.2768D4', '32768,0', "'32768'", '32768.']) {
      const image = readFile(fitsFile([...cards, `BZERO   = ${bzero}`], data));
      expect(image.pixels).toEqual(Uint16Array.of(32769, 0, 32767, 32773));
    }
  });
});

describe('several HDUs and planes', () => {
  it('a plane of a cube is the plane', () => {
    const pixels = Uint16Array.from({ length: 24 }, (_, i) => i * 1000);
    const bytes = (): Uint8Array => encodeFits({ pixels, width: 4, height: 3, planes: 2, cards: [] });
    expect(readFile(bytes(), 0, 0).pixels).toEqual(pixels.slice(0, 12));
    expect(readFile(bytes(), 0, 1).pixels).toEqual(pixels.slice(12));
  });

  it('extensions after an empty primary are found', () => {
    const image = { pixels: Int16Array.of(1, 2, 3, 4), width: 2, height: 2, cards: [] };
    const bytes = joinHdus([
      encodeEmptyPrimary([]),
      encodeExtension(image),
      encodeExtension({ ...image, pixels: Int16Array.of(5, 6, 7, 8) }),
    ]);
    expect(readHdus(bytes, 'x').hdus.map((hdu) => hdu.kind)).toEqual(['image', 'image', 'image']);
    expect(readFile(bytes, 2).pixels).toEqual(Int16Array.of(5, 6, 7, 8));
  });
});
