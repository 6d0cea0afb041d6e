import { describe, expect, it } from 'vitest';
import type { DiscFrame } from '../../src/sweep/findDiscs.ts';
import { plateMoves } from '../../src/sweep/plate.ts';
import { type Series, seriesOf } from '../../src/sweep/series.ts';
import { calibrateSpacing } from '../../src/sweep/spacing.ts';
import { splitTilt } from '../../src/sweep/turned.ts';

const measured: DiscFrame = {
  name: 'f',
  width: 10,
  height: 10,
  discs: [],
  found: 0,
  hfd: null,
  fwhm: null,
  stacks: [],
};
const taken = (positions: readonly (number | null)[], times?: readonly number[]) =>
  positions.map((position, i) => ({
    measured,
    position,
    dateObs: times === undefined ? null : `2031-02-11T21:${String(times[i]).padStart(2, '0')}:00`,
  }));

const isSeries = (value: Series | string): Series => {
  if (typeof value === 'string') throw new Error(value);
  return value;
};

describe('a series', () => {
  it('says a missing step and a repeat', () => {
    const { notes } = isSeries(seriesOf(taken([100, 110, 120, 140, 150, 150]), null));
    expect(notes).toEqual([
      'Between the readings 120, 140'.replace(', ', ' and ') + ' a step is missing (usual step: 10 steps).',
      '1 reading was taken more than once.',
    ]);
  });

  it('is ordered by time where every frame tells it, and marks frames reached against the usual direction', () => {
    const { frames, ordered, notes } = isSeries(seriesOf(taken([30, 10, 20, 25, 15], [3, 1, 2, 4, 5]), null));
    expect(ordered).toBe('time');
    expect(frames.map((f) => f.order)).toEqual([2, 0, 1, 3, 4]);
    expect(frames.map((f) => f.fromAbove)).toEqual([false, false, false, true, true]);
    expect(notes.join(' ')).toContain('turned back once');
  });

  it('needs positions or a step, and names what is wrong', () => {
    expect(seriesOf(taken([null, null]), null)).toBe('no-positions');
    expect(seriesOf(taken([1, null]), null)).toBe('some-positions');
    expect(seriesOf(taken([5, 5]), null)).toBe('one-position');
    expect(isSeries(seriesOf(taken([null, null, null]), 40)).frames.map((f) => f.reading)).toEqual([0, 40, 80]);
  });
});

describe('a tilt plate', () => {
  it('lifts each screw by radius times the slope towards it, the middle staying', () => {
    // 2 um/mm towards the right on a circle of 40 mm: 80 um at 0 degrees, -40 um at 120 and 240 (plane geometry).
    const moves = plateMoves({ radiusMm: 40, pitchMm: 0.5, screws: 3, firstDeg: 0 }, { x: 2, y: 0, error: 0.1 }, 'out');
    expect(moves.map((m) => m.travelUm)).toEqual([
      expect.closeTo(80, 6),
      expect.closeTo(-40, 6),
      expect.closeTo(-40, 6),
    ]);
    expect(moves.map((m) => m.turns)).toEqual([
      expect.closeTo(0.16, 6),
      expect.closeTo(-0.08, 6),
      expect.closeTo(-0.08, 6),
    ]);
    expect(moves.map((m) => m.shimUm)).toEqual([expect.closeTo(120, 6), expect.closeTo(0, 6), expect.closeTo(0, 6)]);
  });

  it('turns shims over where larger readings move the camera in, and has none where that is not known', () => {
    const plate = { radiusMm: 40, pitchMm: null, screws: 3, firstDeg: 0 };
    expect(plateMoves(plate, { x: 2, y: 0, error: 0 }, 'in').map((m) => m.shimUm)).toEqual([
      expect.closeTo(0, 6),
      expect.closeTo(120, 6),
      expect.closeTo(120, 6),
    ]);
    expect(plateMoves(plate, { x: 2, y: 0, error: 0 }, null)[0].shimUm).toBeNull();
  });
});

/** T = camera + tube e^(-i angle): what is fixed to the tube turns backwards in the picture of a turned camera. */
function tiltAt(angleDeg: number, camera: readonly [number, number], tube: readonly [number, number], sense = 1) {
  const a = (-sense * angleDeg * Math.PI) / 180;
  return {
    angleDeg,
    x: camera[0] + tube[0] * Math.cos(a) - tube[1] * Math.sin(a),
    y: camera[1] + tube[0] * Math.sin(a) + tube[1] * Math.cos(a),
    error: 0.1,
  };
}

describe('a turned camera', () => {
  it('at 0 and 180 degrees splits the tilt, with errors widened for want of a check', () => {
    const split = splitTilt([tiltAt(0, [3, 1], [-1, 2]), tiltAt(180, [3, 1], [-1, 2])]);
    expect(split?.camera.x).toBeCloseTo(3, 9);
    expect(split?.camera.y).toBeCloseTo(1, 9);
    expect(split?.tube.x).toBeCloseTo(-1, 9);
    expect(split?.tube.y).toBeCloseTo(2, 9);
    // Half-sum of two measurements: 0.1/sqrt 2; doubled.
    expect(split?.camera.error).toBeCloseTo(0.2 / Math.SQRT2, 6);
    expect(split?.misfitSigma).toBeNull();
  });

  it('at four angles finds the sense of the angles as well', () => {
    const split = splitTilt([0, 80, 190, 280].map((angle) => tiltAt(angle, [3, 1], [-1, 2], -1)));
    expect(split?.senseSeen).toBe(true);
    expect(split?.sense).toBe(-1);
    expect(split?.camera.x).toBeCloseTo(3, 6);
    expect(split?.tube.y).toBeCloseTo(2, 6);
    expect(split?.misfitSigma).toBeCloseTo(0, 6);
  });

  it('needs a turn', () => {
    expect(splitTilt([tiltAt(0, [1, 0], [0, 0]), tiltAt(5, [1, 0], [0, 0])])).toBeNull();
  });
});

describe('corrector spacing', () => {
  it('from two known spacings follows a straight line to the flat field', () => {
    const line = calibrateSpacing([
      { spacingMm: 54, curvatureUm: -20, errorUm: 1 },
      { spacingMm: 56, curvatureUm: 10, errorUm: 1 },
    ]);
    expect(line?.umPerMm).toBeCloseTo(15, 9);
    expect(line?.flatMm).toBeCloseTo(54 + 20 / 15, 9);
    expect(line?.error).toBeCloseTo(Math.SQRT2 / 2, 9);
  });

  it('says nothing from one spacing, or where curvature does not move', () => {
    expect(calibrateSpacing([{ spacingMm: 55, curvatureUm: 12, errorUm: 1 }])).toBeNull();
    expect(
      calibrateSpacing([
        { spacingMm: 55, curvatureUm: 12, errorUm: 5 },
        { spacingMm: 56, curvatureUm: 13, errorUm: 5 },
      ]),
    ).toBeNull();
  });
});
