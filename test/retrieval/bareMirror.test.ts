import { beforeAll, describe, expect, it } from 'vitest';
import { comaVectorUm } from '../../src/diagnosis/refined.ts';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { type Measurement, measureField, measureFrame } from '../../src/measure.ts';
import { drawCase } from '../accuracy/drawnCase.ts';
import { judgeCase, measureCase } from '../accuracy/runCase.ts';
import { drawSub } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

// A bare 200 mm f/4: W131 = theta D/(32 N^2) for a tilt theta, h/(32 N^3) at h from the axis (optics handbooks), so the node
// stands at f theta. The tilt puts it towards a corner: half of the frame's stars are drowned in coma.
const ARCMIN = Math.PI / 10800;
const TILT_ARCMIN = { x: 5, y: 3 };
const NODE_MM = { x: 800 * TILT_ARCMIN.x * ARCMIN, y: 800 * TILT_ARCMIN.y * ARCMIN };
const COMA_UM_PER_ARCMIN = (200_000 / (32 * 16)) * ARCMIN;
const SENSOR_ARCMIN = { x: 25, y: -12 };

describe('a bare mirror with its node off the middle and a tilted sensor', () => {
  let fine: Measurement;
  beforeAll(() => {
    const frames = [
      drawSub({
        width: 3000,
        height: 2000,
        starCount: 500,
        seed: 21,
        telescope: { corrector: null },
        state: { primaryTiltArcmin: TILT_ARCMIN, sensorTiltArcmin: SENSOR_ARCMIN },
      }),
    ];
    fine = refined(frames, { corrector: 'none' }).fine;
  }, 60_000);

  it('is fitted from the stars near its node, and drawn stars there bear it out', () => {
    const retrieved = fine.diagnosis.amounts?.retrieved;
    expect(retrieved?.chi2PerFreedom).toBeLessThan(3);
    expect(retrieved?.drawnAgainstTable).toBeLessThan(1.5);
  });

  it('has its node to 0.1 mm, and by it its coma to a twentieth, pointing away from it', () => {
    const { amounts } = fine.diagnosis;
    const { node, comaUm, halfDiagonalMm } = amounts ?? {};
    expect(
      Math.hypot(
        (node?.u ?? 9) * (halfDiagonalMm ?? 1) - NODE_MM.x,
        (node?.v ?? 9) * (halfDiagonalMm ?? 1) - NODE_MM.y,
      ),
    ).toBeLessThan(0.1);
    expect(
      Math.abs((comaUm?.value ?? 0) / COMA_UM_PER_ARCMIN / Math.hypot(TILT_ARCMIN.x, TILT_ARCMIN.y) - 1),
    ).toBeLessThan(0.05);
    const vector = amounts === null ? null : comaVectorUm(amounts);
    const off = Math.hypot(
      (vector?.x ?? 9) + TILT_ARCMIN.x * COMA_UM_PER_ARCMIN,
      (vector?.y ?? 9) + TILT_ARCMIN.y * COMA_UM_PER_ARCMIN,
    );
    expect(off).toBeLessThan(2.5 * (vector?.error ?? 0));
    expect(vector?.error).toBeLessThan(0.05 * Math.hypot(TILT_ARCMIN.x, TILT_ARCMIN.y) * COMA_UM_PER_ARCMIN);
  });

  it('tells the tilt of the sensor, of which the coma drowns half', () => {
    const retrieved = fine.diagnosis.amounts?.retrieved;
    const axis = Math.atan2(SENSOR_ARCMIN.y, SENSOR_ARCMIN.x);
    const slope = Math.hypot(SENSOR_ARCMIN.x, SENSOR_ARCMIN.y) * ARCMIN;
    const um = slope * 3.76 * (3000 * Math.abs(Math.cos(axis)) + 2000 * Math.abs(Math.sin(axis)));
    expect(Math.abs((retrieved?.tiltUm.value ?? 0) / um - 1)).toBeLessThan(0.15);
  });
});

describe('a bare mirror 70 um out of focus, where its stars answer twice as much to the same coma', () => {
  it('still has the tilt of its sensor told, as a fault', () => {
    const frames = [
      drawSub({
        width: 3000,
        height: 2000,
        starCount: 600,
        seed: 23,
        telescope: { corrector: null },
        state: { sensorTiltArcmin: SENSOR_ARCMIN, focusUm: 70 },
      }),
    ];
    const { diagnosis } = refined(frames, { corrector: 'none' }).fine;
    const tilt = diagnosis.findings.find((f) => f.cause === 'sensor-tilt');
    expect(tilt?.status).toBe('fault');
    expect(Math.abs(Math.tan((tilt?.axis ?? 9) - Math.atan2(SENSOR_ARCMIN.y, SENSOR_ARCMIN.x)))).toBeLessThan(0.15);
    const drawnUm =
      (Math.hypot(SENSOR_ARCMIN.x, SENSOR_ARCMIN.y) * ARCMIN * 3.76 * (3000 * 25 + 2000 * 12)) / Math.hypot(25, 12);
    expect(Math.abs((diagnosis.amounts?.retrieved?.tiltUm.value ?? 0) / drawnUm - 1)).toBeLessThan(0.2);
  }, 60_000);
});

describe('a bare mirror in two subs on the two sides of focus', () => {
  it('is known as one, though its coma is answered otherwise in each', () => {
    const frames = [-55, 25].map((focusUm, i) =>
      drawSub({
        width: 2400,
        height: 1600,
        starCount: 300,
        seed: 31 + i,
        seeingArcsec: 3.2,
        telescope: { corrector: null },
        state: { focusUm },
      }),
    );
    const { diagnosis } = measureField(
      frames.map((frame) => measureFrame(frame)),
      setupFromFrames(frames, {}),
      orientationOf(frames, {}),
    );
    expect(diagnosis.amounts?.optics.bare).toBe(true);
    expect(diagnosis.findings.filter((f) => f.cause === 'astigmatism' && f.status === 'fault')).toEqual([]);
  });
});

describe('a bare mirror whose own curvature tells the side of focus', () => {
  it.each([-60, 60])('%d um off, that side is told', (focusUm) => {
    const frames = [
      drawSub({
        width: 3000,
        height: 2000,
        starCount: 600,
        seed: 27,
        telescope: { corrector: null },
        state: { focusUm },
      }),
    ];
    const { diagnosis } = refined(frames, { corrector: 'none' }).fine;
    const found = diagnosis.amounts?.retrieved?.perSub[0].focusUm.value ?? 0;
    expect(Math.abs(found - focusUm)).toBeLessThan(8);
  });
});

describe('a bare mirror whose tilted sensor nearly makes up for its own curvature', () => {
  it('leaves the side of focus open rather than tell the wrong one', () => {
    // 250 mm f/4.09, 33 um from focus in the middle: as far on its other side, with more tilt, the stars look nearly the same.
    const { truth, report } = judgeCase(measureCase(drawCase(15, 122)));
    expect(truth.causes.defocus.ratio).toBeCloseTo(0.65, 2);
    const defocus = report.findings.find(({ cause }) => cause === 'defocus');
    expect(defocus?.status).not.toBe('fault');
    expect(report.verdict).toBe('good');
  });
});
