import { expect, it } from 'vitest';
import type { Report } from '../../src/report/record.ts';
import { drawCase } from './drawnCase.ts';
import { classOf, falseFaults, isClear, topOf, trueFaults } from './judge.ts';
import { directionsOf } from './pulls.ts';
import { judgeCase, measureCase, type Outcome } from './runCase.ts';
import { quantile } from './statistics.ts';

/** A cut of `npm run accuracy` on smaller frames: cases that are cheap to draw, among them good and faulty ones. */
const SEED = 7;
const FRAME = { widthPx: 1872, heightPx: 1252 };
const CASES = [0, 1, 11, 14, 24, 28, 33, 38, 70];

const outcomes = new Map<number, Outcome>();
function outcomeOf(index: number): Outcome {
  const known = outcomes.get(index);
  if (known !== undefined) return known;
  const made = judgeCase(measureCase(drawCase(SEED, index, FRAME)));
  outcomes.set(index, made);
  return made;
}

it.each(CASES)(
  'case %i: no fault that was not drawn, the drawn one on top',
  (index) => {
    const outcome = outcomeOf(index);
    expect(falseFaults(outcome).map((f) => f.cause)).toEqual([]);
    if (isClear(outcome)) expect(topOf(outcome)).toBe(trueFaults(outcome)[0]);
    if (classOf(outcome) === 'mixture') expect(trueFaults(outcome)).toContain(topOf(outcome));
  },
  180_000,
);

it('the cut holds good cases, clear single faults and a mixture', () => {
  const classes = CASES.map((index) => classOf(outcomeOf(index)));
  expect(classes.filter((kind) => kind === 'good').length).toBeGreaterThanOrEqual(4);
  expect(classes).toContain('mixture');
  const clear = CASES.map(outcomeOf).filter(isClear);
  expect(new Set(clear.map((o) => trueFaults(o)[0])).size).toBeGreaterThanOrEqual(3);
});

it('directions above 10 sigma: median below 4 degrees, none beyond 12; below that within three errors', () => {
  const directions = CASES.map(outcomeOf).flatMap(directionsOf);
  const sure = directions.filter((d) => d.significance >= 10).map((d) => d.off);
  expect(sure.length).toBeGreaterThanOrEqual(4);
  expect(quantile(sure, 0.5)).toBeLessThan(4);
  expect(Math.max(...sure)).toBeLessThan(12);
  expect(directions.filter((d) => d.significance < 10 && d.off > 3 * d.error)).toEqual([]);
});

it('the field has an axis of tilt only where the finding has one', () => {
  const axes = CASES.map(outcomeOf).map(({ report }) => ({
    field: report.field.defocus.axisDeg,
    finding: report.findings.find((f) => f.cause === 'sensor-tilt')?.axisDeg ?? null,
    hidden: report.findings.some((f) => f.cause === 'sensor-tilt' && f.status === 'not-measurable'),
  }));
  expect(axes.filter(({ hidden, field, finding }) => !hidden && field !== finding)).toEqual([]);
  expect(axes.some(({ field }) => field !== null)).toBe(true);
  expect(axes.some(({ field }) => field === null)).toBe(true);
});

it('a record that names another cause, another direction or a fault too many is noticed', () => {
  const outcome = CASES.map(outcomeOf).find((o) => isClear(o) && directionsOf(o).some((d) => d.significance >= 10));
  if (outcome === undefined) throw new Error('no clear case with a sure direction');
  const { report } = outcome;
  const changed = (findings: Report['findings']): Outcome => ({ ...outcome, report: { ...report, findings } });
  const [first] = report.findings;
  const other = changed(report.findings.map((f) => (f === first ? { ...f, cause: 'astigmatism' } : f)));
  expect(topOf(other)).not.toBe(trueFaults(other)[0]);
  expect(falseFaults(other).map((f) => f.cause)).toEqual(['astigmatism']);
  const add = (degrees: number | null): number | null => (degrees === null ? null : (degrees + 30) % 180);
  const turned = changed(
    report.findings.map((f) => ({ ...f, directionDeg: add(f.directionDeg), axisDeg: add(f.axisDeg) })),
  );
  expect(Math.max(...directionsOf(turned).map((d) => d.off))).toBeGreaterThan(20);
});
