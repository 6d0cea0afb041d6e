import { describe, expect, it } from 'vitest';
import { persistentVector } from '../src/field/combine.ts';
import { encodeFits } from '../src/fits/encode.ts';
import { frameFromFits } from '../src/frame/fromFits.ts';
import { stampAt, starImage } from '../src/optics/psf.ts';
import { EXAMPLE_TELESCOPE } from '../src/optics/telescope.ts';
import { NO_ABERRATION } from '../src/optics/wavefront.ts';
import { screenOf } from '../src/report/screen.ts';
import { measureStar } from '../src/shapes/measureStar.ts';
import type { Shape } from '../src/shapes/shape.ts';
import { drawStamp, gaussian } from './support/profiles.ts';

const HALF = 20;
const WIDTH = 2 * HALF + 1;

function measured(data: ArrayLike<number>): Shape {
  const lit = Float32Array.from(data, (v) => 100 + 20_000 * v);
  const peak = lit.reduce((a, b) => Math.max(a, b), 0);
  const star = measureStar(
    { data: lit, width: WIDTH, height: WIDTH, mask: null, greenParity: null },
    { x: HALF, y: HALF, fwhm: 4, peak, sky: 100, noise: 1, gainEPerAdu: 1 },
  );
  if (star.status === 'rejected') throw new Error(star.reason);
  return star.shape;
}

describe('pixels', () => {
  it('a FITS pixel (x + 1, y + 1) is data[y * width + x]: the first stored pixel comes first (FITS 4.0, sec. 3.3.2)', () => {
    const pixels = Uint16Array.from({ length: 12 }, (_, i) => 100 + i);
    const frame = frameFromFits(encodeFits({ pixels, width: 4, height: 3, cards: [] }), 'order.fits');
    expect([frame.width, frame.height]).toEqual([4, 3]);
    expect(frame.pixels.get(2, 1)).toBe(100 + 2 * 4 + 1);
    expect(frame.pixels.data[1 * 4 + 3]).toBe(107);
    expect(frame.pixels.data).toBeInstanceOf(Uint16Array);
  });

  it('an integer coordinate is the centre of a pixel', () => {
    const shape = measured(drawStamp(gaussian, { fwhm: 4, e: 0, theta: 0 }, HALF, 0, 0));
    expect(shape.x).toBeCloseTo(HALF, 6);
    expect(shape.y).toBeCloseTo(HALF, 6);
    const moved = measured(drawStamp(gaussian, { fwhm: 4, e: 0, theta: 0 }, HALF, 0.4, -0.3));
    expect(moved.x).toBeCloseTo(HALF + 0.4, 4);
    expect(moved.y).toBeCloseTo(HALF - 0.3, 4);
  });
});

describe('angles', () => {
  it('theta runs from +x towards +y of the stored pixels', () => {
    const shape = measured(drawStamp(gaussian, { fwhm: 5, e: 0.4, theta: 0.5 }, HALF, 0, 0));
    expect(shape.theta).toBeCloseTo(0.5, 3);
    expect(shape.e1).toBeGreaterThan(0);
    expect(shape.e2).toBeGreaterThan(0);
  });

  it('on the screen degrees run counter-clockwise from right: stored +y is up when BOTTOM-UP and down when TOP-DOWN', () => {
    const up = screenOf(101, 51, 1);
    const down = screenOf(101, 51, -1);
    expect(up.directionDeg(Math.PI / 2)).toBeCloseTo(90, 9);
    expect(down.directionDeg(Math.PI / 2)).toBeCloseTo(270, 9);
    expect(up.position({ x: 50, y: 50 })).toEqual({ x: 0, y: 25 });
    expect(down.position({ x: 50, y: 50 })).toEqual({ x: 0, y: -25 });
    expect(up.zoneRow(0)).toBe(2);
    expect(down.zoneRow(0)).toBe(0);
    expect(up.axisDeg(-0.1)).toBeCloseTo(180 - (0.1 * 180) / Math.PI, 9);
    expect(up.trefoilDeg(Math.PI)).toBeCloseTo(60, 9);
    expect(down.trefoilDeg(Math.PI / 2)).toBeCloseTo(90, 9);
  });
});

describe('wavefront', () => {
  const image = (w: Partial<typeof NO_ABERRATION>): Shape =>
    measured(
      stampAt(
        starImage(
          EXAMPLE_TELESCOPE,
          { ...NO_ABERRATION, ...w },
          { pixelUm: 3.76, filter: 'mono', seeingArcsec: 2.5, recentred: true, grid: { size: 256, oversample: 4 } },
        ),
        0,
        0,
        HALF,
      ),
    );

  it('Re(c) > 0 draws a coma tail towards +x, Im(c) > 0 towards +y', () => {
    const right = image({ c: { x: 0.4, y: 0 } });
    expect(right.coma3.x).toBeGreaterThan(0.01);
    expect(Math.abs(right.coma3.y)).toBeLessThan(1e-3);
    expect(image({ c: { x: 0, y: 0.4 } }).coma3.y).toBeGreaterThan(0.01);
  });

  it('(d, a, s) and (-d, -a, -s) draw the same star: one focus has no sign', () => {
    const inside = image({ d: 0.3, a: { x: 0.15, y: 0.05 }, s: 0.05, c: { x: 0.1, y: 0 } });
    const outside = image({ d: -0.3, a: { x: -0.15, y: -0.05 }, s: -0.05, c: { x: 0.1, y: 0 } });
    expect(outside.fwhm).toBeCloseTo(inside.fwhm, 5);
    expect(outside.e1).toBeCloseTo(inside.e1, 5);
    expect(outside.coma3.x).toBeCloseTo(inside.coma3.x, 5);
  });

  it('a > 0 with d > 0 draws the long axis along x, and a change of the sign of d turns it by 90 degrees', () => {
    expect(image({ d: 0.3, a: { x: 0.15, y: 0 } }).e1).toBeGreaterThan(0.01);
    expect(image({ d: -0.3, a: { x: 0.15, y: 0 } }).e1).toBeLessThan(-0.01);
  });
});

describe('several subs', () => {
  it('one sub that differs from two others is a stray, not part of the mean', () => {
    const same = { x: 0.01, y: 0, error: 0.001 };
    const together = persistentVector([same, { ...same, x: 0.0105 }, { x: 0.2, y: 0.1, error: 0.001 }]);
    expect(together.strays).toEqual([2]);
    expect(together.x).toBeCloseTo(0.01025, 4);
  });
});
