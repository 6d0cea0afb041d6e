import { describe, expect, it } from 'vitest';
import type { CardToWrite } from '../../src/fits/cardText.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import type { FrameFacts } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';

function told(cards: readonly (CardToWrite | [string, CardToWrite['value'], string?])[]): {
  facts: FrameFacts;
  notes: string;
} {
  const list = cards.map((card) =>
    Array.isArray(card) ? { keyword: card[0], value: card[1], comment: card[2] ?? '' } : card,
  );
  const frame = frameFromFits(encodeFits({ pixels: new Uint16Array(4), width: 2, height: 2, cards: list }), 'x.fits');
  return { facts: frame.facts, notes: frame.notes.join('\n') };
}

const fact = (name: keyof FrameFacts, ...cards: [string, CardToWrite['value'], string?][]): unknown =>
  told(cards).facts[name];

describe('facts with the keyword they came from (SBFITSEXT 1.0 and keywords of real headers, optics.md section 5)', () => {
  it.each<[keyof FrameFacts, string, CardToWrite['value'], unknown]>([
    ['camera', 'INSTRUME', ' Kestrel 26 ', 'Kestrel 26'],
    ['telescope', 'TELESCOP', "Bel's tube", "Bel's tube"],
    ['object', 'OBJECT', 'field / north', 'field / north'],
    ['filter', 'FILTER', 'L', 'L'],
    ['pixelUm', 'XPIXSZ', 3.76, 3.76],
    ['pixelUm', 'XPIXSZ', '3.76', 3.76],
    ['binning', 'XBINNING', 2, 2],
    ['binning', 'CCDSUM', '2 2', 2],
    ['binning', 'BINNING', '1x1', 1],
    ['gainEPerAdu', 'EGAIN', 0.25, 0.25],
    ['readNoiseE', 'RDNOISE', 1.5, 1.5],
    ['pedestalAdu', 'PEDESTAL', -100, -100],
    ['saturationAdu', 'SATURATE', 65000, 65000],
    ['focalLengthMm', 'FOCALLEN', 800, 800],
    ['focalLengthMm', 'FOCALLEN', '800,5', 800.5],
    ['apertureMm', 'APTDIA', 203, 203],
    ['exposureS', 'EXPTIME', 120, 120],
    ['exposureS', 'EXPOSURE', 0.5, 0.5],
    ['focusPosition', 'FOCPOS', 12345, 12345],
    ['focusPosition', 'FOCUSPOS', 777, 777],
    ['focusStepUm', 'FOCUSSZ', 1.2, 1.2],
    ['focusTemperatureC', 'FOCUSTEM', -3.5, -3.5],
    ['sensorTemperatureC', 'CCD-TEMP', -10, -10],
    ['altitudeDeg', 'CENTALT', '+45 30 00', 45.5],
    ['altitudeDeg', 'OBJCTALT', 61.25, 61.25],
    ['azimuthDeg', 'CENTAZ', '123:30:36', 123.51],
    ['pierSide', 'PIERSIDE', 'East', 'east'],
    ['pierSide', 'PIERSIDE', 'pierWest', 'west'],
    ['rotatorDeg', 'ROTATANG', 12.5, 12.5],
    ['rowOrder', 'ROWORDER', 'TOP-DOWN', 'TOP-DOWN'],
    ['rowOrder', 'ROWORDER', 'bottom up', 'BOTTOM-UP'],
    ['dateObs', 'DATE-OBS', '2026-03-01T21:22:23.5', '2026-03-01T21:22:23.5'],
    ['dateObs', 'DATE-OBS', '24/03/94', '1994-03-24'],
  ])('%s from %s = %j', (name, keyword, value, expected) => {
    expect(fact(name, [keyword, value])).toEqual({ value: expected, keyword });
  });

  it('altitude follows from the air mass where nothing better is told', () => {
    const { facts } = told([['AIRMASS', 2]]);
    expect(facts.altitudeDeg?.keyword).toBe('AIRMASS');
    expect(facts.altitudeDeg?.value).toBeCloseTo(30, 10);
    expect(fact('altitudeDeg', ['AIRMASS', 2], ['CENTALT', 29.5])).toEqual({ value: 29.5, keyword: 'CENTALT' });
    expect(fact('altitudeDeg', ['AIRMASS', 0])).toBe(null);
  });

  it('GAIN is a camera setting unless its comment names electrons', () => {
    expect(fact('gainEPerAdu', ['GAIN', 100])).toBe(null);
    expect(fact('gainEPerAdu', ['GAIN', 1.4, 'gain in e-/ADU'])).toEqual({ value: 1.4, keyword: 'GAIN' });
    expect(fact('gainEPerAdu', ['GAIN', 100], ['EGAIN', 0.8])).toEqual({ value: 0.8, keyword: 'EGAIN' });
  });

  it('date and time of day in two cards are put together', () => {
    expect(fact('dateObs', ['DATE-OBS', '2026-03-01'], ['TIME-OBS', '3:04:05'])).toEqual({
      value: '2026-03-01T03:04:05',
      keyword: 'DATE-OBS',
    });
  });
});

