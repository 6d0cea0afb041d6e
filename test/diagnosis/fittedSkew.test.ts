import { describe, expect, it } from 'vitest';
import type { Amounts } from '../../src/diagnosis/amounts.ts';
import { measurePixels } from '../../src/diagnosis/drawnStar.ts';
import { fittedSkewOutweighs } from '../../src/diagnosis/miscollimation.ts';
import { withoutSkews } from '../../src/diagnosis/refined.ts';
import { longByAstigmatism } from '../../src/diagnosis/retrieve.ts';
import type { Retrieved } from '../../src/diagnosis/retrieved.ts';
import { type Complex, polar } from '../../src/optics/complex.ts';
import { PixelStars } from '../../src/optics/pixelStars.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { type Coefficients, toDefocus } from '../../src/optics/wavefront.ts';
import type { Retrieval } from '../../src/retrieval/fitWavefront.ts';
import { layoutOf } from '../../src/retrieval/layout.ts';

const at = ({ x, y }: Complex, error: number) => ({ x, y, error });
const NOTHING = { x: 0, y: 0 };
/** Of coma3, trefoil3 over it (drawn stars). */
const SKEW_TREFOIL = 0.94;

describe('skews that only the whole-field fit saw', () => {
  const comaOfOptics = { x: 0.04, y: 0 };
  /** Three subs of one telescope, a jump along 90 degrees in some. */
  const told = (jumps: readonly number[]) => {
    const skews = jumps.map((k) => at(polar(k, Math.PI / 2), 0.0005));
    const perFrame = jumps.map((k, frame) => {
      const uniform = at({ x: comaOfOptics.x, y: comaOfOptics.y + k }, 0.0005);
      // Three times 90 degrees.
      return { frame, fields: { coma: { uniform }, trefoil: { uniform: at({ x: 0, y: -SKEW_TREFOIL * k }, 0.0005) } } };
    });
    return { skews, perFrame };
  };
  const without = (jumps: readonly number[], seenTrefoil: Complex): Amounts => {
    const { skews, perFrame } = told(jumps);
    const amounts = { smooth: { perFrame }, coma: at(comaOfOptics, 0.001), trefoil: at(seenTrefoil, 0.001), air: null };
    return withoutSkews(amounts as unknown as Amounts, { skews });
  };

  it('are taken off each sub: of a stray, that was left out of the mean, nothing is taken from it', () => {
    // The last sub is a stray: coma and trefoil of the other two were combined.
    const { coma, trefoil } = without([0, 0, 0.03], NOTHING);
    expect(Math.hypot(coma.x - 0.04, coma.y)).toBeLessThan(1e-4);
    expect(Math.hypot(trefoil.x, trefoil.y)).toBeLessThan(1e-4);
  });

  it('are taken off all where all have them, and what is left is less sure', () => {
    const { coma, trefoil } = without([0.03, 0.03, 0.03], { x: 0, y: -SKEW_TREFOIL * 0.03 });
    expect(Math.hypot(coma.x - 0.04, coma.y)).toBeLessThan(1e-4);
    expect(Math.hypot(trefoil.x, trefoil.y)).toBeLessThan(1e-4);
    // A tenth of each skew, of three subs.
    expect(coma.error).toBeGreaterThan(0.0016);
    expect(trefoil.error).toBeGreaterThan(0.0016);
  });

  it('leave coma alone where there are none', () => {
    const amounts = { coma: at(comaOfOptics, 0.001) } as unknown as Amounts;
    expect(withoutSkews(amounts, { skews: null })).toBe(amounts);
  });

  it.each([
    // Subs 5, 30 and 60 um from focus, each smeared by hardly anything and by a jump.
    { by: 'astigmatism', a: 0.28, smears: [0.03, 0.3, 0.2], astigmatic: true },
    // As jumps the opposite way may be shared out.
    { by: 'astigmatism hardly more than the smears', a: 0.28, smears: [0.03, 1, 1.6], astigmatic: false },
    { by: 'a jump in the last', a: 0.02, smears: [0.02, 0.02, 2], astigmatic: false },
    {
      by: 'a jump in one, by more than astigmatism makes of another',
      a: 0.1,
      smears: [0.02, 2.5, 0.2],
      astigmatic: false,
    },
  ])('are none beside stars that are long by astigmatism: long by $by', ({ a, smears, astigmatic }) => {
    const stars = new PixelStars(EXAMPLE_TELESCOPE, { pixelUm: 3.76, filter: 'mono', recentred: true });
    const draw = (seeingArcsec: number, w: Coefficients) => {
      const shape = measurePixels(stars.draw(w, seeingArcsec, 40)) ?? expect.unreachable('not measured');
      const { sigmaMajor, sigmaMinor, e1, e2, coma3, trefoil3 } = shape;
      return { sigma2: sigmaMajor * sigmaMinor, e: { x: e1, y: e2 }, coma3, trefoil3 };
    };
    const layout = layoutOf(smears.length, true);
    const parameters = new Float64Array(layout.length);
    parameters[layout.astigmatism] = -a;
    for (const [f, smear] of smears.entries()) {
      parameters[layout.seeing(f)] = 3;
      parameters[layout.focus(f)] = toDefocus(EXAMPLE_TELESCOPE, [5, -30, -60][f]);
      parameters[layout.smear(f) + 1] = smear;
    }
    const fitted = { layout, best: { parameters }, sigma2: 3 } as unknown as Retrieval;
    expect(longByAstigmatism(fitted, draw)).toBe(astigmatic);
  });

  it('leave a weaker coma open from one focus, and not from two', () => {
    const outweighs = (coma: number, foci: readonly number[]): boolean =>
      fittedSkewOutweighs({
        coma: at({ x: coma, y: 0 }, 0.001),
        retrieved: {
          skews: foci.map(() => at({ x: 0, y: 0.04 }, 0.001)),
          perSub: foci.map((value) => ({ focusUm: { value, low: value - 3, high: value + 3 } })),
        } as unknown as Retrieved,
      });
    expect(outweighs(0.01, [73, 72, 73])).toBe(true);
    expect(outweighs(0.05, [73, 72, 73])).toBe(false);
    expect(outweighs(0.01, [-50, 20])).toBe(false);
  });
});
