import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import type { CardToWrite } from '../../src/fits/cardText.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { greenParity, patternFrom, rowFlippedPattern, shiftedPattern } from '../../src/frame/mosaic.ts';
import { uniform } from '../fits/samplePixels.ts';
import { realFrame } from '../support/testData.ts';

const PATTERNS = ['RGGB', 'BGGR', 'GRBG', 'GBRG'] as const;

/** A noisy sky through a mosaic whose colours are `pattern` from stored pixel (0, 0) on; levels of the three colours. */
function sky(pattern: string, level: Record<string, number>, gradient = 0.3): Uint16Array {
  const [width, height, seed] = [160, 128, 3];
  const next = uniform(seed);
  return Uint16Array.from({ length: width * height }, (_, i) => {
    const [x, y] = [i % width, Math.floor(i / width)];
    const mean = level[pattern[(y % 2) * 2 + (x % 2)]] ?? 0;
    // Sum of twelve uniforms: a normal of unit sigma; here sigma 20, and a gradient over the frame.
    let normal = -6;
    for (let k = 0; k < 12; k++) normal += next();
    return Math.round(mean + 20 * normal + gradient * (x + 0.7 * y));
  });
}

const SKY = { R: 900, G: 1200, B: 700 };
const cards = (...list: [string, CardToWrite['value']][]): CardToWrite[] =>
  list.map(([keyword, value]) => ({ keyword, value }));

function frame(pixels: Uint16Array, list: CardToWrite[], width = 160): Frame {
  return frameFromFits(encodeFits({ pixels, width, height: pixels.length / width, cards: list }), 'osc.fits');
}

/** Stored row order reversed. */
function flipRows(pixels: Uint16Array, width: number): Uint16Array {
  const out = new Uint16Array(pixels.length);
  const height = pixels.length / width;
  for (let y = 0; y < height; y++) out.set(pixels.subarray(y * width, (y + 1) * width), (height - 1 - y) * width);
  return out;
}

describe('patterns', () => {
  it('flipping the rows of an even frame turns RGGB to GBRG (optics.md section 5); an odd one keeps it', () => {
    const pattern = patternFrom('RGGB');
    expect(pattern).not.toBe(null);
    if (pattern === null) return;
    expect(rowFlippedPattern(pattern, 700).join('')).toBe('GBRG');
    expect(rowFlippedPattern(pattern, 701).join('')).toBe('RGGB');
    expect(shiftedPattern(pattern, 1, 0).join('')).toBe('GRBG');
    expect(shiftedPattern(pattern, -1, 3).join('')).toBe('BGGR');
  });

  it('only patterns with two greens on a diagonal are patterns', () => {
    expect(PATTERNS.map((text) => patternFrom(text)).every((pattern) => pattern !== null)).toBe(true);
    expect(['RGBG', 'GGRB', 'RGB', 'RRGB', 'L', ''].map(patternFrom)).toEqual([null, null, null, null, null, null]);
    expect(PATTERNS.map((text) => greenParity(patternFrom(text) ?? ['R', 'R', 'R', 'R']))).toEqual([1, 1, 0, 0]);
  });
});

