import { describe, expect, it } from 'vitest';
import { fitSpinFields } from '../../src/field/spinFields.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import type { Frame, Mosaic, RowOrder } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { rowFlippedPattern } from '../../src/frame/mosaic.ts';
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

const ROW_ORDERS: readonly RowOrder[] = ['TOP-DOWN', 'BOTTOM-UP'];

/** The sub as its camera would store it: BAYERPAT names the colours as the picture is shown. */
function stored(sub: Frame, pattern: Mosaic['pattern'], rowOrder: RowOrder, toldOrder: boolean): Frame {
  const shown = rowOrder === 'TOP-DOWN' ? pattern : rowFlippedPattern(pattern, sub.height);
  const cards = [
    { keyword: 'BAYERPAT', value: shown.join('') },
    ...(toldOrder ? [{ keyword: 'ROWORDER', value: rowOrder }] : []),
  ];
  return frameFromFits(
    encodeFits({ pixels: sub.pixels.data, width: sub.width, height: sub.height, cards }),
    'colour.fits',
  );
}

describe('a colour mosaic measured on its green pixels at their true places', () => {
  // The mono twin sees the same stars through the green pixels' own pass band.
  const mono = measureFrame(drawSub({ ...SUB, filter: 'mosaic-green' })).stars;
  const twin = fitSpinFields(mono);
  const twinFwhm = median(mono.shapes.map((s) => s.fwhm));

  for (const pattern of PATTERNS)
    it(`${pattern.join('')}: FWHM, elongation and coma are those of the mono twin within errors, in both row orders`, () => {
      const sub = drawSub({ ...SUB, camera: { mosaic: pattern } });
      // Whatever the header says of the row order, the pixels show the same green sites, and these are measured.
      const greens = ROW_ORDERS.flatMap((order) =>
        [true, false].map((told) => stored(sub, pattern, order, told).mosaic),
      );
      const parity = pattern[0] === 'G' ? 0 : 1;
      expect(greens).toEqual(Array.from({ length: 4 }, () => ({ greenParity: parity, fromData: true })));
      const { stars } = measureFrame({ ...sub, mosaic: greens[0] ?? null });
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
      // Coma large against the floor of its error.
      const sub = { ...SUB, state: { primaryTiltArcmin: { x: 4, y: 6 } } };
      const colour = recordOf([drawSub({ ...sub, rowOrder, camera: { mosaic: ['R', 'G', 'G', 'B'] } })]);
      const plain = recordOf([drawSub({ ...sub, rowOrder, filter: 'mosaic-green' })]);
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
