import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { UserError } from '../../src/errors.ts';
import { type CardToWrite, cardText } from '../../src/fits/cardText.ts';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import { encodeFitsTiled } from '../../src/fits/encodeTiles.ts';
import { inflateFits } from '../../src/fits/gzipFile.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { fitsFile, join, latin1, padded, rawHeader } from './rawFits.ts';
import { noise, starLike } from './samplePixels.ts';

/** One file per kind of damage that broke a trusted reader (links in the names), and more of the same kind. */

const W = 8;
const H = 6;
const PIXELS = noise(new Uint16Array(W * H), 0, 65535);
const IMAGE = { pixels: PIXELS, width: W, height: H, cards: [] };
const sound = (cards: readonly CardToWrite[] = []): Uint8Array => encodeFits({ ...IMAGE, cards });
const tiled = (codec: 'RICE_1' | 'GZIP_1' | 'GZIP_2' = 'RICE_1'): Uint8Array =>
  encodeFitsTiled({ pixels: starLike(new Int16Array(W * H), W), width: W, height: H, codec, cards: [] });
const fixture = (name: string): Uint8Array =>
  new Uint8Array(readFileSync(fileURLToPath(new URL(`../fixtures/fits/${name}`, import.meta.url))));

/** The bytes with the first card of a keyword replaced (from byte `from` on). */
function replaced(bytes: Uint8Array, keyword: string, card: string, from = 0): Uint8Array {
  const out = bytes.slice();
  for (let at = from; at < out.length; at += 80) {
    if (
      Buffer.from(out.subarray(at, at + 8))
        .toString('latin1')
        .trimEnd() !== keyword
    )
      continue;
    out.set(latin1(card.padEnd(80).slice(0, 80)), at);
    return out;
  }
  throw new Error(`no card ${keyword}`);
}

/** First place of a byte pattern. */
const find = (bytes: Uint8Array, text: string): number => Buffer.from(bytes).indexOf(text, 0, 'latin1');

const u16Cards = ['BITPIX  = 16', 'NAXIS   = 2', `NAXIS1  = ${W}`, `NAXIS2  = ${H}`, 'BZERO   = 32768'];
const data = (): Uint8Array => sound().slice(2880, 2880 + 2 * W * H);

interface Refused {
  readonly what: string;
  readonly bytes: () => Uint8Array;
  readonly says: RegExp;
}

