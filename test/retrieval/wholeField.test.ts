import { beforeAll, describe, expect, it } from 'vitest';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { type Measurement, measureField, measureFrame, refine } from '../../src/measure.ts';
import { drawSub, type SubOptions } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

/** Coma of a tilted primary, um an arcminute: D/(32 N^2) times an arcminute in radians (optics handbooks: W131 = theta D/(32 N^2)). */
const COMA_UM_PER_ARCMIN = (200_000 / (32 * 16)) * (Math.PI / 10800);

function both(subs: readonly SubOptions[]): { quick: Measurement; fine: Measurement } {
  const frames = subs.map((sub, i) =>
    drawSub({ width: 2400, height: 1600, starCount: 420, seed: 40 + i, fieldSeed: 9, ...sub }),
  );
  return refined(frames, { corrector: 1 });
}

const retrievedOf = ({ diagnosis }: Measurement) => {
  const found = diagnosis.amounts?.retrieved;
  if (!found) throw new Error('the whole-field fit did not settle');
  return found;
};

describe('one sub of a telescope with everything wrong at once', () => {
  const state = {
    sensorTiltArcmin: { x: 30, y: 10 },
    primaryTiltArcmin: { x: 2.4, y: 1.2 },
    trefoilUm: { x: 0.15, y: 0.1 },
    focusUm: 15,
    astigmatismUm: { x: 0.08, y: 0 },
  };
  let run: { quick: Measurement; fine: Measurement };
  beforeAll(() => {
    run = both([{ state, smear: { driftUm: { x: 3, y: 2 } } }]);
  });

  it('gets seeing, focus, tilt, coma, trefoil and astigmatism back in real units', () => {
    const found = retrievedOf(run.fine);
    const [sub] = found.perSub;
    expect(sub.seeingArcsec.value).toBeGreaterThan(2.4);
    expect(sub.seeingArcsec.value).toBeLessThan(2.6);
    // Five sixths of the way to a wave's error are 3 um of focus at f/4.
    expect(Math.abs(sub.focusUm.value - 15)).toBeLessThan(4);
    const arcmin = found.comaUm.value / COMA_UM_PER_ARCMIN;
    expect(Math.abs(arcmin / Math.hypot(2.4, 1.2) - 1)).toBeLessThan(0.15);
    // Tails point away from the lean of the axis.
    expect(Math.abs(Math.atan2(found.coma.y, found.coma.x) - Math.atan2(-1, -2))).toBeLessThan(0.1);
    const slope = Math.hypot(30, 10) * (Math.PI / 10800);
    const axis = Math.atan2(10, 30);
    const widthUm = 3.76 * (2400 * Math.cos(axis) + 1600 * Math.sin(axis));
    expect(found.tiltUm.value / (slope * widthUm)).toBeGreaterThan(0.93);
    expect(found.tiltUm.value / (slope * widthUm)).toBeLessThan(1.07);
    expect(found.trefoilRmsUm.value / (Math.hypot(0.15, 0.1) / Math.sqrt(8))).toBeGreaterThan(0.85);
    expect(found.trefoilRmsUm.value / (Math.hypot(0.15, 0.1) / Math.sqrt(8))).toBeLessThan(1.2);
    const astigmatism = found.astigmatismRmsUm.uniform;
    expect(Math.abs(Math.hypot(astigmatism.x, astigmatism.y) - 0.08 / Math.sqrt(6))).toBeLessThan(0.012);
  });

  it('explains the field on stars it was not fitted to, and the table is not what decided', () => {
    const { explained, drawnAgainstTable, chi2PerFreedom } = retrievedOf(run.fine);
    expect(explained.size).toBeGreaterThan(0.95);
    expect(explained.elongation).toBeGreaterThan(0.95);
    expect(drawnAgainstTable).toBeLessThan(1.5);
    expect(chi2PerFreedom).toBeLessThan(3);
  });

  it('names the same faults as the quick path', () => {
    const faults = ({ diagnosis }: Measurement): string[] =>
      diagnosis.findings.flatMap((f) => (f.status === 'fault' ? [f.cause] : [])).sort();
    expect(faults(run.fine)).toEqual(faults(run.quick));
    expect(faults(run.fine)).toContain('sensor-tilt');
    expect(faults(run.fine)).toContain('miscollimation');
  });
});

describe('a field so curved that only the middle is sharp enough to measure', () => {
  const UM_PER_MM2 = 20;
  const SENSOR_HALF_MM = (3.76 / 2000) * Math.hypot(2400, 1600);

  it('gets the focus of the corners back from the stars that are left, and that of the whole', () => {
    const { fine } = both([{ state: { fieldCurvatureUmPerMm2: UM_PER_MM2, focusUm: -40 }, starCount: 900 }]);
    const { curvatureUm, perSub } = retrievedOf(fine);
    // A corrector as drawn leaves no curvature of its own here; r^2 of a rectangle averages a third of its half-diagonal's.
    const corner = UM_PER_MM2 * SENSOR_HALF_MM ** 2;
    expect(Math.abs(Math.abs(curvatureUm.value) / corner - 1)).toBeLessThan(0.03);
    const { value, low, high } = perSub[0].compromiseUm;
    expect(Math.abs(value - (corner / 3 - 40))).toBeLessThan(12);
    expect(high - low).toBeLessThan(0.5 * (perSub[0].focusUm.high - perSub[0].focusUm.low + 2 * curvatureUm.error));
  });
});

