import { describe, expect, it } from 'vitest';
import { measureDrawn } from '../../src/diagnosis/drawnStar.ts';
import { angle, type Complex, polar, ZERO } from '../../src/optics/complex.ts';
import { starImage } from '../../src/optics/psf.ts';
import { STEADY } from '../../src/optics/smear.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { NO_ABERRATION, toDefocus } from '../../src/optics/wavefront.ts';
import { acrossOverAlong, smearedStar } from '../../src/retrieval/smearedStar.ts';

interface Sky {
  readonly seeingArcsec: number;
  readonly focusUm?: number;
  readonly driftPx?: number;
}

type Odd = 'c' | 't';

/** A star with coma (c) or trefoil (t) of that phase, drawn out along x, measured. */
function drawn(odd: Odd, phaseDeg: number, { seeingArcsec, focusUm = 0, driftPx = 0 }: Sky) {
  const star = measureDrawn(
    starImage(
      EXAMPLE_TELESCOPE,
      {
        ...NO_ABERRATION,
        d: toDefocus(EXAMPLE_TELESCOPE, focusUm),
        [odd]: polar(0.11, (phaseDeg * Math.PI) / 180),
      },
      {
        pixelUm: 3.76,
        filter: 'L',
        recentred: true,
        seeingArcsec,
        smear: { ...STEADY, driftUm: { x: driftPx * 3.76, y: 0 } },
      },
    ),
  );
  return star ?? expect.unreachable('not measured');
}

type Star = ReturnType<typeof drawn>;
const moment = ({ sigmaMajor, sigmaMinor }: Star): number => (sigmaMajor ** 2 + sigmaMinor ** 2) / 2;

/** The star without drift in the seeing that gives it the same mean second moment. */
function asWide(odd: Odd, phaseDeg: number, star: Star, sky: Sky): Star {
  let [low, high] = [sky.seeingArcsec, sky.seeingArcsec + 6];
  for (let k = 0; k < 16; k++) {
    const seeingArcsec = (low + high) / 2;
    if (moment(drawn(odd, phaseDeg, { ...sky, seeingArcsec, driftPx: 0 })) < moment(star)) low = seeingArcsec;
    else high = seeingArcsec;
  }
  return drawn(odd, phaseDeg, { ...sky, seeingArcsec: low, driftPx: 0 });
}

describe('third order of drawn-out stars', () => {
  const skies: [number, Sky][] = [
    [0, { seeingArcsec: 2.5, driftPx: 3 }],
    [90, { seeingArcsec: 2.5, driftPx: 3 }],
    [40, { seeingArcsec: 2.2, driftPx: 4 }],
    [-120, { seeingArcsec: 3.3, driftPx: 5 }],
    [60, { seeingArcsec: 2.8, driftPx: 3.5, focusUm: 40 }],
    [150, { seeingArcsec: 3, driftPx: 4, focusUm: 70 }],
  ];

  it.each([...skies.map((row) => ['c', ...row] as const), ...skies.map((row) => ['t', ...row] as const)])(
    'is told as drawn: %s, phase %d deg, %o',
    (odd, phaseDeg, sky) => {
      const star = drawn(odd, phaseDeg, sky);
      const round = asWide(odd, phaseDeg, star, sky);
      const own = odd === 'c' ? round.coma3 : round.trefoil3;
      const scale = Math.hypot(own.x, own.y);
      const { added } = smearedStar({ x: star.e1 - round.e1, y: star.e2 - round.e2 });
      const told = added({ coma3: ZERO, trefoil3: ZERO, [odd === 'c' ? 'coma3' : 'trefoil3']: own });
      const seen = (name: 'coma3' | 'trefoil3'): Complex => ({
        x: (star[name].x - round[name].x) / scale,
        y: (star[name].y - round[name].y) / scale,
      });
      const most = sky.focusUm === 70 ? 0.11 : 0.08;
      for (const name of ['coma3', 'trefoil3'] as const) {
        expect(Math.abs(told[name].x / scale - seen(name).x)).toBeLessThan(most);
        expect(Math.abs(told[name].y / scale - seen(name).y)).toBeLessThan(most);
      }
      // Left out, the coma would be off by much more.
      const { x, y } = seen('coma3');
      if (odd === 'c') expect(Math.hypot(x, y)).toBeGreaterThan(1.7 * most);
      else expect(Math.hypot(x, y)).toBeGreaterThan(0.05);
    },
  );

  it('answers across its length as many times as strongly as along as it is said to', () => {
    for (const e of [0.1, 0.3, 0.6]) {
      const { added } = smearedStar({ x: e, y: 0 });
      const along = 1 + added({ coma3: { x: 1, y: 0 }, trefoil3: ZERO }).coma3.x;
      const across = 1 + added({ coma3: { x: 0, y: 1 }, trefoil3: ZERO }).coma3.y;
      expect(across / along).toBeCloseTo(acrossOverAlong(e), 12);
    }
  });

  it('turns with the field: everything turned by an angle, so is what is told', () => {
    const phi = 0.7;
    const star = (turn: number) => ({ coma3: polar(0.2, 1.1 + turn), trefoil3: polar(0.1, 0.3 + 3 * turn) });
    const plain = smearedStar(polar(0.3, 0.4)).added(star(0));
    const turned = smearedStar(polar(0.3, 0.4 + 2 * phi)).added(star(phi));
    expect(Math.cos(angle(turned.coma3) - angle(plain.coma3) - phi)).toBeCloseTo(1, 12);
    expect(Math.cos(angle(turned.trefoil3) - angle(plain.trefoil3) - 3 * phi)).toBeCloseTo(1, 12);
  });
});
