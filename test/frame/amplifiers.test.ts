import { describe, expect, it } from 'vitest';
import type { CardToWrite } from '../../src/fits/cardText.ts';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { sectionFrom } from '../../src/frame/sections.ts';
import { noise } from '../fits/samplePixels.ts';

const W = 24;
const H = 16;
/** What the chip saw, W x H. */
const CHIP = noise(new Uint16Array(W * H), 100, 4000);
const cards = (...list: [string, CardToWrite['value']][]): CardToWrite[] =>
  list.map(([keyword, value]) => ({ keyword, value }));

interface Quarter {
  readonly x: number;
  readonly y: number;
  readonly flipX: boolean;
  readonly flipY: boolean;
  readonly zero: number;
}

const OVERSCAN = 4;
/** Four amplifiers in the corners, each read away from the chip's middle. */
const QUARTERS: Quarter[] = [
  { x: 0, y: 0, flipX: false, flipY: false, zero: 300 },
  { x: W / 2, y: 0, flipX: true, flipY: false, zero: 310 },
  { x: 0, y: H / 2, flipX: false, flipY: true, zero: 290 },
  { x: W / 2, y: H / 2, flipX: true, flipY: true, zero: 305 },
];

/** The chip's quarter as its amplifier writes it: flipped, its zero level added, overscan columns behind. */
function amplifier(quarter: Quarter, gain = 1, more: CardToWrite[] = []): Uint8Array {
  const [w, h] = [W / 2, H / 2];
  const width = w + OVERSCAN;
  const pixels = new Uint16Array(width * h).fill(quarter.zero);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const [cx, cy] = [quarter.x + (quarter.flipX ? w - 1 - x : x), quarter.y + (quarter.flipY ? h - 1 - y : y)];
      pixels[y * width + x] = CHIP[cy * W + cx] / gain + quarter.zero;
    }
  }
  const range = (start: number, length: number, flip: boolean): string =>
    flip ? `${start + length}:${start + 1}` : `${start + 1}:${start + length}`;
  const detsec = `[${range(quarter.x, w, quarter.flipX)},${range(quarter.y, h, quarter.flipY)}]`;
  const list = cards(['DATASEC', `[1:${w},1:${h}]`], ['BIASSEC', `[${w + 1}:${width},1:${h}]`], ['DETSEC', detsec]);
  return encodeExtension({ pixels, width, height: h, cards: [...list, ...more] });
}