describe('green sites are found in the pixels', () => {
  it.each(PATTERNS)('%s, stored top-down and bottom-up, with the header right', (shown) => {
    const topDown = sky(shown, SKY);
    const truth = greenParity(patternFrom(shown) ?? ['R', 'R', 'R', 'R']);
    const down = frame(topDown, cards(['BAYERPAT', shown], ['ROWORDER', 'TOP-DOWN']));
    expect(down.mosaic).toEqual({ greenParity: truth, fromData: true });
    expect(down.facts.mosaic).toEqual({ pattern: Array.from(shown), keyword: 'BAYERPAT' });
    const up = frame(flipRows(topDown, 160), cards(['BAYERPAT', shown], ['ROWORDER', 'BOTTOM-UP']));
    expect(up.mosaic).toEqual({ greenParity: truth === 1 ? 0 : 1, fromData: true });
    expect(up.facts.mosaic?.pattern.join('')).toBe(
      rowFlippedPattern(patternFrom(shown) ?? ['R', 'R', 'R', 'R'], 128).join(''),
    );
    expect([...down.notes, ...up.notes]).toEqual([]);
  });

  it('a header whose row order lies is said, and the pixels are believed', () => {
    const stored = sky('GBRG', SKY);
    const lying = frame(stored, cards(['BAYERPAT', 'RGGB'], ['ROWORDER', 'TOP-DOWN']));
    expect(lying.mosaic).toEqual({ greenParity: 0, fromData: true });
    expect(lying.facts.mosaic?.pattern.join('')).toBe('GBRG');
    expect(lying.notes.join()).toContain('ROWORDER says TOP-DOWN');
  });

  it('without ROWORDER the pattern tells that rows are stored bottom-up', () => {
    const read = frame(sky('GBRG', SKY), cards(['BAYERPAT', 'RGGB']));
    expect(read.facts.rowOrder).toEqual({ value: 'BOTTOM-UP', keyword: 'BAYERPAT' });
    const other = frame(sky('RGGB', SKY), cards(['BAYERPAT', 'RGGB']));
    expect(other.facts.rowOrder).toBe(null);
    expect(other.mosaic).toEqual({ greenParity: 1, fromData: true });
    expect(other.notes.join()).toContain('as if the rows were stored top-down');
  });

  it('XBAYROFF and YBAYROFF shift the pattern', () => {
    const read = frame(
      sky('GRBG', SKY),
      cards(['BAYERPAT', 'RGGB'], ['XBAYROFF', 1], ['YBAYROFF', 0], ['ROWORDER', 'TOP-DOWN']),
    );
    expect(read.facts.mosaic?.pattern.join('')).toBe('GRBG');
    expect(read.notes).toEqual([]);
  });

  it('a grey sky (red as bright as blue) leaves the header its word', () => {
    const read = frame(sky('RGGB', { R: 800, G: 1200, B: 800 }), cards(['BAYERPAT', 'RGGB'], ['ROWORDER', 'TOP-DOWN']));
    expect(read.mosaic).toEqual({ greenParity: 1, fromData: false });
    expect(read.notes.join()).toContain('BAYERPAT RGGB was believed');
  });

  it('a steep sky gradient is not taken for a difference of colours', () => {
    const list = cards(['BAYERPAT', 'GRBG'], ['ROWORDER', 'TOP-DOWN']);
    expect(frame(sky('RGGB', { R: 800, G: 1200, B: 800 }, 8), list).mosaic?.fromData).toBe(false);
    expect(frame(sky('RGGB', SKY, 8), list).mosaic).toEqual({ greenParity: 1, fromData: true });
  });

  it('a mosaic that no header names is seen; mono frames, also with uneven rows or columns, are not taken for one', () => {
    expect(frame(sky('GRBG', SKY), []).mosaic).toEqual({ greenParity: 0, fromData: true });
    expect(frame(sky('RGGB', { R: 1000, G: 1000, B: 1000 }), []).mosaic).toBe(null);
    // Columns uneven: 'RG' over 'RG'; rows uneven: 'RR' over 'GG'.
    const uneven = { R: 1000, G: 1040, B: 0 };
    expect(frame(sky('RGRG', uneven), []).mosaic).toBe(null);
    expect(frame(sky('RRGG', uneven), []).mosaic).toBe(null);
  });

  it('binned frames are mono whatever BAYERPAT says', () => {
    const read = frame(sky('RGGB', { R: 1000, G: 1000, B: 1000 }), cards(['BAYERPAT', 'RGGB'], ['XBINNING', 2]));
    expect(read.mosaic).toBe(null);
    expect(read.notes.join()).toContain('treated as mono');
  });

  it('the cfa700 frames are recognised as stored bottom-up, greens on the main diagonal (data README)', (context) => {
    for (const name of ['cfa700.fits', 'cfa700b.fits.fz']) {
      const read = frameFromFits(new Uint8Array(readFileSync(realFrame(context, name))), name);
      expect(read.mosaic).toEqual({ greenParity: 0, fromData: true });
      expect(read.facts.mosaic).toEqual({ pattern: ['G', 'B', 'R', 'G'], keyword: 'FILTER' });
      expect(read.facts.rowOrder).toEqual({ value: 'BOTTOM-UP', keyword: 'FILTER' });
      expect(read.facts.filter).toBe(null);
      expect(read.notes.join()).toContain('stored bottom-up');
    }
  });
});
