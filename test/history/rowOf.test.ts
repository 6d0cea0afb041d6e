import { expect, it } from 'vitest';
import { rowOf } from '../../src/history/rowOf.ts';
import type { FrameRecord, Report } from '../../src/report/record.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const base = EXAMPLE_REPORTS.tilted;
const withFrames = (...changes: Partial<FrameRecord>[]): Report => ({
  ...base,
  frames: changes.map((change) => ({ ...base.frames[0], ...change })),
});

it('the time is the middle of the subs: DATE-OBS is the start of exposure in UTC (FITS 4.0, table 22)', () => {
  const row = rowOf(
    withFrames({ dateObs: '2031-02-11T21:00:00', exposureS: 120 }, { dateObs: '2031-02-11T22:00:00Z', exposureS: 240 }),
  );
  expect(row.time).toBe('2031-02-11T21:31:30.000Z');
  expect(row.timeFrom).toBe('subs');
  expect(row.exposureS).toBe(360);
});

it('without a date the report’s time stands in, and that is said', () => {
  const row = rowOf(withFrames({ dateObs: null }));
  expect([row.time, row.timeFrom]).toEqual([base.created, 'report']);
});

it('directions are averaged on the circle, and what the subs do not agree on is null', () => {
  const row = rowOf(withFrames({ azimuthDeg: 350, pierSide: 'east' }, { azimuthDeg: 20, pierSide: 'west' }));
  expect(row.azimuthDeg).toBeCloseTo(5, 9);
  expect(row.pierSide).toBeNull();
});

it('air and focuser temperatures are never mixed, and unused subs tell nothing', () => {
  const row = rowOf(
    withFrames(
      { temperatureC: 4, temperatureFrom: 'ambient' },
      { temperatureC: 9, temperatureFrom: 'focuser' },
      { used: false, temperatureC: 40, temperatureFrom: 'ambient' },
    ),
  );
  expect([row.temperatureC, row.temperatureFrom, row.subs]).toEqual([4, 'ambient', 2]);
});

it('amounts are the report’s, the width is the sharpest zone’s, the elongation the median zone’s', () => {
  const row = rowOf(base);
  expect(row.coma3).toEqual(base.field.coma.uniform3);
  expect(row.sensorTilt).toEqual({ um: { value: 84, error: 9 }, upperLimitUm: null, axisDeg: 62, axisErrorDeg: 4.2 });
  expect(row.fwhmFloorPx?.value).toBe(2.93);
  expect(row.elongation?.value).toBe(1.05);
  expect(row.elongation?.error).toBeCloseTo((Math.sqrt(Math.PI / 2) * 0.008) / 3, 6);
  expect(row.faults).toEqual(['sensor-tilt']);
  expect(row.sha256).toHaveLength(3);
});

it('nothing measured is null, never zero', () => {
  const row = rowOf(EXAMPLE_REPORTS.inconclusive);
  for (const key of ['comaUm', 'mirrorTilt', 'sensorTilt', 'curvatureUm', 'smearPx', 'arcsecPerPx'] as const)
    expect(row[key], key).toBeNull();
});
