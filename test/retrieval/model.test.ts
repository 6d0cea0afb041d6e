import { expect, it } from 'vitest';
import { measureDrawn } from '../../src/diagnosis/drawnStar.ts';
import { gridFor, starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { NO_ABERRATION } from '../../src/optics/wavefront.ts';
import { shadowRise, shadowScale } from '../../src/retrieval/model.ts';

it.each([
  { apertureMm: 200, n: 4, obstruction: 0.35, offset: 0.03, seeingArcsec: 2, d: 0.1 },
  { apertureMm: 200, n: 4, obstruction: 0.35, offset: 0.03, seeingArcsec: 3.2, d: 0.5 },
  { apertureMm: 250, n: 4, obstruction: 0.25, offset: 0.03, seeingArcsec: 2.6, d: 0.3 },
  { apertureMm: 300, n: 4.2, obstruction: 0.33, offset: 0.02, seeingArcsec: 3.2, d: 0.2 },
  { apertureMm: 150, n: 5.5, obstruction: 0.3, offset: 0.04, seeingArcsec: 4, d: 0.8 },
])('tells what an offset shadow makes of a drawn star: $apertureMm mm, $seeingArcsec", $d um', (of) => {
  const telescope = {
    ...EXAMPLE_TELESCOPE,
    apertureMm: of.apertureMm,
    primaryFocalLengthMm: of.apertureMm * of.n,
    effectiveFocalLengthMm: of.apertureMm * of.n,
    obstruction: of.obstruction,
    obstructionOffset: { x: of.offset, y: 0 },
  };
  const conditions = {
    pixelUm: 3.76,
    filter: 'L' as const,
    recentred: true,
    smear: { ...STEADY, driftUm: { x: 0, y: 0 } },
    seeingArcsec: of.seeingArcsec,
  };
  const w = { ...NO_ABERRATION, d: of.d };
  const star = measureDrawn(starImage(telescope, w, { ...conditions, grid: gridFor(telescope, w, conditions, 11) }));
  const told = (of.offset * shadowScale(of.apertureMm, of.obstruction) * shadowRise(of.d)) / of.seeingArcsec ** 2;
  expect(star?.coma3.x).toBeGreaterThan(told * 0.7);
  expect(star?.coma3.x).toBeLessThan(told * 1.4);
  expect(Math.abs(star?.coma3.y ?? 1)).toBeLessThan(0.1 * told);
});
