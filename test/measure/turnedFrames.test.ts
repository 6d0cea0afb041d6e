import { describe, expect, it } from 'vitest';
import type { Frame } from '../../src/frame/frame.ts';
import type { Report } from '../../src/report/record.ts';
import { drawSub } from '../support/draw.ts';
import { angleBetween, findingOf, recordOf } from '../support/record.ts';
import { mirrored, quarterTurned, turnedOver } from '../support/turn.ts';

// One frame with a direction of every spin in it; what the turned frames show must be the turned answer. Its stars stand clear of
// the faintest that are used: which of those are left out goes by the mesh, whose cells do not turn with the frame.
const frame = drawSub({
  width: 1500,
  height: 1100,
  stars: { count: 250, faintestE: 9000 },
  seed: 77,
  rowOrder: 'BOTTOM-UP',
  state: {
    primaryTiltArcmin: { x: 2.5, y: 1.2 },
    sensorTiltArcmin: { x: 40, y: 22 },
    trefoilUm: { x: 0.2, y: 0.15 },
  },
  smear: { driftUm: { x: 4, y: 6 } },
});

interface Directions {
  readonly coma: number;
  readonly tilt: number;
  readonly smear: number;
  readonly trefoil: number;
}

function directionsOf(report: Report): Directions {
  return {
    coma: findingOf(report, 'miscollimation').directionDeg ?? Number.NaN,
    tilt: report.field.defocus.axisDeg ?? Number.NaN,
    smear: report.field.smear.axisDeg ?? Number.NaN,
    trefoil: report.field.trefoil.directionDeg ?? Number.NaN,
  };
}

const original = recordOf([frame]);
const before = directionsOf(original);
// The stars are the same pixels; only the mesh's cells and the order of sums differ.
const SAME = 0.5; // degrees
// Tilt is fitted on stars averaged in cells of the frame, which are other cells in a turned frame.
const SAME_TILT = 6;

function expectTurned(turned: Frame, turn: (deg: number) => number): void {
  const after = directionsOf(recordOf([turned]));
  expect(angleBetween(after.coma, turn(before.coma))).toBeLessThan(SAME);
  expect(angleBetween(after.smear, turn(before.smear), 180)).toBeLessThan(SAME);
  expect(angleBetween(after.trefoil, turn(before.trefoil), 120)).toBeLessThan(SAME);
  expect(angleBetween(after.tilt, turn(before.tilt), 180)).toBeLessThan(SAME_TILT);
}

describe('directions follow the frame', () => {
  it('a quarter turn counter-clockwise on the screen adds 90 degrees to every direction', () => {
    expectTurned(quarterTurned(frame), (deg) => deg + 90);
  });

  it('a mirrored frame mirrors every direction left to right', () => {
    expectTurned(mirrored(frame), (deg) => 180 - deg);
  });

  it('rows in reverse order mirror every direction top to bottom', () => {
    expectTurned(turnedOver(frame), (deg) => -deg);
  });

  it('the same picture stored with the other ROWORDER gives the same answer on the screen', () => {
    const other: Frame = {
      ...turnedOver(frame),
      facts: { ...frame.facts, rowOrder: { value: 'TOP-DOWN', keyword: 'ROWORDER' } },
    };
    const report = recordOf([other]);
    const after = directionsOf(report);
    expect(angleBetween(after.coma, before.coma)).toBeLessThan(SAME);
    expect(angleBetween(after.smear, before.smear, 180)).toBeLessThan(SAME);
    expect(angleBetween(after.trefoil, before.trefoil, 120)).toBeLessThan(SAME);
    expect(report.orientation).toEqual({ rowOrder: 'TOP-DOWN', assumed: false, spikes: null });
    const a = findingOf(original, 'miscollimation').starShiftPx;
    const b = findingOf(report, 'miscollimation').starShiftPx;
    expect(b?.from.x).toBeCloseTo(a?.from.x ?? Number.NaN, 1);
    expect(b?.from.y).toBeCloseTo(a?.from.y ?? Number.NaN, 1);
    report.zones.forEach((zone, i) => {
      expect(zone.fwhmPx?.value).toBeCloseTo(original.zones[i]?.fwhmPx?.value ?? Number.NaN, 2);
    });
  });

  it('without ROWORDER the display convention of FITS is taken, and said', () => {
    const silent = recordOf([{ ...frame, facts: { ...frame.facts, rowOrder: null } }]);
    expect(silent.orientation).toEqual({ rowOrder: 'BOTTOM-UP', assumed: true, spikes: null });
    expect(silent.notes.join(' ')).toContain('BOTTOM-UP');
  });

  it('the tails of a primary tilted to the upper right point to the lower left', () => {
    // optics.md 2.2, ray-traced: tail opposite to the tilt.
    expect(angleBetween(before.coma, (Math.atan2(-1.2, -2.5) * 180) / Math.PI)).toBeLessThan(12);
  });
});