const REFUSED: Refused[] = [
  { what: 'an empty file', bytes: () => new Uint8Array(0), says: /the file is empty \(0 bytes\)/ },
  { what: 'one byte', bytes: () => Uint8Array.of(83), says: /not a FITS file: byte 0/ },
  { what: 'a JPEG', bytes: () => Uint8Array.of(0xff, 0xd8, 0xff, 0xe0), says: /looks like JPEG/ },
  {
    what: 'a header without END',
    bytes: () => latin1('SIMPLE  =                    T'.padEnd(2880)),
    says: /file ends at byte 2880 inside the header/,
  },
  {
    what: 'a gigabyte of header in the making',
    bytes: () =>
      latin1(
        cardText({ keyword: 'SIMPLE', value: true }) + cardText({ keyword: 'HISTORY', value: 'again' }).repeat(100_001),
      ),
    says: /no END card in the 100000 cards after byte 0/,
  },
  {
    what: 'a file cut in a row (astropy#13356, #8766)',
    bytes: () => sound().slice(0, 2880 + 2 * W * 4 + 5),
    says: /file ends at row 4 of 6 \(byte 2949, 2976 expected\): still being written/,
  },
  {
    what: 'BITPIX 17',
    bytes: () => replaced(sound(), 'BITPIX', 'BITPIX  = 17'),
    says: /card BITPIX \(byte 80\) holds 17, expected one of 8, 16/,
  },
  {
    what: 'a logical where a number belongs',
    bytes: () => replaced(sound(), 'NAXIS1', 'NAXIS1  = T'),
    says: /card NAXIS1 \(byte 240\) holds true/,
  },
  {
    what: 'NAXIS -1',
    bytes: () => replaced(sound(), 'NAXIS', 'NAXIS   = -1'),
    says: /card NAXIS \(byte 160\) holds -1, expected a whole number 0 to 999/,
  },
  {
    what: 'negative NAXIS1 (cfitsio < 4.6.0)',
    bytes: () => replaced(sound(), 'NAXIS1', 'NAXIS1  = -8'),
    says: /card NAXIS1 \(byte 240\) holds -8/,
  },
  {
    what: 'NAXIS1 1.5',
    bytes: () => replaced(sound(), 'NAXIS1', 'NAXIS1  = 1.5'),
    says: /card NAXIS1 .* holds 1.5, expected a whole number/,
  },
  { what: 'a missing NAXIS2', bytes: () => replaced(sound(), 'NAXIS2', ''), says: /has no NAXIS2 card with a value/ },
  {
    what: 'more pixels than the file has',
    bytes: () => replaced(sound(), 'NAXIS2', 'NAXIS2  = 1000000'),
    says: /file ends at row \d+ of 1000000/,
  },
  {
    what: 'a product of axes beyond 2^53',
    bytes: () =>
      replaced(replaced(sound(), 'NAXIS1', 'NAXIS1  = 9007199254740991'), 'NAXIS2', 'NAXIS2  = 9007199254740991'),
    says: /more than any file can hold/,
  },
  {
    what: 'BSCALE 0',
    bytes: () => sound().slice() && replaced(sound(), 'BSCALE', 'BSCALE  = 0'),
    says: /card BSCALE \(byte 480\) holds 0/,
  },
  {
    what: 'BZERO as a word',
    bytes: () => replaced(sound(), 'BZERO', "BZERO   = 'much'"),
    says: /card BZERO \(byte 560\) holds 'much', expected a number/,
  },
  {
    what: 'a header only',
    bytes: () => encodeEmptyPrimary([]),
    says: /no two-dimensional image in it; the file has \[0\] no image data/,
  },
  {
    what: 'a spectrum',
    bytes: () => fitsFile(['BITPIX  = 8', 'NAXIS   = 1', 'NAXIS1  = 100'], new Uint8Array(100)),
    says: /no two-dimensional image/,
  },
  {
    what: "XTENSION 'BINTABLEX' with NAXIS 0 (fitsverify, cfitsio PR#167)",
    bytes: () =>
      join(encodeEmptyPrimary([]), rawHeader(["XTENSION= 'BINTABLEX'", 'BITPIX  = 8', 'NAXIS   = 0', 'ZIMAGE  = T'])),
    says: /no two-dimensional image in it; the file has \[0\] no image data, \[1\] other/,
  },
  {
    what: "XTENSION 'BINTABLE' with NAXIS 1",
    bytes: () =>
      join(
        encodeEmptyPrimary([]),
        rawHeader([
          "XTENSION= 'BINTABLE'",
          'BITPIX  = 8',
          'NAXIS   = 1',
          'NAXIS1  = 8',
          'ZIMAGE  = T',
          'ZBITPIX = 16',
          'ZNAXIS  = 2',
          'ZNAXIS1 = 1',
          'ZNAXIS2 = 0',
        ]),
        new Uint8Array(2880),
      ),
    says: /extension 1 is a table of 1 axes, expected 2/,
  },
  {
    what: 'a compressed table of strings, no image (cfitsio#134)',
    bytes: () =>
      join(
        encodeEmptyPrimary([]),
        rawHeader([
          "XTENSION= 'BINTABLE'",
          'BITPIX  = 8',
          'NAXIS   = 2',
          'NAXIS1  = 8',
          'NAXIS2  = 1',
          'TFIELDS = 1',
          "TFORM1  = '1PA(9)'",
          'ZTABLE  = T',
        ]),
        new Uint8Array(2880),
      ),
    says: /\[1\] table/,
  },
  {
    what: 'HCOMPRESS_1, whose stream names its own size (cfitsio#131)',
    bytes: () => fixture('i16-hcompress.fits.fz'),
    says: /compressed with HCOMPRESS_1 \(card ZCMPTYPE, byte \d+\).*funpack/,
  },
  { what: 'PLIO_1', bytes: () => fixture('i16-plio.fits.fz'), says: /compressed with PLIO_1 .*funpack/ },
  {
    what: 'a very long card value that lands in the message (cfitsio#132, CVE-2018-3846)',
    bytes: () => {
      const long = cardText({ keyword: 'ZCMPTYPE', value: 'X'.repeat(500_000) });
      const bytes = tiled();
      const at = find(bytes, 'ZCMPTYPE');
      const head = join(
        bytes.subarray(0, at),
        latin1(long),
        bytes.subarray(at + 80, find(bytes, `END${' '.repeat(77)}`) + 2880),
      );
      return join(head, latin1('END'.padEnd(80)), new Uint8Array(2880 * 4));
    },
    says: /^bad\.fits: (?=.{0,700}$)/s,
  },
  {
    what: 'a heap larger than the file (astropy#9715, #541)',
    bytes: () => tiled().slice(0, tiled().length - 2880),
    says: /file ends at byte \d+ inside the table|the file ends at byte \d+, before the tile/,
  },
  {
    what: 'PCOUNT -1',
    bytes: () => replaced(tiled(), 'PCOUNT', 'PCOUNT  = -1'),
    says: /card PCOUNT \(byte \d+\) holds -1/,
  },
  {
    what: 'ZNAXIS1 far beyond the tiles',
    bytes: () => replaced(tiled(), 'ZNAXIS1', 'ZNAXIS1 = 2000000000'),
    says: /has 6 rows of compressed data, its tiles need/,
  },
  {
    what: 'ZTILE1 0',
    bytes: () => replaced(tiled(), 'ZTILE1', 'ZTILE1  = 0'),
    says: /card ZTILE1 \(byte \d+\) holds 0/,
  },
  {
    what: 'BYTEPIX 8',
    bytes: () => replaced(tiled(), 'ZVAL2', 'ZVAL2   = 8'),
    says: /card ZVAL2 .*BYTEPIX is 8, expected 1 or 2 or 4/,
  },
  { what: 'BLOCKSIZE 0', bytes: () => replaced(tiled(), 'ZVAL1', 'ZVAL1   = 0'), says: /card ZVAL1 .*BLOCKSIZE is 0/ },
  {
    what: 'a column of no known format',
    bytes: () => replaced(tiled(), 'TFORM1', "TFORM1  = 'pixels'"),
    says: /card TFORM1 of extension 1 holds 'pixels'/,
  },
  {
    what: 'columns that do not fill the row',
    bytes: () => replaced(tiled(), 'TFORM1', "TFORM1  = '1QB(9)'"),
    says: /take 16 bytes a row, its NAXIS1 says 8/,
  },
  {
    what: 'a descriptor that points beyond the heap',
    bytes: () => {
      const bytes = tiled();
      const table = bytes.length - 2880;
      new DataView(bytes.buffer).setInt32(table + 4, 1_000_000);
      return bytes;
    },
    says: /compressed tile 1 \(rows 0 to 0, table row at byte \d+\): its descriptor points .* outside the heap/,
  },
  {
    what: 'a descriptor with a negative count',
    bytes: () => {
      const bytes = tiled();
      new DataView(bytes.buffer).setInt32(bytes.length - 2880 + 8, -5);
      return bytes;
    },
    says: /compressed tile 2 .*outside the heap/,
  },
  {
    what: 'Rice data that end too early',
    bytes: () => {
      const bytes = tiled();
      new DataView(bytes.buffer).setInt32(bytes.length - 2880, 3);
      return bytes;
    },
    says: /compressed tile 1 .*Rice decoding failed: the compressed bytes end too early/,
  },
  {
    what: 'a gzip tile of noise',
    bytes: () => {
      const bytes = tiled('GZIP_1');
      bytes.fill(0x5a, bytes.length - 2880 + 48 + 4, bytes.length - 2880 + 48 + 20);
      return bytes;
    },
    says: /compressed tile 1 .*gzip data at byte \d+ are damaged or hold more than the tile's pixels/,
  },
  {
    what: 'ZBITPIX 64 of tiles that hold 16-bit pixels',
    bytes: () => replaced(tiled('GZIP_2'), 'ZBITPIX', 'ZBITPIX = 64'),
    says: /compressed tile 1 .*inflates to 16 bytes, which its 8 pixels of 64 bits \(ZBITPIX\) cannot be/,
  },
  {
    what: 'a bomb in a gzip tile (Pillow, CVE-2026-40192): 60 KB that inflate to 64 MB',
    bytes: () => {
      const bomb = new Uint8Array(gzipSync(new Uint8Array(64 << 20)));
      const header = rawHeader([
        "XTENSION= 'BINTABLE'",
        'BITPIX  = 8',
        'NAXIS   = 2',
        'NAXIS1  = 8',
        'NAXIS2  = 1',
        `PCOUNT  = ${bomb.length}`,
        'GCOUNT  = 1',
        'TFIELDS = 1',
        "TTYPE1  = 'COMPRESSED_DATA'",
        "TFORM1  = '1PB(1)'",
        'ZIMAGE  = T',
        "ZCMPTYPE= 'GZIP_1'",
        'ZBITPIX = 16',
        'ZNAXIS  = 2',
        'ZNAXIS1 = 100',
        'ZNAXIS2 = 1',
      ]);
      const table = new Uint8Array(8);
      new DataView(table.buffer).setInt32(0, bomb.length);
      return join(encodeEmptyPrimary([]), header, padded(join(table, bomb)));
    },
    says: /gzip data at byte \d+ are damaged or hold more than the tile's pixels/,
  },
  {
    what: 'a header that promises 1.6 gigapixels of ten compressed bytes',
    bytes: () => {
      const header = rawHeader([
        "XTENSION= 'BINTABLE'",
        'BITPIX  = 8',
        'NAXIS   = 2',
        'NAXIS1  = 8',
        'NAXIS2  = 1',
        'PCOUNT  = 10',
        'GCOUNT  = 1',
        'TFIELDS = 1',
        "TTYPE1  = 'COMPRESSED_DATA'",
        "TFORM1  = '1PB(10)'",
        'ZIMAGE  = T',
        "ZCMPTYPE= 'RICE_1'",
        'ZBITPIX = 8',
        'ZNAXIS  = 2',
        'ZNAXIS1 = 40000',
        'ZNAXIS2 = 40000',
        'ZTILE1  = 40000',
        'ZTILE2  = 40000',
      ]);
      const table = new Uint8Array(18);
      new DataView(table.buffer).setInt32(0, 10);
      return join(encodeEmptyPrimary([]), header, padded(table));
    },
    says: /header promises 1600000000 bytes of pixels, more than its 10 compressed bytes can hold/,
  },
  {
    what: 'a compressed image larger than any that can be read',
    bytes: () =>
      ['ZNAXIS1 ', 'ZNAXIS2 ', 'ZTILE1  ', 'ZTILE2  '].reduce(
        (bytes, keyword) => replaced(bytes, keyword.trimEnd(), `${keyword}= 40000`),
        tiled(),
      ),
    says: /header at byte 2880 promises an image of 40000 x 40000 pixels, more than can be read/,
  },
  {
    what: 'descriptors that all point to the same bytes, to promise more',
    bytes: () => {
      const rows = 1000;
      const header = rawHeader([
        "XTENSION= 'BINTABLE'",
        'BITPIX  = 8',
        'NAXIS   = 2',
        'NAXIS1  = 8',
        `NAXIS2  = ${rows}`,
        'PCOUNT  = 10000',
        'GCOUNT  = 1',
        'TFIELDS = 1',
        "TTYPE1  = 'COMPRESSED_DATA'",
        "TFORM1  = '1PB(10000)'",
        'ZIMAGE  = T',
        "ZCMPTYPE= 'RICE_1'",
        'ZBITPIX = 8',
        'ZNAXIS  = 2',
        'ZNAXIS1 = 2000000',
        `ZNAXIS2 = ${rows}`,
        'ZTILE1  = 2000000',
      ]);
      const table = new Uint8Array(8 * rows + 10000);
      for (let row = 0; row < rows; row++) new DataView(table.buffer).setInt32(8 * row, 10000);
      return join(encodeEmptyPrimary([]), header, padded(table));
    },
    says: /header promises 2000000000 bytes of pixels/,
  },
];

