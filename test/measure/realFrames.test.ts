import { readFileSync } from 'node:fs';
import { describe, expect, it, type TestContext } from 'vitest';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import type { Report } from '../../src/report/record.ts';
import { recordOf } from '../support/record.ts';
import { debianFrame, realFrame } from '../support/testData.ts';

const read = (path: string, extension?: number): Frame =>
  frameFromFits(new Uint8Array(readFileSync(path)), 'frame.fits', extension);

describe('a star cluster and its compressed twins', () => {
  it('plain, RICE_1 and GZIP_1 give the same record', (context) => {
    const [plain, rice, gzip] = ['m13.fits', 'm13_rice.fits', 'm13_gzip.fits'].map((name) =>
      recordOf([read(realFrame(context, name))]),
    );
    const nameless = (report: Report | undefined) => ({
      ...report,
      frames: report?.frames.map((frame) => ({ ...frame, notes: [] })),
    });
    expect(nameless(rice)).toEqual(nameless(plain));
    expect(nameless(gzip)).toEqual(nameless(plain));
    expect(plain?.frames[0]?.starsFound).toBeGreaterThan(100);
  });
});

/**
 * A grid of lamp pinholes through real camera optics. Unweighted least-squares elliptical Gaussians by scipy on 1943
 * pinholes (FWHM / axis ratio), nine zones, first row = largest FITS y.
 */
const VIMOS = [
  [3.79, 1.31],
  [3.9, 1.18],
  [4.14, 1.25],
  [3.7, 1.17],
  [3.86, 1.04],
  [4.02, 1.11],
  [3.89, 1.19],
  [3.86, 1.08],
  [4.2, 1.11],
] as const;

describe('pinholes through real optics', () => {
  const vimos = (context: TestContext, extension: number): Report =>
    recordOf([read(debianFrame(context, 'vimos.fits'), extension)]);

  it('zone FWHM within 10 % and elongation within 0.06 of least squares by scipy; right side softer; tangential', (context) => {
    const report = vimos(context, 2);
    // Without ROWORDER the frame is shown BOTTOM-UP: the first zones hold the largest FITS y, as in the table.
    report.zones.forEach((zone, i) => {
      const [fwhm, ratio] = VIMOS[i] ?? [Number.NaN, Number.NaN];
      expect(Math.abs((zone.fwhmPx?.value ?? 0) / fwhm - 1)).toBeLessThan(0.1);
      expect(Math.abs((zone.elongation?.value ?? 0) - ratio)).toBeLessThan(0.06);
    });
    const column = (c: number): number =>
      report.zones.filter((z) => z.column === c).reduce((sum, z) => sum + (z.fwhmPx?.value ?? 0), 0) / 3;
    expect(column(2) - column(0)).toBeGreaterThan(0.2);
    expect(report.field.astigmatism.radial?.value).toBeLessThan(-0.3);
    expect(report.frames[0]?.fwhmPx).toBeGreaterThan(3.6);
  });

  it('the undersampled extension is inconclusive', (context) => {
    const report = vimos(context, 1);
    expect(report.verdict).toBe('inconclusive');
    expect(report.headline).toMatch(/too sharp for these pixels/);
  });
});
