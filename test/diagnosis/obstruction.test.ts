import { expect, it } from 'vitest';
import { telescopeFor } from '../../src/diagnosis/drawnStar.ts';
import { responseFor } from '../../src/diagnosis/response.ts';
import { knownOptics } from '../../src/diagnosis/setup.ts';
import { setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { USUAL_OBSTRUCTION } from '../../src/optics/telescope.ts';
import { drawSub } from '../support/draw.ts';
import { refined } from '../support/refined.ts';

const frame = drawSub({ width: 200, height: 200, starCount: 1 });
const opticsWith = (obstructionMm?: number) =>
  knownOptics(setupFromFrames([frame], { kept: obstructionMm === undefined ? {} : { obstructionMm } }), false) ??
  expect.unreachable('the header tells the optics');

it('an obstruction that is kept is the one whose stars are drawn', () => {
  expect(telescopeFor(opticsWith(50)).obstruction).toBeCloseTo(0.25, 12);
  expect(telescopeFor(opticsWith()).obstruction).toBe(USUAL_OBSTRUCTION);
  // 180 of 200 mm is another telescope's.
  expect(telescopeFor(opticsWith(180)).obstruction).toBe(USUAL_OBSTRUCTION);
});

it('a smaller one makes narrower discs: more defocus behind the same blur', () => {
  const observed = { fwhm: 3.5, coma3: 0, trefoil3: 0 };
  const focusOf = (obstructionMm: number): number =>
    responseFor(opticsWith(obstructionMm), 'L', observed)?.defocusUm(3) ?? Number.NaN;
  // Second moment of an evenly lit ring of radii r e and r: r^2 (1 + e^2)/2, on which the width leans.
  expect(focusOf(50)).toBeGreaterThan(1.02 * focusOf(80));
  expect(focusOf(50)).toBeLessThan(1.25 * focusOf(80));
});

it('none at all casts no shadow, and the whole field is fitted all the same', () => {
  const sub = drawSub({ telescope: { obstruction: 0, vanes: [] }, state: { primaryTiltArcmin: { x: 2, y: 1 } } });
  const found =
    refined([sub], { corrector: 1, kept: { obstructionMm: 0 } }).fine.diagnosis.amounts?.retrieved ??
    expect.unreachable('the fit settles');
  expect(found.coma.error).toBeGreaterThan(0);
  expect(Math.abs(Math.atan2(found.coma.y, found.coma.x) - Math.atan2(-1, -2))).toBeLessThan(
    Math.max(0.05, 3 * found.comaAngleError),
  );
  expect(found.comaAngleError).toBeLessThan(0.2);
});
