import { describe, expect, it } from 'vitest';
import { effectOf, layoutsOf } from '../../src/adjust/screwPrior.ts';

describe('the effect of one screw', () => {
  it.each([
    // Tilt by one of three screws is p/(1.5 R); pitches by ISO 261 (checked beside a ray trace: 25.46, 20.37, 22.92, 26.04).
    ['M6', 90, 25.46],
    ['M5', 90, 20.37],
    ['M4', 70, 22.92],
    ['M8', 110, 26.04],
  ])('%s on a circle of %d mm: %d arcminutes a turn', (thread, circleRadiusMm, arcmin) => {
    expect(effectOf({ number: 3, circleRadiusMm, thread })).toBeCloseTo(arcmin, 2);
  });

  it('a plane through three points, one of them lifted by the pitch, tilts by as much', () => {
    const [radius, pitch] = [95, 1];
    // Heights h at angles 0, 120, 240 degrees: h = g . r, solved by hand for h = (pitch, 0, 0) less its mean.
    const heights = [pitch, 0, 0].map((h) => h - pitch / 3);
    const slope = { x: 0, y: 0 };
    for (const [i, h] of heights.entries()) {
      slope.x += ((2 / 3) * h * Math.cos((2 * Math.PI * i) / 3)) / radius;
      slope.y += ((2 / 3) * h * Math.sin((2 * Math.PI * i) / 3)) / radius;
    }
    const arcmin = (Math.hypot(slope.x, slope.y) * 10_800) / Math.PI;
    expect(effectOf({ number: 3, circleRadiusMm: radius, pitchMm: pitch })).toBeCloseTo(arcmin, 9);
  });

  it('is not known without a thread', () => {
    expect(effectOf({ number: 3, circleRadiusMm: 90 })).toBeNull();
  });
});

describe('the ways the screws may stand', () => {
  const angle = ({ x, y }: { x: number; y: number }): number => Math.atan2(y, x);
  const apart = (a: number, b: number): number => Math.abs(Math.atan2(Math.sin(a - b), Math.cos(a - b)));

  it('three turned alike tilt nothing, in either hand, and no direction is preferred', () => {
    const layouts = layoutsOf(3, { number: 3, circleRadiusMm: 90, thread: 'M6' });
    expect(layouts.reduce((sum, { weight }) => sum + weight, 0)).toBeCloseTo(1, 12);
    let mean = { x: 0, y: 0 };
    for (const { effects, weight } of layouts) {
      expect(Math.hypot(...['x', 'y'].map((k) => effects.reduce((sum, e) => sum + e[k as 'x'], 0)))).toBeCloseTo(0, 9);
      const first = effects[0] ?? { x: 0, y: 0 };
      mean = { x: mean.x + weight * first.x, y: mean.y + weight * first.y };
    }
    expect(Math.hypot(mean.x, mean.y)).toBeCloseTo(0, 9);
  });

  it('where the rig tells the way a star goes, the tilt vector goes the other way, or less likely the same', () => {
    const layouts = layoutsOf(3, { number: 3, circleRadiusMm: 90, thread: 'M6', anglesDeg: [20, 140, 260] });
    const [likely, unlikely] = [...layouts].sort((a, b) => b.weight - a.weight);
    const way = (deg: number): number => (deg * Math.PI) / 180;
    for (const [i, deg] of [20, 140, 260].entries()) {
      expect(apart(angle(likely?.effects[i] ?? { x: 0, y: 0 }), way(deg + 180))).toBeCloseTo(0, 9);
      expect(apart(angle(unlikely?.effects[i] ?? { x: 0, y: 0 }), way(deg))).toBeCloseTo(0, 9);
    }
  });

  it('pairs that push and pull undo each other in some of the ways, and a screw beyond the rig’s may do anything', () => {
    const pairs = layoutsOf(6, { number: 6, circleRadiusMm: 90, thread: 'M5' });
    const opposed = pairs.filter(({ effects: [a, b] }) => a && b && Math.hypot(a.x + b.x, a.y + b.y) < 1e-9);
    expect(opposed.length).toBe(pairs.length / 2);
    for (const { effects, ownError } of layoutsOf(4, { number: 3, circleRadiusMm: 90, thread: 'M6' })) {
      expect(effects[3]).toEqual({ x: 0, y: 0 });
      expect(ownError[3]).toBeGreaterThan(20);
    }
  });
});
