import { expect, it } from 'vitest';
import { thinStars } from '../../src/live/thinStars.ts';
import { measureFrame } from '../../src/measure.ts';
import { drawSub } from '../support/draw.ts';

it('keeps the best stars of every part of the field', () => {
  const { stars } = measureFrame(drawSub({ width: 1500, height: 1000, starCount: 300, seed: 4 }));
  const few = thinStars(stars, 100);
  expect(few.shapes).toHaveLength(100);
  const corner = (list: typeof stars): number => list.shapes.filter((s) => s.x < 400 && s.y < 300).length;
  expect(corner(few)).toBeGreaterThan(3);
  const mean = (list: typeof stars): number => list.shapes.reduce((sum, s) => sum + s.peakSnr, 0) / list.shapes.length;
  expect(mean(few)).toBeGreaterThan(mean(stars));
  expect(thinStars(stars, 10_000)).toBe(stars);
});
