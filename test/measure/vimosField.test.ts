import { readFileSync } from 'node:fs';
import ndarray from 'ndarray';
import { describe, expect, it, type TestContext } from 'vitest';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { type FrameStars, fieldPosition } from '../../src/field/frameStars.ts';
import { fitSizeField } from '../../src/field/sizeField.ts';
import { fitSpinFields } from '../../src/field/spinFields.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { type FrameMeasurement, measureField, measureFrame } from '../../src/measure.ts';
import { cellsOf } from '../../src/retrieval/cells.ts';
import { SIGMA_TO_FWHM } from '../../src/shapes/shape.ts';
import { debianFrame } from '../support/testData.ts';
import { mirrored, quarterTurned } from '../support/turn.ts';

/** A grid of lamp pinholes through real camera optics: softer on the right of the stored frame, long across the radius. */
const pinholes = (context: TestContext): Frame =>
  frameFromFits(new Uint8Array(readFileSync(debianFrame(context, 'vimos.fits'))), 'vimos.fits', 2);

/** Softer side (unit vector, stored axes: gradient of FWHM) and radial distortion at the corner. */
function fieldOf(frame: Frame, measured: FrameMeasurement): { soft: { x: number; y: number }; radial: number } {
  const { field } = measureField([measured], setupFromFrames([frame], {}), orientationOf([frame], {}));
  const { shapes } = measured.stars;
  const mean = shapes.reduce((sum, s) => sum + s.fwhm, 0) / shapes.length;
  const slope = (pick: 'u' | 'v'): number =>
    shapes.reduce((sum, s) => sum + fieldPosition(measured.stars, s.x, s.y)[pick] * (s.fwhm - mean), 0);
  const [x, y] = [slope('u'), slope('v')];
  return {
    soft: { x: x / Math.hypot(x, y), y: y / Math.hypot(x, y) },
    radial: field.smooth?.distortion.radial.value ?? 0,
  };
}

/** Each pixel the mean of itself and the next `length - 1` to its right: a drift along the rows. */
function smeared(frame: Frame, length: number): Frame {
  const { width, height } = frame;
  const data = frame.pixels.data;
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let k = 0; k < length; k++) sum += data[y * width + Math.min(width - 1, x + k)];
      out[y * width + x] = sum / length;
    }
  return { ...frame, pixels: ndarray(out, [height, width]) };
}

const half = (measured: FrameMeasurement): FrameMeasurement => ({
  ...measured,
  stars: { ...measured.stars, shapes: measured.stars.shapes.filter((_, i) => i % 2 === 0) },
});

describe('the field of real optics keeps its nature', () => {
  it('softer side and tangential astigmatism under a quarter turn, a mirror, a smear, with half the stars', (context) => {
    const frame = pinholes(context);
    const measured = measureFrame(frame);
    const plain = fieldOf(frame, measured);
    expect(plain.soft.x).toBeGreaterThan(0.5);
    expect(plain.radial).toBeLessThan(-0.3);
    const along = (other: { soft: { x: number; y: number } }, x: number, y: number): number =>
      other.soft.x * x + other.soft.y * y;

    const quarter = quarterTurned(frame);
    const turnedField = fieldOf(quarter, measureFrame(quarter));
    expect(along(turnedField, -plain.soft.y, plain.soft.x)).toBeGreaterThan(0.97);
    expect(Math.abs(turnedField.radial - plain.radial)).toBeLessThan(0.03);

    const mirror = mirrored(frame);
    const mirroredField = fieldOf(mirror, measureFrame(mirror));
    expect(along(mirroredField, -plain.soft.x, plain.soft.y)).toBeGreaterThan(0.97);
    expect(Math.abs(mirroredField.radial - plain.radial)).toBeLessThan(0.03);

    const drifted = smeared(frame, 3);
    const driftedField = fieldOf(drifted, measureFrame(drifted));
    expect(along(driftedField, plain.soft.x, plain.soft.y)).toBeGreaterThan(0.95);
    expect(driftedField.radial).toBeLessThan(-0.2);

    const halfField = fieldOf(frame, half(measured));
    expect(along(halfField, plain.soft.x, plain.soft.y)).toBeGreaterThan(0.97);
    expect(Math.abs(halfField.radial - plain.radial)).toBeLessThan(0.05);
  });

  it('smooth fields fitted to every other pinhole explain the rest', (context) => {
    const { stars } = measureFrame(pinholes(context));
    const pick = (parity: number): FrameStars => ({
      ...stars,
      shapes: stars.shapes.filter((_, i) => i % 2 === parity),
    });
    const size = fitSizeField([pick(0)]);
    const spins = fitSpinFields(pick(0));
    if (size === null || spins === null) throw new Error('too few pinholes');
    const { uniform, linear, radial } = spins.distortion;
    let sizeAbout = 0;
    let sizeLeft = 0;
    let about = 0;
    let left = 0;
    const cells = cellsOf(pick(1), 0);
    const mean = (k: number): number => cells.reduce((sum, cell) => sum + cell.values[k], 0) / cells.length;
    const means = [mean(0), mean(1), mean(2)];
    for (const { u, v, values, errors } of cells) {
      const blur = size.centre[0] + size.tilt.x * u + size.tilt.y * v + size.curvature.value * (u * u + v * v);
      const predicted = (size.floor[0] ** 2 + blur ** 2) / SIGMA_TO_FWHM ** 2;
      sizeAbout += (values[0] - means[0]) ** 2 - errors[0] ** 2;
      sizeLeft += (values[0] - predicted) ** 2 - errors[0] ** 2;
      const e1 = uniform.x + linear[0] * u + linear[1] * v + radial.value * (u * u - v * v);
      const e2 = uniform.y + linear[2] * u + linear[3] * v + radial.value * 2 * u * v;
      about += (values[1] - means[1]) ** 2 + (values[2] - means[2]) ** 2 - errors[1] ** 2 - errors[2] ** 2;
      left += (values[1] - e1) ** 2 + (values[2] - e2) ** 2 - errors[1] ** 2 - errors[2] ** 2;
    }
    const explained = { size: 1 - sizeLeft / sizeAbout, elongation: 1 - left / about };
    console.log(
      `vimos.fits[2], held-out pinholes: ${(100 * explained.size).toFixed(0)} % of the size variance over the field explained, ${(100 * explained.elongation).toFixed(0)} % of the elongation's`,
    );
    expect(explained.elongation).toBeGreaterThan(0.8);
    expect(explained.size).toBeGreaterThan(0.3);
  });
});