describe('four-amplifier frames', () => {
  it('are put together by DETSEC, flips and overscan levels included', () => {
    const bytes = joinHdus([
      encodeEmptyPrimary(cards(['EXPTIME', 30])),
      ...QUARTERS.map((quarter) => amplifier(quarter)),
    ]);
    const frame = frameFromFits(bytes, 'four.fits');
    expect([frame.width, frame.height, frame.mask]).toEqual([W, H, null]);
    expect([...frame.pixels.data]).toEqual([...CHIP]);
    expect(frame.facts.exposureS).toEqual({ value: 30, keyword: 'EXPTIME' });
    expect(frame.notes.join()).toContain('extensions 1, 2, 3, 4 are parts of one chip');
  });

  it('different gains are brought to the mean one', () => {
    const gains = [1, 2, 1, 2];
    const even = CHIP.map((value) => value - (value % 4));
    CHIP.set(even);
    const bytes = joinHdus([
      encodeEmptyPrimary([]),
      ...QUARTERS.map((quarter, i) => amplifier(quarter, gains[i], cards(['GAIN', gains[i]], ['SATURATE', 60000]))),
    ]);
    const frame = frameFromFits(bytes, 'four.fits');
    expect([...frame.pixels.data]).toEqual([...even].map((value) => Math.fround(value / 1.5)));
    // The lowest of (60000 - zero) gain / 1.5.
    expect(frame.facts.saturationAdu?.value).toBeCloseTo((60000 - 300) / 1.5, 6);
  });

  it('an extension named by the user is read alone, without its overscan', () => {
    const bytes = joinHdus([encodeEmptyPrimary([]), ...QUARTERS.map((quarter) => amplifier(quarter))]);
    const frame = frameFromFits(bytes, 'four.fits', 2);
    expect([frame.name, frame.width, frame.height]).toEqual(['four.fits[2]', W / 2, H / 2]);
  });

  it('parts that overlap, or leave most of the chip empty, are refused in words', () => {
    const shifted = { ...QUARTERS[1], x: W / 2 - 3 };
    const overlapping = joinHdus([encodeEmptyPrimary([]), amplifier(QUARTERS[0]), amplifier(shifted)]);
    expect(() => frameFromFits(overlapping, 'four.fits')).toThrow(
      /extensions 1 and 2 overlap by their DETSEC; name one/,
    );
    const diagonal = joinHdus([encodeEmptyPrimary([]), amplifier(QUARTERS[0]), amplifier(QUARTERS[3])]);
    expect(() => frameFromFits(diagonal, 'four.fits')).toThrow(/fill only 50 % of the 24 x 16 rectangle/);
  });

  it('three of four parts: the missing quarter is not worth 80 %, so it is refused; a thin gap is masked', () => {
    const [a, b] = [QUARTERS[0], { ...QUARTERS[1], x: W / 2 + 2 }];
    const frame = frameFromFits(joinHdus([encodeEmptyPrimary([]), amplifier(a), amplifier(b)]), 'two.fits');
    expect(frame.width).toBe(W + 2);
    expect(frame.mask?.reduce((sum, each) => sum + each, 0)).toBe(2 * (H / 2));
  });

  it('chips of several cameras (CCDNAME) and repeated images are not joined', () => {
    const chips = QUARTERS.map((quarter, i) => amplifier(quarter, 1, cards(['CCDNAME', `chip ${i}`])));
    expect(frameFromFits(joinHdus([encodeEmptyPrimary([]), ...chips]), 'x').width).toBe(W / 2);
    const twice = joinHdus([encodeEmptyPrimary([]), amplifier(QUARTERS[0]), amplifier(QUARTERS[0])]);
    expect(frameFromFits(twice, 'x').notes.join()).toContain('extension 1 was read');
  });

  it('amplifiers side by side in one image, their overscan between them, are put together', () => {
    // Columns: 12 data, 4 overscan, 4 overscan, 12 data.
    const width = W + 2 * OVERSCAN;
    const pixels = new Uint16Array(width * H);
    for (let y = 0; y < H; y++) {
      for (let x = 0; x < W / 2; x++) {
        pixels[y * width + x] = CHIP[y * W + x] + 300;
        pixels[y * width + W / 2 + 2 * OVERSCAN + x] = CHIP[y * W + W / 2 + x] + 320;
      }
      pixels.fill(300, y * width + W / 2, y * width + W / 2 + OVERSCAN);
      pixels.fill(320, y * width + W / 2 + OVERSCAN, y * width + W / 2 + 2 * OVERSCAN);
    }
    const list = cards(
      ['DATASEC1', '[1:12,1:16]'],
      ['BIASSEC1', '[13:16,1:16]'],
      ['DATASEC2', '[21:32,1:16]'],
      ['BIASSEC2', '[17:20,1:16]'],
    );
    const frame = frameFromFits(encodeFits({ pixels, width, height: H, cards: list }), 'pair.fits');
    expect([...frame.pixels.data]).toEqual([...CHIP]);
    const wrong = list.map((card) => (card.keyword === 'DATASEC2' ? { ...card, value: '[10:32,1:16]' } : card));
    expect(() => frameFromFits(encodeFits({ pixels, width, height: H, cards: wrong }), 'pair.fits')).toThrow(
      /the 2 amplifier sections DATASECn do not stand in rows and columns; trim and join the frame first/,
    );
  });
});

describe('overscan', () => {
  const pixels = (): Uint16Array => Uint16Array.from({ length: 6 * 5 }, (_, i) => i);

  it.each(['TRIMSEC', 'DATASEC'])('%s cuts the frame in its own memory', (keyword) => {
    const bytes = encodeFits({ pixels: pixels(), width: 6, height: 5, cards: cards([keyword, '[2:5,3:4]']) });
    const frame = frameFromFits(bytes, 'x.fits');
    expect([frame.width, frame.height]).toEqual([4, 2]);
    expect([...frame.pixels.data]).toEqual([13, 14, 15, 16, 19, 20, 21, 22]);
    expect(frame.pixels.data.buffer).toBe(bytes.buffer);
    expect(frame.notes.join()).toContain(`only ${keyword} [2:5,3:4] was read`);
  });

  it('a section that is the whole image, reaches beyond it or is no section changes nothing', () => {
    for (const section of ['[1:6,1:5]', '[1:7,1:5]', 'left half', '[0:3,1:2]']) {
      const bytes = encodeFits({ pixels: pixels(), width: 6, height: 5, cards: cards(['DATASEC', section]) });
      expect(frameFromFits(bytes, 'x.fits').width).toBe(6);
    }
  });

  it('sections are read with ends in either order', () => {
    expect(sectionFrom('[2048:1,1:1024]')).toEqual({
      x: 0,
      y: 0,
      width: 2048,
      height: 1024,
      flipX: true,
      flipY: false,
    });
    expect(sectionFrom('[ 1 : 4 , 9 : 2 ]')).toEqual({ x: 0, y: 1, width: 4, height: 8, flipX: false, flipY: true });
  });
});
