import { describe, expect, it } from 'vitest';
import { airSkew, withoutAir } from '../../src/diagnosis/airSkew.ts';
import type { FrameStars } from '../../src/field/frameStars.ts';
import { length, polar, subtract } from '../../src/optics/complex.ts';
import type { FilterName } from '../../src/optics/filter.ts';
import { drawSub, type SubOptions } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

const air = { distortion: 0.1, coma3: 0.002, trefoil3: 0.008 };
const axis = 0.7;
const none = { x: 0, y: 0, error: 0.0005 };
const parts = (trefoil: { x: number; y: number }, long = 0.1, error = 0.001) => ({
  coma: none,
  trefoil: { ...trefoil, error },
  distortion: { ...polar(long, 2 * axis), error: 0.003 },
});

describe('the skew that the air makes', () => {
  it.each([axis, axis + Math.PI])('lies along the long axis, to the side that the trefoil tells, %f rad', (towards) => {
    const made = airSkew(parts(polar(0.0075, 3 * towards)), air) ?? expect.unreachable('no air');
    expect(made.told).toBe(true);
    expect(length(subtract(made.coma3, polar(0.002, towards)))).toBeLessThan(1e-9);
    expect(length(subtract(made.trefoil3, polar(0.008, 3 * towards)))).toBeLessThan(1e-9);
  });

  it('goes with the length to the power of three halves: second and third moments', () => {
    const made = airSkew(parts(polar(0.004, 3 * axis), 0.064), air);
    expect(length(made?.coma3 ?? none)).toBeCloseTo(0.002 * 0.64 ** 1.5, 6);
  });

  it.each([
    { where: 'the trefoil is not known well enough', of: parts(polar(0.008, 3 * axis), 0.1, 0.004) },
    { where: 'a trefoil of the optics stands beside it', of: parts(polar(0.03, 3 * axis + 0.5)) },
    { where: 'a jump made far more of it', of: parts(polar(0.03, 3 * axis)) },
    { where: 'the stars are much longer than the air makes them', of: parts(polar(0.008, 3 * axis), 0.2) },
  ])('is not taken off where $where, but stands in the errors', ({ of }) => {
    const made = airSkew(of, air) ?? expect.unreachable('no air');
    expect(made.told).toBe(false);
    expect(length(made.coma3)).toBe(0);
    // Either way along one axis.
    expect(made.coma3.error * Math.SQRT2).toBeGreaterThanOrEqual(0.002);
    expect(made.trefoil3.error * Math.SQRT2).toBeGreaterThanOrEqual(0.00799);
  });

  it('is taken off every star', () => {
    const shape = { x: 1, y: 2, coma3: { x: 0.01, y: 0, error: 0.1 }, trefoil3: { x: 0, y: 0.02, error: 0.2 } };
    const frames = [{ name: 'a', width: 10, height: 10, shapes: [shape] }] as unknown as FrameStars[];
    const made = airSkew(parts(polar(0.0075, 3 * axis)), air);
    const [{ shapes }] = withoutAir(frames, made);
    expect(shapes[0].coma3.x).toBeCloseTo(0.01 - 0.002 * Math.cos(axis), 9);
    expect(shapes[0].trefoil3.y).toBeCloseTo(0.02 - 0.008 * Math.sin(3 * axis), 9);
    expect(shapes[0].coma3.error).toBe(0.1);
    expect(withoutAir(frames, null)).toBe(frames);
  });
});

it('a jump along it in one of two subs is found beside the air', () => {
  const atmosphere = { altitudeDeg: 35, zenith: { x: 1, y: 0 } };
  const smears = [{}, { jumpUm: { x: 6, y: 0 }, jumpFraction: 0.2 }];
  const frames = smears.map((smear, i) =>
    drawSub({
      ...{ width: 1500, height: 1000, starCount: 220, seed: 95 + i, fieldSeed: 19, seeingArcsec: 2.2 },
      ...{ filter: 'L', atmosphere, smear, state: { focusUm: 8 } },
    }),
  );
  const { diagnosis } = refined(frames, { corrector: 1 }).quick;
  const amounts = diagnosis.amounts ?? expect.unreachable('nothing measured');
  expect([...amounts.jumped.keys()]).toEqual([1]);
  expect(length(amounts.coma)).toBeLessThan(0.002);
});

describe.each<{ filter: FilterName; altitudeDeg: number; zenith: { x: number; y: number } }>([
  { filter: 'none', altitudeDeg: 45, zenith: { x: 0.6, y: -0.8 } },
  { filter: 'L', altitudeDeg: 35, zenith: { x: -0.8, y: -0.6 } },
])('drawn through the air at $altitudeDeg deg, filter $filter', ({ filter, altitudeDeg, zenith }) => {
  const measured = (state: SubOptions['state']) => {
    const frames = [0, 1].map((i) =>
      drawSub({
        ...{ width: 1500, height: 1000, starCount: 220, seed: 90 + i, fieldSeed: 18, seeingArcsec: 2.2 },
        ...{ filter, atmosphere: { altitudeDeg, zenith }, state: { focusUm: 8, ...state } },
      }),
    );
    const { diagnosis } = refined(frames, { corrector: 1 }).fine;
    return { findings: diagnosis.findings, amounts: diagnosis.amounts ?? expect.unreachable('nothing measured') };
  };

  it('a collimated mirror is not told to be off, nor a free one to be pinched', () => {
    const { findings, amounts } = measured({});
    expect(amounts.airSkew?.told).toBe(true);
    // Blue lies towards the zenith, and there the tail.
    const { trefoil3 } = amounts.airSkew ?? expect.unreachable('no air');
    const drawn = polar(length(trefoil3), 3 * Math.atan2(zenith.y, zenith.x));
    expect(length(subtract(trefoil3, drawn))).toBeLessThan(0.2 * length(trefoil3));
    const optical = findings.filter(({ cause }) => cause === 'miscollimation' || cause === 'pinched-optics');
    expect(optical.map(({ status }) => status)).not.toContain('fault');
    // The stars show 0.0016 to 0.0029 and 0.008.
    expect(length(amounts.coma)).toBeLessThan(0.0012);
    expect(length(amounts.trefoil)).toBeLessThan(0.0025);
  });

  it('out of focus the air skews otherwise, and the errors know', () => {
    const { findings, amounts } = measured({ focusUm: 70 });
    expect(length(amounts.coma)).toBeLessThan(3 * Math.SQRT2 * amounts.coma.error);
    expect(findings.filter(({ status }) => status === 'fault').map(({ cause }) => cause)).not.toContain(
      'miscollimation',
    );
  });

  it('a tilt is told as it is', () => {
    const { findings, amounts } = measured({ primaryTiltArcmin: { x: 3, y: 2 } });
    const found = findings.find(({ cause }) => cause === 'miscollimation');
    expect(found?.status).toBe('fault');
    // Tails point away from the lean of the axis.
    expect(Math.abs(Math.atan2(-2, -3) - (found?.direction ?? 0))).toBeLessThan(0.12);
    expect(amounts.retrieved).not.toBeNull();
  });
});