interface Read {
  readonly what: string;
  readonly bytes: () => Uint8Array;
  /** Part of a note, or null where nothing needs to be said. */
  readonly says: RegExp | null;
}

const READ_RIGHT: Read[] = [
  {
    what: 'NAXIS and BITPIX as quoted strings (astropy#5136)',
    bytes: () =>
      fitsFile(["BITPIX  = '16'", "NAXIS   = '2'", `NAXIS1  = '${W}'`, `NAXIS2  = ${H}`, 'BZERO   = 32768'], data()),
    says: null,
  },
  {
    what: 'a decimal comma in BZERO (astropy#3829)',
    bytes: () => replaced(sound(), 'BZERO', 'BZERO   = 32768,0'),
    says: /card BZERO \(byte 560\): decimal comma, read as 32768/,
  },
  {
    what: 'a decimal comma in another card',
    bytes: () => fitsFile([...u16Cards, 'SITELAT = 47,25'], data()),
    says: /SITELAT .*decimal comma/,
  },
  {
    what: 'a degree sign and Greek letters (astropy#5732, #3497)',
    bytes: () => fitsFile([...u16Cards, "TEMP    = '-10 \xb0C'", "STAR    = '\xce\xb1 Ori'", 'COMMENT \xb5m'], data()),
    says: /TEMP .*characters beyond ASCII/,
  },
  {
    what: 'a card without value (esheldon/fitsio#145)',
    bytes: () => fitsFile([...u16Cards, 'FILTER  =', 'OBSERVER'], data()),
    says: null,
  },
  {
    what: 'BLANK without value',
    bytes: () => fitsFile([...u16Cards, 'BLANK   ='], data()),
    says: /card BLANK .* has no value/,
  },
  {
    what: 'lost padding (astropy#13356: 2,100,032 of 2,102,400 bytes)',
    bytes: () => sound().slice(0, 2880 + 2 * W * H),
    says: null,
  },
  {
    what: 'trailing bytes after the last HDU (PypeIt PR#1063)',
    bytes: () => join(sound(), new Uint8Array(1000).fill(7)),
    says: /1000 bytes from byte 5760 on belong to no HDU/,
  },
  {
    what: 'a broken extension behind a sound image',
    bytes: () => join(sound(), rawHeader(["XTENSION= 'IMAGE'", 'BITPIX  = 3'])),
    says: /extension 1 cannot be read: .*BITPIX/,
  },
  {
    what: 'an extension cut in its header',
    bytes: () => join(sound(), rawHeader(["XTENSION= 'IMAGE'"]).slice(0, 80)),
    says: /extension 1 cannot be read: .*no END card/,
  },
  {
    what: 'broken WCS cards (astropy#20349)',
    bytes: () =>
      fitsFile(
        [...u16Cards, 'WCSAXES = 99999999', "CTYPE1  = 'X'", 'CRPIX1  = 1E999', 'PV1_1   = NaN', 'A_ORDER = -5'],
        data(),
      ),
    says: /CRPIX1/,
  },
  {
    what: 'random cards that repeat themselves',
    bytes: () => fitsFile([...u16Cards, 'GAIN    = 1', 'GAIN    = 2'], data()),
    says: /GAIN .*repeats a keyword/,
  },
  {
    what: 'SIMPLE = F',
    bytes: () => replaced(sound(), 'SIMPLE', 'SIMPLE  =                    F'),
    says: /SIMPLE is not T/,
  },
  { what: 'END followed by dirt', bytes: () => replaced(sound(), 'END', 'END     dirt'), says: null },
  {
    what: 'NUL bytes for blanks in a string',
    bytes: () => fitsFile([...u16Cards, "OBJECT  = 'M 1\0\0\0'"], data()),
    says: /control characters/,
  },
  {
    what: 'a table of other things behind the image',
    bytes: () =>
      join(
        sound(),
        rawHeader([
          "XTENSION= 'BINTABLE'",
          'BITPIX  = 8',
          'NAXIS   = 2',
          'NAXIS1  = 5',
          'NAXIS2  = 1',
          'TFIELDS = 1',
          "TFORM1  = '5A'",
        ]),
        new Uint8Array(2880),
      ),
    says: null,
  },
  {
    what: 'a small broken image beside a large sound one',
    bytes: () =>
      joinHdus([
        encodeEmptyPrimary([]),
        replaced(tiled(), 'ZTILE1', 'ZTILE1  = 0', 2880).subarray(2880),
        encodeExtension(IMAGE),
      ]),
    says: /left out: .*ZTILE1/,
  },
];

