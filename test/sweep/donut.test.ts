import { expect, it } from 'vitest';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { fitDonuts, shadowPerRadius } from '../../src/sweep/donut.ts';
import { fitFocus } from '../../src/sweep/focusFit.ts';
import { NOMINAL_OPTICS } from '../../src/sweep/sweepOptics.ts';
import { drawSeries, type SeriesOptions } from '../support/drawnSeries.ts';

function donutsOf(options: Partial<SeriesOptions>): {
  c: { x: number; y: number; error: number };
  shadow: { x: number; y: number };
} {
  const frames = drawSeries({
    seed: 3,
    readings: [-240, -200, 0, 200, 240],
    seeingArcsec: 2.2,
    places: 9,
    starsPerPlace: 3,
    faintestE: 60_000,
    stacks: true,
    ...options,
  });
  const fit = fitFocus(frames, NOMINAL_OPTICS);
  const donuts = fit && fitDonuts(frames, fit, NOMINAL_OPTICS);
  if (!fit || !donuts) throw new Error('no donuts');
  const n = 4;
  // Hole against rim: 6 N c (1 - eps^2), against the tail.
  const toC = -NOMINAL_OPTICS.pixelUm / (6 * n * (1 - NOMINAL_OPTICS.obstruction ** 2));
  const per = shadowPerRadius(fit, NOMINAL_OPTICS);
  return {
    c: { x: donuts.even.x * toC, y: donuts.even.y * toC, error: donuts.even.error * Math.abs(toC) },
    shadow: { x: donuts.odd.x / per, y: donuts.odd.y / per },
  };
}

it('a primary tilted by 2 arcminutes is coma, even in defocus; a shifted shadow is odd and does not pass for coma', () => {
  // c0 = -tau D/(32 N^2): -0.2273 um at f/4 and 200 mm (optical theory; ray trace -0.228).
  const tilted = donutsOf({ state: { primaryTiltArcmin: { x: 2, y: 0 } } });
  expect(Math.abs(tilted.c.x / -0.2273 - 1)).toBeLessThan(0.1);
  expect(Math.abs(tilted.c.y)).toBeLessThan(4 * tilted.c.error);
  expect(Math.hypot(tilted.shadow.x, tilted.shadow.y)).toBeLessThan(0.015);

  const shifted = donutsOf({ telescope: { ...EXAMPLE_TELESCOPE, obstructionOffset: { x: 0.04, y: 0 } } });
  expect(Math.hypot(shifted.c.x, shifted.c.y)).toBeLessThan(Math.max(0.02, 4 * shifted.c.error));
  // Outside focus, at larger readings, the shadow's image is turned over.
  expect(shifted.shadow.x).toBeLessThan(-0.028);
  expect(shifted.shadow.x).toBeGreaterThan(-0.055);
});
