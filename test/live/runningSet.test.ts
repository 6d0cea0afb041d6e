import { describe, expect, it } from 'vitest';
import { breakBetween, JUMPS } from '../../src/live/runningSet.ts';
import { NO_SUB_FACTS, type SubFacts, type SubRecord } from '../../src/live/subRecord.ts';

const sub = (minutes: number, facts: Partial<SubFacts> = {}, more: Partial<SubRecord> = {}): SubRecord => ({
  sha256: 'ab',
  file: 'a.fits',
  sizeBytes: 1,
  mtimeMs: minutes * 60_000,
  measuredAt: '2031-02-12T00:00:00.000Z',
  width: 100,
  height: 80,
  starsFound: 9,
  starsFitted: 9,
  fwhmPx: 3,
  elongation: 1.1,
  set: 1,
  problem: null,
  facts: { ...NO_SUB_FACTS, ...facts },
  ...more,
});

describe('subs stay together', () => {
  it('while nothing is told', () => {
    expect(breakBetween(sub(0), sub(5))).toBeNull();
  });

  it('while the telescope only follows the sky', () => {
    // At the celestial equator the sky turns by 15 degrees an hour, 5 degrees in 20 minutes.
    const meridian = { altitudeDeg: 40, azimuthDeg: 180 };
    expect(breakBetween(sub(0, meridian), sub(20, { altitudeDeg: 39.6, azimuthDeg: 186.5 }))).toBeNull();
  });

  it('through small steps of a focuser that follows the temperature, and a filter with its own focus', () => {
    const at = (focusPosition: number, filter = 'L'): Partial<SubFacts> => ({ focusPosition, filter, focusStepUm: 2 });
    expect(breakBetween(sub(0, at(10_000)), sub(5, at(10_060)))).toBeNull();
    expect(breakBetween(sub(0, at(10_000)), sub(5, at(10_500, 'R')))).toBeNull();
  });

  it('through times that the header tells although the files came much later', () => {
    const a = sub(0, { dateObs: '2031-02-12T01:00:00' });
    const b = sub(600, { dateObs: '2031-02-12T01:02:00.5' });
    expect(breakBetween(a, b)).toBeNull();
  });
});

describe('a new set begins', () => {
  const why = (a: SubRecord, b: SubRecord): string | undefined => breakBetween(a, b)?.cause;

  it('when the focuser jumped: by its step in um, or by steps where that is not told', () => {
    const at = (focusPosition: number, focusStepUm: number | null): Partial<SubFacts> => ({
      focusPosition,
      focusStepUm,
    });
    expect(why(sub(0, at(10_000, 2)), sub(5, at(10_100, 2)))).toBe('focus');
    expect(why(sub(0, at(10_000, null)), sub(5, at(10_000 + JUMPS.focusSteps + 1, null)))).toBe('focus');
  });

  it('when the telescope was pointed elsewhere', () => {
    const a = sub(0, { altitudeDeg: 60, azimuthDeg: 10 });
    expect(why(a, sub(2, { altitudeDeg: 60, azimuthDeg: 30 }))).toBe('pointing');
    // Near the zenith 30 degrees of azimuth are next to nothing on the sky.
    expect(
      why(sub(0, { altitudeDeg: 88, azimuthDeg: 10 }), sub(2, { altitudeDeg: 88, azimuthDeg: 40 })),
    ).toBeUndefined();
    expect(why(sub(0, { pierSide: 'east' }), sub(2, { pierSide: 'west' }))).toBe('pointing');
    expect(why(sub(0, { object: 'North field' }), sub(2, { object: 'South field' }))).toBe('pointing');
  });

  it('after a long pause, and with another camera or frame size', () => {
    expect(why(sub(0), sub(JUMPS.pauseMin + 1))).toBe('pause');
    expect(why(sub(0, { camera: 'Invented 6' }), sub(1, { camera: 'Invented 26' }))).toBe('set-up');
    expect(why(sub(0), sub(1, {}, { width: 50 }))).toBe('set-up');
  });
});
