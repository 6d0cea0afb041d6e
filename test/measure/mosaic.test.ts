import { describe, expect, it } from 'vitest';
import { fitSpinFields } from '../../src/field/spinFields.ts';
import type { Mosaic } from '../../src/frame/frame.ts';
import { measureFrame } from '../../src/measure.ts';
import { median } from '../../src/numeric/statistics.ts';
import { drawSub } from '../support/draw.ts';
import { findingOf, recordOf } from '../support/record.ts';

const SUB = {
  width: 1500,
  height: 1100,
  starCount: 320,
  seed: 41,
  seeingArcsec: 3,
  state: { primaryTiltArcmin: { x: 2, y: 3 } },
  smear: { driftUm: { x: 5, y: 2 } },
} as const;

const PATTERNS: readonly Mosaic['pattern'][] = [
  ['R', 'G', 'G', 'B'],
  ['B', 'G', 'G', 'R'],
  ['G', 'R', 'B', 'G'],
  ['G', 'B', 'R', 'G'],
];

describe('a colour mosaic measured on its green pixels at their true places', () => {
  // The mono twin sees the same stars through the green pixels' own pass band.
  const mono = measureFrame(drawSub({ ...SUB, filter: 'mosaic-green' })).stars;
  const twin = fitSpinFields(mono);
  const twinFwhm = median(mono.shapes.map((s) => s.fwhm));

  for (const pattern of PATTERNS)
    it(`${pattern.join('')}: FWHM, elongation and coma are those of the mono twin within errors`, () => {
      const { stars } = measureFrame(drawSub({ ...SUB, camera: { mosaic: pattern } }));
      expect(stars.shapes.length).toBeGreaterThan(0.7 * mono.shapes.length);
      const fields = fitSpinFields(stars);
      const fwhm = median(stars.shapes.map((s) => s.fwhm));
      expect(Math.abs(fwhm / twinFwhm - 1)).toBeLessThan(0.01);
      const differs = (
        a: { x: number; y: number; error: number } | undefined,
        b: { x: number; y: number; error: number } | undefined,
      ): number =>
        Math.hypot((a?.x ?? 9) - (b?.x ?? 0), (a?.y ?? 9) - (b?.y ?? 0)) / Math.hypot(a?.error ?? 0, b?.error ?? 0);
      // Both components within four of their common errors; half the light means larger errors, no other shape.
      expect(differs(fields?.distortion.uniform, twin?.distortion.uniform)).toBeLessThan(4);
      expect(differs(fields?.coma.uniform, twin?.coma.uniform)).toBeLessThan(4);
      expect(fields?.coma.uniform.error).toBeLessThan(3 * (twin?.coma.uniform.error ?? 0));
    });

  for (const rowOrder of ['TOP-DOWN', 'BOTTOM-UP'] as const)
    it(`${rowOrder}: the direction on the screen is that of the mono twin within errors`, () => {
      const colour = recordOf([drawSub({ ...SUB, rowOrder, camera: { mosaic: ['R', 'G', 'G', 'B'] } })]);
      const plain = recordOf([drawSub({ ...SUB, rowOrder, filter: 'mosaic-green' })]);
      const a = findingOf(colour, 'miscollimation');
      const b = findingOf(plain, 'miscollimation');
      expect(a.status).toBe(b.status);
      const error = Math.hypot(a.directionErrorDeg ?? 0, b.directionErrorDeg ?? 0);
      expect(error).toBeLessThan(3);
      expect(Math.abs((a.directionDeg ?? 0) - (b.directionDeg ?? 99))).toBeLessThan(3 * error);
    });

  it('sums over interpolated planes are never taken: stars of 2.2 px on green pixels are too sharp to judge', () => {
    const report = recordOf([drawSub({ ...SUB, seeingArcsec: 1.6, camera: { mosaic: ['R', 'G', 'G', 'B'] } })]);
    expect(report.frames[0]?.fwhmPx).toBeLessThan(2.4);
    expect(report.verdict).toBe('inconclusive');
  });
});