describe('a sub on focus and one 50 um off', () => {
  it('tells the amount of tilt to a quarter of it, which one focus cannot', () => {
    const state = { primaryTiltArcmin: { x: 2, y: -2.2 } };
    const { quick, fine } = both([
      { state: { ...state, focusUm: -5 } },
      { state: { ...state, focusUm: 45 }, seeingArcsec: 2.6 },
    ]);
    const { comaUm, perSub } = retrievedOf(fine);
    const truth = Math.hypot(2, 2.2);
    expect(Math.abs(comaUm.value / COMA_UM_PER_ARCMIN / truth - 1)).toBeLessThan(0.25);
    expect((comaUm.high - comaUm.low) / comaUm.value).toBeLessThan(0.25);
    expect(Math.abs(perSub[1].focusUm.value) - Math.abs(perSub[0].focusUm.value)).toBeGreaterThan(25);
    // The lengths differ between the subs, the direction does not: it is as sure as from two alike.
    const coma = quick.diagnosis.findings.find((f) => f.cause === 'miscollimation');
    expect(coma?.status).toBe('fault');
    expect(coma?.significance).toBeGreaterThan(15);
  });
});

describe('a pinched mirror in focus and 70 um off', () => {
  it('is as sure as from two alike, although trefoil answers several times as strongly out of focus', () => {
    const state = { trefoilUm: { x: 0.3, y: 0.1 } };
    const { fine } = both([{ state }, { state: { ...state, focusUm: 70 } }]);
    const pinched = fine.diagnosis.findings.find((f) => f.cause === 'pinched-optics');
    expect(pinched?.status).toBe('fault');
    expect(pinched?.significance).toBeGreaterThan(20);
    const [inFocus, off] = fine.diagnosis.amounts?.smooth.perFrame.map(({ fields }) => fields.trefoil.uniform) ?? [];
    expect(Math.hypot(off?.x ?? 0, off?.y ?? 0)).toBeGreaterThan(1.5 * Math.hypot(inFocus?.x ?? 9, inFocus?.y ?? 9));
    // Noll's term 10: the coefficient over the square root of 8.
    const rms = Math.hypot(0.3, 0.1) / Math.sqrt(8);
    expect(Math.abs(retrievedOf(fine).trefoilRmsUm.value / rms - 1)).toBeLessThan(0.15);
  });
});

describe('two subs 65 um off, with little coma and nothing tilted', () => {
  const ARCMIN = { x: 0.35, y: -0.2 };
  const lows: number[] = [];

  it.each([9, 1, 2, 3, 4, 5])(
    'leaves open how far off they are, and calls neither coma nor tilt a fault, stars %d',
    (fieldSeed) => {
      const state = { primaryTiltArcmin: ARCMIN, focusUm: 65 };
      const { fine } = both([
        { state, starCount: 130, fieldSeed },
        { state, starCount: 130, fieldSeed, seeingArcsec: 2.7 },
      ]);
      const { perSub, tiltUm, comaUm } = retrievedOf(fine);
      for (const { focusUm } of perSub) expect(focusUm.high).toBeGreaterThan(40);
      expect(tiltUm.high).toBeLessThan(25);
      // What is told of the amount holds the truth in its 90 % (1.645 sigma), and does not hide behind an error as large as itself.
      const truth = Math.hypot(ARCMIN.x, ARCMIN.y) * COMA_UM_PER_ARCMIN;
      expect(comaUm.value - 1.645 * (comaUm.value - comaUm.low)).toBeLessThan(truth);
      expect(comaUm.value + 1.645 * (comaUm.high - comaUm.value)).toBeGreaterThan(truth);
      expect(comaUm.value - comaUm.low).toBeLessThan(0.6 * comaUm.value);
      expect(fine.diagnosis.verdict).not.toBe('adjust');
      lows.push(comaUm.low / COMA_UM_PER_ARCMIN);
    },
  );

  it('leaves so little of the coma certain that half an arcminute would do, over the nights', () => {
    expect(lows.length).toBe(6);
    expect(lows.reduce((sum, low) => sum + low, 0) / lows.length).toBeLessThan(0.5);
  });
});

describe('three subs, the last in far softer air', () => {
  it('keep a primary that is off by 4 arcmin, and each sub its seeing', () => {
    const state = { primaryTiltArcmin: { x: 4, y: 0 } };
    const { fine } = both([2.2, 2.2, 3.6].map((seeingArcsec) => ({ state, seeingArcsec })));
    const { comaUm, perSub } = retrievedOf(fine);
    expect(Math.abs(comaUm.value / COMA_UM_PER_ARCMIN / 4 - 1)).toBeLessThan(0.2);
    for (const [f, seeing] of [2.2, 2.2, 3.6].entries())
      expect(Math.abs(perSub[f].seeingArcsec.value / seeing - 1)).toBeLessThan(0.07);
    expect(fine.diagnosis.verdict).toBe('adjust');
  });
});

describe('where it has nothing to stand on', () => {
  it('goes on without a sub that has no star left', () => {
    const frame = drawSub({ seed: 3 });
    const good = measureFrame(frame);
    const measurement = measureField(
      [good, { ...good, stars: { ...good.stars, shapes: [] } }],
      setupFromFrames([frame, frame], {}),
      orientationOf([frame, frame], {}),
    );
    expect(measurement.diagnosis.verdict).toBe('good');
  });

  it('leaves the quick answer as it is: unknown optics', () => {
    const frames = [drawSub({ seed: 3, facts: { apertureMm: null } })];
    const quick = measureField(
      frames.map((frame) => measureFrame(frame)),
      setupFromFrames(frames, {}),
      orientationOf(frames, {}),
    );
    expect(refine(quick)).toBe(quick);
  });
});