describe('damaged files are refused in words that name card or byte', () => {
  it.each(REFUSED)('$what', ({ bytes, says }) => {
    const file = bytes();
    const before = process.memoryUsage().rss;
    const started = performance.now();
    let caught: unknown = null;
    try {
      frameFromFits(file, 'bad.fits');
    } catch (error) {
      caught = error;
    }
    expect(performance.now() - started).toBeLessThan(2000);
    expect(caught).toBeInstanceOf(UserError);
    expect((caught as UserError).exitCode).toBe(3);
    expect((caught as UserError).message).toMatch(says);
    expect((caught as UserError).message).toMatch(/^bad\.fits: /);
    // Nothing of the promised size was allocated.
    expect(process.memoryUsage().rss - before).toBeLessThan(100e6);
  });
});

describe('odd files are read right, and what was odd is said', () => {
  it.each(READ_RIGHT)('$what', ({ bytes, says }) => {
    const frame = frameFromFits(bytes(), 'odd.fits');
    expect(frame.pixels.data).toEqual(PIXELS);
    if (says === null) expect(frame.notes).toEqual([]);
    else expect(frame.notes.join('\n')).toMatch(says);
  });

  it('a huge image among small ones that is not in the file is refused when chosen, but another can be named', () => {
    const file = join(sound(), replaced(encodeExtension(IMAGE), 'NAXIS2', 'NAXIS2  = 40000000'));
    expect(() => frameFromFits(file.slice(), 'x.fits')).toThrow(/file ends at row/);
    expect(frameFromFits(file, 'x.fits', 0).pixels.data).toEqual(PIXELS);
  });
});

