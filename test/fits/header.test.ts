import { afterEach, describe, expect, it, vi } from 'vitest';
import { type CardToWrite, cardText } from '../../src/fits/cardText.ts';
import { encodeHeader } from '../../src/fits/encode.ts';
import { readHeader, valueOf } from '../../src/fits/header.ts';

const latin1 = (text: string): Uint8Array => Uint8Array.from(text, (character) => character.charCodeAt(0));

/** A header of raw cards, each padded to 80 characters. */
function raw(...cards: string[]): Uint8Array {
  const text = [...cards, 'END'].map((card) => card.padEnd(80)).join('');
  return latin1(text.padEnd(Math.ceil(text.length / 2880) * 2880));
}

const read = (...cards: string[]): ReturnType<typeof readHeader> => readHeader(raw(...cards), 0, 'test.fits');
const value = (card: string, keyword = 'KEY'): unknown => valueOf(read(card), keyword);

describe('values of cards (FITS 4.0, section 4.2)', () => {
  it.each([
    ["KEY     = 'plain   '           / comment", 'plain'],
    ["KEY     = 'M 31 / core'        / a slash inside", 'M 31 / core'],
    ["KEY     = 'it''s'", "it's"],
    ["KEY     = '''L'' / filter'", "'L' / filter"],
    ["KEY     = ''                   / null string", ''],
    ["KEY     = '  leading'", '  leading'],
    ["KEY     = 'a/b'                / no blank before the slash", 'a/b'],
    ['KEY     =                    T / logical', true],
    ['KEY     = F', false],
    ['KEY     =                   42', 42],
    ['KEY     = +42', 42],
    ['KEY     =            3.2768D4 / D exponent', 32768],
    ['KEY     = 1.5e-3', 0.0015],
    ['KEY     = -.5', -0.5],
    ['KEY     = 5.', 5],
    ['KEY     =            12/comment', 12],
    ['KEY     =  9007199254740993', 9007199254740993n],
    ['KEY     = -9223372036854775808', -9223372036854775808n],
    ['KEY     =', undefined],
    ['KEY     =                      / only a comment', undefined],
  ])('%s', (card, expected) => {
    expect(value(card)).toEqual(expected);
    expect(read(card).notes).toEqual([]);
  });

  it.each([
    ['BZERO   =                32768,0', 'BZERO', 32768, 'decimal comma'],
    ['KEY     =42', 'KEY', 42, 'no blank after ='],
    ["KEY     = 'open", 'KEY', 'open', 'without closing quote'],
    ["KEY     = 'a' b / c", 'KEY', 'a', 'between the string and its comment'],
    ['KEY     = 12h34m', 'KEY', '12h34m', 'no string in quotes'],
    ['KEY     = 1E999', 'KEY', '1E999', 'no string in quotes'],
    ['key     = 5', 'KEY', 5, 'lower-case'],
    ["KEY     = '\xb0C'", 'KEY', '°C', 'beyond ASCII'],
    ["KEY     = '\xce\xb1 Ori'", 'KEY', 'α Ori', 'beyond ASCII'],
    ["KEY     = 'a\x00b'", 'KEY', 'a b', 'control characters'],
  ])('%s is read, and said to be odd', (card, keyword, expected, oddity) => {
    const header = read(card);
    expect(valueOf(header, keyword)).toEqual(expected);
    expect(header.notes.join()).toContain(oddity);
    expect(header.notes.join()).toContain(`card ${keyword} (byte 0)`);
  });

  it('strings go on over CONTINUE cards (FITS 4.0, section 4.2.1.2)', () => {
    const header = read(
      "KEY     = 'one &'",
      "CONTINUE  '/ two''s &'",
      "CONTINUE  'three'      / said at last",
      'NEXT    = 1',
    );
    expect(valueOf(header, 'KEY')).toBe("one / two's three");
    expect(header.cards.get('KEY')?.comment).toBe('said at last');
    expect(valueOf(header, 'NEXT')).toBe(1);
    expect(value("KEY     = 'ends with &'")).toBe('ends with &');
  });

  it('HIERARCH keywords keep their whole name', () => {
    const header = read("HIERARCH ESO DET CHIP1 NAME = 'A / B' / comment", 'HIERARCH focal length = 800.5');
    expect(valueOf(header, 'ESO DET CHIP1 NAME')).toBe('A / B');
    expect(valueOf(header, 'FOCAL LENGTH')).toBe(800.5);
  });

  it('of a repeated keyword the first card counts, and another value is said', () => {
    const header = read('KEY     = 1', 'KEY     = 1', 'KEY     = 2');
    expect(valueOf(header, 'KEY')).toBe(1);
    expect(header.notes).toEqual([
      'card KEY (byte 160) repeats a keyword with another value: the first with a value counts',
    ]);
  });

  it('COMMENT and HISTORY never become values, whatever stands in them', () => {
    const header = read('COMMENT = 5', 'COMMENT two', "HISTORY = 'x'", '        = 7', 'COMMENT three');
    expect([...header.cards.keys()]).toEqual([]);
  });

  it('keywords named like object members are ordinary keywords', () => {
    const header = read('toString= 5', 'VALUEOF = 6', 'CONSTRUC= 7');
    expect(valueOf(header, 'TOSTRING')).toBe(5);
    expect(valueOf(header, 'VALUEOF')).toBe(6);
    expect(valueOf(header, 'HASOWNPR')).toBe(undefined);
  });

  it('reads back every kind of card that cardText writes', () => {
    const cards: CardToWrite[] = [
      { keyword: 'SHORT', value: "it's / here", comment: 'c' },
      { keyword: 'LONG', value: `${"'quote' & slash / ".repeat(20)}end`, comment: 'long' },
      { keyword: 'EMPTY', value: '' },
      { keyword: 'REAL', value: 1.25e-7 },
      { keyword: 'BIG', value: 1.5e300 },
      { keyword: 'WHOLE', value: -12345 },
      { keyword: 'YES', value: true },
      { keyword: 'ESO TEL FOCU LEN', value: 800 },
    ];
    const header = readHeader(encodeHeader(cards), 0, 'test.fits');
    for (const { keyword, value: written } of cards) expect(valueOf(header, keyword)).toEqual(written);
  });
});

