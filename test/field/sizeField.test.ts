import { describe, expect, it } from 'vitest';
import { type FrameStars, fieldPosition } from '../../src/field/frameStars.ts';
import { fitSizeField } from '../../src/field/sizeField.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import type { Shape } from '../../src/shapes/shape.ts';

interface Surface {
  readonly floor: number;
  readonly centre: number;
  readonly tilt: readonly [number, number];
  readonly curvature: number;
}

/** Stars whose widths follow a defocus surface, with scatter; positions seeded. */
function frameOf(surface: Surface, seed: number, scatter = 0.03, count = 400): FrameStars {
  const random = seededRandom(seed);
  const frame = { name: `drawn ${seed}`, width: 3000, height: 2000, shapes: [] as Shape[] };
  for (let i = 0; i < count; i++) {
    const x = frame.width * random.uniform();
    const y = frame.height * random.uniform();
    const { u, v } = fieldPosition(frame, x, y);
    const blur = surface.centre + surface.tilt[0] * u + surface.tilt[1] * v + surface.curvature * (u * u + v * v);
    const fwhm = Math.sqrt(surface.floor ** 2 + blur ** 2) * (1 + scatter * random.normal());
    frame.shapes.push({
      x,
      y,
      positionError: 0.02,
      amplitude: 5000,
      amplitudeError: 50,
      flux: 50_000,
      fluxError: 500,
      background: 0,
      sigmaMajor: fwhm / 2.35482,
      sigmaMinor: fwhm / 2.35482,
      theta: 0,
      fwhm,
      fwhmError: scatter * fwhm,
      e1: 0,
      e2: 0,
      eError: 0.02,
      coma3: { x: 0, y: 0, error: 0.01 },
      trefoil3: { x: 0, y: 0, error: 0.01 },
      peakSnr: 100,
      misfit: 0.01,
    });
  }
  return frame;
}

describe('widths over the field', () => {
  it('a tilt focused at the centre is found with its axis, though both sides are equally soft', () => {
    const field = fitSizeField([frameOf({ floor: 3, centre: 0, tilt: [1.6, 0.8], curvature: 0 }, 1)]);
    expect(field?.tiltSignificance).toBeGreaterThan(10);
    const sign = (field?.tilt.x ?? 0) > 0 ? 1 : -1;
    expect(sign * (field?.tilt.x ?? 0)).toBeCloseTo(1.6, 0);
    expect(Math.abs(sign * (field?.tilt.y ?? 0) - 0.8)).toBeLessThan(0.2);
    expect(field?.curvatureSignificance).toBeLessThan(4);
  });

  it('a flat field shows no tilt and no curvature: 3 sigma in at most 3 of 40 drawn frames', () => {
    let tilts = 0;
    let curves = 0;
    for (let seed = 0; seed < 40; seed++) {
      const field = fitSizeField([frameOf({ floor: 3, centre: 0.5, tilt: [0, 0], curvature: 0 }, 100 + seed)]);
      if ((field?.tiltSignificance ?? 0) > 3) tilts++;
      if ((field?.curvatureSignificance ?? 0) > 3) curves++;
    }
    // Two parameters: P(delta chi-square > 9) = e^{-4.5} = 1.1 % (chi-square law); 40 frames give 0.4 on average.
    expect(tilts).toBeLessThanOrEqual(3);
    expect(curves).toBeLessThanOrEqual(3);
  });

  it('subs on both sides of focus together give tilt, curvature and each centre, up to the common sign', () => {
    const shape = { floor: 2.8, tilt: [0.7, -0.5] as const, curvature: 0.9 };
    const field = fitSizeField([
      frameOf({ ...shape, centre: 1.5 }, 7),
      frameOf({ ...shape, centre: -1.5, floor: 3.1 }, 8),
    ]);
    const sign = (field?.centre[0] ?? 0) > 0 ? 1 : -1;
    // Within three of its own errors, and those errors small enough to be of use.
    const holds = (found: number, error: number, truth: number, useful: number): void => {
      expect(error).toBeLessThan(useful);
      expect(Math.abs(sign * found - truth)).toBeLessThan(3 * error);
    };
    holds(field?.centre[0] ?? 0, field?.centreError[0] ?? 9, 1.5, 0.2);
    holds(field?.centre[1] ?? 0, field?.centreError[1] ?? 9, -1.5, 0.2);
    holds(field?.tilt.x ?? 0, field?.tilt.error ?? 9, 0.7, 0.1);
    holds(field?.tilt.y ?? 0, field?.tilt.error ?? 9, -0.5, 0.1);
    holds(field?.curvature.value ?? 0, field?.curvature.error ?? 9, 0.9, 0.1);
    expect(Math.abs((field?.floor[1] ?? 0) - 3.1)).toBeLessThan(0.1);
  });

  it('too few stars give no surface', () => {
    expect(fitSizeField([frameOf({ floor: 3, centre: 0, tilt: [0, 0], curvature: 0 }, 3, 0.03, 14)])).toBeNull();
  });
});