describe('.gz files', () => {
  const inflate = async (bytes: Uint8Array): Promise<unknown> => {
    try {
      return await inflateFits(bytes, 'bad.fits.gz');
    } catch (error) {
      expect(error).toBeInstanceOf(UserError);
      return (error as Error).message;
    }
  };
  const gz = (bytes: Uint8Array): Uint8Array => new Uint8Array(gzipSync(bytes));

  it('hold the file, of one HDU or several, with and without padding', async () => {
    const several = joinHdus([encodeEmptyPrimary([]), encodeExtension(IMAGE), tiled().subarray(2880)]);
    for (const bytes of [sound(), several, sound().slice(0, 2880 + 2 * W * H)])
      expect(await inflate(gz(bytes))).toEqual(bytes);
  });

  it('a bomb behind a sound image is not inflated', async () => {
    const bomb = gz(join(sound(), new Uint8Array(256 << 20)));
    const before = process.memoryUsage().rss;
    const out = (await inflate(bomb)) as Uint8Array;
    expect(out.length).toBeLessThan(1 << 20);
    expect(process.memoryUsage().rss - before).toBeLessThan(300e6);
    expect(frameFromFits(out, 'x').pixels.data).toEqual(PIXELS);
  });

  it('a header that promises more than gzip can hold is refused before any memory is taken', async () => {
    expect(await inflate(gz(replaced(sound(), 'NAXIS2', 'NAXIS2  = 100000000')))).toMatch(
      /header promises 1600\d+ bytes, more than \d+ bytes of gzip can hold/,
    );
  });

  it('more than can be read is refused even where gzip could hold it', async () => {
    const filler = noise(new Uint8Array(3 << 20), 0, 255);
    const large = gz(join(replaced(sound(), 'NAXIS2', 'NAXIS2  = 180000000'), filler));
    const before = process.memoryUsage().rss;
    expect(await inflate(large)).toMatch(/header promises 2880\d+ bytes, more than the 2147483648 that can be read/);
    expect(process.memoryUsage().rss - before).toBeLessThan(100e6);
  });

  it('a bomb of zeros, another file, a cut or a damaged stream are refused', async () => {
    expect(await inflate(gz(new Uint8Array(64 << 20)))).toMatch(/holds no FITS file/);
    expect(await inflate(gz(latin1('hello')))).toEqual(latin1('hello'));
    const whole = gz(
      encodeFits({ pixels: noise(new Uint16Array(40_000), 0, 65535), width: 200, height: 200, cards: [] }),
    );
    expect(await inflate(whole.slice(0, whole.length / 2))).toMatch(/gzip data are damaged after \d+ inflated bytes/);
    const dirty = whole.slice();
    dirty.fill(0xee, 30_000, 30_100);
    expect(await inflate(dirty)).toMatch(/gzip data are damaged/);
  });
});