describe('the header as a whole', () => {
  afterEach(() => {
    vi.restoreAllMocks();
  });

  it('more than 600 cards are all read (the library stops there)', () => {
    const header = readHeader(
      encodeHeader(Array.from({ length: 2000 }, (_, i) => ({ keyword: `K${i}`, value: i }))),
      0,
      'x',
    );
    expect(valueOf(header, 'K1999')).toBe(1999);
    expect(header.end).toBe(Math.ceil((2001 * 80) / 2880) * 2880);
  });

  it('writes nothing to the console, whatever the order of cards', () => {
    const spies = (['log', 'warn', 'error'] as const).map((name) =>
      vi.spyOn(console, name).mockImplementation(() => undefined),
    );
    read('NAXIS   = 2', 'BITPIX  = 17', 'SIMPLE  = T', 'EXTEND  = T', 'BLANK   = 5');
    expect(spies.map((spy) => spy.mock.calls.length)).toEqual([0, 0, 0]);
  });

  it('without END: the file is said to end, with the byte', () => {
    const bytes = latin1(cardText({ keyword: 'SIMPLE', value: true }).repeat(40));
    expect(() => readHeader(bytes, 0, 'night.fits')).toThrow(
      /^night\.fits: file ends at byte 3200 inside the header that began at byte 0, no END card found: still being written/,
    );
  });

  it('many odd cards are counted, not listed one by one', () => {
    const header = read(...Array.from({ length: 50 }, (_, i) => `K${i}      `.slice(0, 8) + '= odd value'));
    expect(header.notes.length).toBe(7);
    expect(header.notes[6]).toBe('44 more odd cards');
  });
});
