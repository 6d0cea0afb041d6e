import { describe, expect, it } from 'vitest';
import { UserError } from '../../src/errors.ts';
import type { CardToWrite } from '../../src/fits/cardText.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { divideFlat, hotPixels, subtractDark } from '../../src/frame/calibrate.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { noise } from '../fits/samplePixels.ts';

function frame(pixels: PixelArray, width: number, name: string, ...list: [string, CardToWrite['value']][]): Frame {
  const cards = list.map(([keyword, value]) => ({ keyword, value }));
  return frameFromFits(encodeFits({ pixels, width, height: pixels.length / width, cards }), name);
}

function exitCode(act: () => unknown): number | null {
  try {
    act();
  } catch (error) {
    return error instanceof UserError ? error.exitCode : null;
  }
  return 0;
}

describe('master dark', () => {
  const N = 60 * 40;
  const dark = noise(new Uint16Array(N), 480, 520, 5);
  dark[100] = 60000;
  dark[101] = 2000;

  it('is taken off pixel by pixel, hot pixels are masked', () => {
    const light = noise(new Uint16Array(N), 800, 900, 6);
    const sub = frame(
      Uint16Array.from(dark, (zero, i) => Math.min(65535, zero + light[i])),
      60,
      'sub.fits',
    );
    const clean = subtractDark(sub, frame(dark, 60, 'dark.fits'));
    expect(clean.pixels.data).toBeInstanceOf(Float32Array);
    for (let i = 0; i < N; i++) if (clean.mask?.[i] !== 1) expect(clean.pixels.data[i]).toBe(light[i]);
    expect([...(clean.mask ?? [])].flatMap((bad, i) => (bad === 1 ? [i] : []))).toEqual([100, 101]);
    expect(clean.notes.join()).toContain('2 hot pixels are left out');
  });

  it('noise alone gives no hot pixel', () => {
    expect(hotPixels(frame(noise(new Uint16Array(N), 480, 520, 8), 60, 'dark.fits')).includes(1)).toBe(false);
  });

  it('a saturated plateau stays one level, known by the header or by the pixels', () => {
    const pixels = noise(new Uint16Array(N), 800, 900, 6);
    pixels.fill(65535, 500, 520);
    const told = subtractDark(frame(pixels, 60, 's', ['SATURATE', 65535]), frame(dark, 60, 'd'));
    const seen = subtractDark(frame(pixels, 60, 's'), frame(dark, 60, 'd'));
    for (const each of [told, seen]) {
      expect(new Set(each.pixels.data.slice(500, 520)).size).toBe(1);
      expect(each.facts.saturationAdu?.value).toBe(each.pixels.data[500]);
      expect(each.pixels.data[500]).toBeGreaterThan(64000);
    }
  });

  it('small differences of exposure and temperature are allowed; what spoils pixels is wrong usage and named', () => {
    const cards: [string, CardToWrite['value']][] = [
      ['EXPTIME', 120],
      ['CCD-TEMP', -10],
      ['EGAIN', 0.8],
      ['INSTRUME', 'Kestrel'],
      ['XBINNING', 1],
    ];
    const sub = frame(new Uint16Array(N), 60, 'sub.fits', ...cards);
    const other = (...card: [string, CardToWrite['value']]): Frame =>
      frame(dark, 60, 'd.fits', ...cards.filter(([keyword]) => keyword !== card[0]), card);
    expect(subtractDark(sub, other('EXPTIME', 121)).notes.join()).toContain('was taken off');
    expect(subtractDark(sub, other('CCD-TEMP', -9.2)).notes.join()).toContain('was taken off');
    expect(subtractDark(sub, frame(dark, 60, 'bare.fits')).notes.join()).toContain('was taken off');
    const wrong: [Frame, string][] = [
      [frame(dark, 40, 'd.fits'), 'it has 40 x 60 pixels, the sub 60 x 40'],
      [other('INSTRUME', 'Heron'), "its camera is Heron, the sub's Kestrel"],
      [other('XBINNING', 2), "its binning is 2, the sub's 1"],
      [other('EXPTIME', 300), "its exposure is 300 s, the sub's 120 s"],
      [other('CCD-TEMP', 0), "its sensor temperature is 0 C, the sub's -10 C"],
      [other('EGAIN', 0.25), "its gain is 0.25 e-/ADU, the sub's 0.8 e-/ADU"],
    ];
    for (const [bad, why] of wrong) {
      expect(exitCode(() => subtractDark(sub, bad))).toBe(2);
      expect(() => subtractDark(sub, bad)).toThrow(`the dark d.fits does not fit sub.fits: ${why}`);
    }
  });
});

describe('master flat', () => {
  it('divides by the flat, 1 at its median; pixels without light are masked', () => {
    const flat = Float32Array.from({ length: 300 }, (_, i) => 20000 * (1 + 0.3 * Math.sin(i)));
    flat[7] = 10;
    flat[8] = NaN;
    const sorted = [...flat].filter((value) => !Number.isNaN(value)).sort((a, b) => a - b);
    const median = sorted[sorted.length >> 1];
    const sub = frame(
      Float32Array.from(flat, (value) => value / 4),
      20,
      's.fits',
    );
    const even = divideFlat(sub, frame(flat, 20, 'f.fits'));
    for (let i = 0; i < 300; i++) if (even.mask?.[i] !== 1) expect(even.pixels.data[i]).toBeCloseTo(median / 4, 1);
    expect([...(even.mask ?? [])].flatMap((bad, i) => (bad === 1 ? [i] : []))).toEqual([7, 8]);
  });

  it('a flat through another filter is wrong usage; its own exposure is its own affair', () => {
    const sub = frame(new Uint16Array(300).fill(9), 20, 's.fits', ['FILTER', 'L'], ['EXPTIME', 300]);
    const flat = (filter: string): Frame =>
      frame(new Uint16Array(300).fill(900), 20, 'f.fits', ['FILTER', filter], ['EXPTIME', 2]);
    expect(divideFlat(sub, flat('l')).notes.join()).toContain('divided by the flat f.fits');
    expect(exitCode(() => divideFlat(sub, flat('Ha')))).toBe(2);
    expect(() => divideFlat(sub, flat('Ha'))).toThrow("its filter is Ha, the sub's L");
  });

  it('a flat without light is wrong usage', () => {
    const sub = frame(new Uint16Array(300).fill(9), 20, 's.fits');
    expect(exitCode(() => divideFlat(sub, frame(new Uint16Array(300), 20, 'f.fits')))).toBe(2);
  });
});