describe('nonsense is noticed and said, and not used', () => {
  it.each<[keyof FrameFacts, string, CardToWrite['value']]>([
    ['focalLengthMm', 'FOCALLEN', 0],
    ['focalLengthMm', 'FOCALLEN', -800],
    ['focalLengthMm', 'FOCALLEN', 0.8],
    ['apertureMm', 'APTDIA', 0],
    ['pixelUm', 'XPIXSZ', 0],
    ['pixelUm', 'XPIXSZ', 'unknown'],
    ['binning', 'XBINNING', 0],
    ['focusStepUm', 'FOCUSSZ', 0],
    ['sensorTemperatureC', 'CCD-TEMP', -273.15],
    ['altitudeDeg', 'CENTALT', 95],
    ['rowOrder', 'ROWORDER', 'sideways'],
    ['dateObs', 'DATE-OBS', 'yesterday'],
    ['dateObs', 'DATE-OBS', '2026-13-45T01:02:03'],
    ['exposureS', 'EXPTIME', -1],
  ])('%s: %s = %j', (name, keyword, value) => {
    const { facts, notes } = told([[keyword, value]]);
    expect(facts[name]).toBe(null);
    expect(notes).toContain(`${keyword} is `);
  });

  it('a senseless first keyword does not hide a sensible second one', () => {
    const { facts, notes } = told([
      ['FOCPOS', 'n/a'],
      ['FOCUSPOS', 4000],
    ]);
    expect(facts.focusPosition).toEqual({ value: 4000, keyword: 'FOCUSPOS' });
    expect(notes).toContain('FOCPOS');
  });

  it('two keywords that contradict each other are said', () => {
    const { facts, notes } = told([
      ['EXPTIME', 120],
      ['EXPOSURE', 60],
    ]);
    expect(facts.exposureS?.value).toBe(120);
    expect(notes).toContain('EXPOSURE is 60 but EXPTIME is 120');
  });

  it('a binned pixel size says what it was taken for', () => {
    expect(
      told([
        ['XPIXSZ', 7.52],
        ['XBINNING', 2],
      ]).notes,
    ).toContain('XPIXSZ 7.52 um was taken as the size after 2x binning (3.76 um on the chip)');
    expect(
      told([
        ['XPIXSZ', 2.4],
        ['XBINNING', 4],
      ]).notes,
    ).toContain('smaller than any pixel made: it may be the unbinned size');
    expect(
      told([
        ['XPIXSZ', 3.76],
        ['XBINNING', 1],
      ]).notes,
    ).toBe('');
    expect(
      told([
        ['XPIXSZ', 3.76],
        ['YPIXSZ', 5],
      ]).notes,
    ).toContain('not square');
  });

  it('a focal ratio that no telescope has is said', () => {
    expect(
      told([
        ['FOCALLEN', 800],
        ['APTDIA', 2030],
      ]).notes,
    ).toContain('f/0.3941');
    expect(
      told([
        ['FOCALLEN', 800],
        ['APTDIA', 203],
      ]).notes,
    ).toBe('');
  });
});
