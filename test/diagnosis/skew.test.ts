import { describe, expect, it } from 'vitest';
import { findSkewedSmear, mayHoldJump, type Parts, skewedSubs, skewOfAll } from '../../src/diagnosis/skew.ts';

const at = (length: number, deg: number, error = 0.001): { x: number; y: number; error: number } => ({
  x: length * Math.cos((deg * Math.PI) / 180),
  y: length * Math.sin((deg * Math.PI) / 180),
  error,
});
const NOTHING = at(0, 0);

/** A skew k along phi: coma3 k at phi, trefoil3 .94 k at 3 phi, long along phi (third cumulants of a line of light). */
const skewed = (k: number, phi: number) => ({
  coma: at(k, phi),
  trefoil: at(0.94 * k, 3 * phi),
  distortion: at(0.19, 2 * phi, 0.004),
});

describe('a skewed smear', () => {
  it('that is all there is, is found though as gross coma it would be given its own elongation and trefoil', () => {
    for (const phi of [0, 18, 130, -95]) {
      const { coma, trefoil, distortion } = skewed(0.077, phi);
      const found = findSkewedSmear({ coma, trefoil, distortion }, () => ({
        trefoil: at(0.09, 3 * phi),
        distortion: NOTHING,
      }));
      expect(Math.hypot((found?.coma3.x ?? 9) - coma.x, (found?.coma3.y ?? 9) - coma.y)).toBeLessThan(0.002);
      expect(Math.cos((found?.direction ?? 9) - (phi * Math.PI) / 180)).toBeGreaterThan(0.999);
    }
  });

  it('is told beside coma of another direction from what that coma leaves', () => {
    const { trefoil, distortion } = skewed(0.03, 20);
    const coma = { x: at(0.03, 20).x + at(0.02, 75).x, y: at(0.03, 20).y + at(0.02, 75).y, error: 0.001 };
    const found = findSkewedSmear({ coma, trefoil, distortion }, () => ({ trefoil, distortion }));
    expect(Math.hypot((found?.coma3.x ?? 9) - at(0.03, 20).x, (found?.coma3.y ?? 9) - at(0.03, 20).y)).toBeLessThan(
      0.001,
    );
  });

  it('is not made of coma, whose own trefoil is small or points backwards, nor of a pinched mirror', () => {
    const coma = at(0.077, 40);
    const long = at(0.17, 80, 0.004);
    const left = { trefoil: at(0.002, 0), distortion: at(0.003, 80, 0.004) };
    const parts = { coma, trefoil: at(0.02, 120), distortion: long };
    expect(findSkewedSmear(parts, () => left)).toBeNull();
    expect(findSkewedSmear({ ...parts, trefoil: at(0.07, 120 + 180) }, () => left)).toBeNull();
    const strong = { ...parts, coma: at(0.01, 40), trefoil: at(0.07, 120) };
    expect(findSkewedSmear(strong, ({ trefoil, distortion }) => ({ trefoil, distortion }))).toBeNull();
    // As strong and along it, but turned by 20 degrees of the triangle's 120.
    expect(findSkewedSmear({ ...parts, trefoil: at(0.07, 120 + 60) }, () => left)).toBeNull();
  });
});

describe('a skewed smear beside strong coma of another direction', () => {
  // Coma makes stars long along itself with its square: 60 of (e1, e2) a squared coma3, as in focus at 3" and 300 mm f/4.
  const own = ({ coma, trefoil, distortion }: Parts): Pick<Parts, 'trefoil' | 'distortion'> => {
    const length = 60 * Math.hypot(coma.x, coma.y) ** 2;
    const made = at(length, (2 * Math.atan2(coma.y, coma.x) * 180) / Math.PI);
    const error = Math.hypot(distortion.error, 0.3 * length);
    return { trefoil, distortion: { x: distortion.x - made.x, y: distortion.y - made.y, error } };
  };
  const both = (k: number, phi: number, coma: typeof NOTHING): Parts => {
    const skew = { ...skewed(k, phi), distortion: at(0.11, 2 * phi) };
    const made = at(60 * Math.hypot(coma.x, coma.y) ** 2, (2 * Math.atan2(coma.y, coma.x) * 180) / Math.PI);
    return {
      coma: { x: skew.coma.x + coma.x, y: skew.coma.y + coma.y, error: 0.001 },
      trefoil: skew.trefoil,
      distortion: { x: skew.distortion.x + made.x, y: skew.distortion.y + made.y, error: 0.004 },
    };
  };

  it('is told although all of the coma together would have made a part of the elongation', () => {
    for (const phi of [149, 20, -95]) {
      const parts = both(0.028, phi, at(0.016, phi + 70));
      // Taken for coma, all of it would have turned the axis off the skew's.
      const { x, y } = own(parts).distortion;
      const off = 0.5 * Math.atan2(y, x) - (phi * Math.PI) / 180;
      expect(Math.abs(Math.sin(off))).toBeGreaterThan(Math.sin((15 * Math.PI) / 180));
      const found = findSkewedSmear(parts, own) ?? expect.unreachable('no skew');
      expect(Math.cos(found.direction - (phi * Math.PI) / 180)).toBeGreaterThan(0.999);
      expect(Math.hypot(found.coma3.x, found.coma3.y)).toBeCloseTo(0.028, 3);
    }
  });

  it('is not made of coma beside a strained mirror and a drift along none of the triangle’s sides', () => {
    const coma = at(0.035, 149);
    const parts = { coma, trefoil: at(0.025, 3 * 149), distortion: at(0.19, 2 * (149 + 32), 0.004) };
    expect(findSkewedSmear(parts, own)).toBeNull();
  });
});

describe('a jump beside a strained mirror of one sub', () => {
  // Numbers of a drawn sub: 2.3" jump after three quarters of it, seeing 3.0", trefoil of 1.4 tolerances, collimated.
  const coma = at(0.044, 258);
  const trefoil = at(0.067, 30);
  const long = at(0.204, 2 * 256, 0.01);
  const LONG = 0.095;
  const held = (parts: Parts, made = NOTHING): boolean =>
    mayHoldJump(
      parts,
      ({ trefoil, distortion }) => ({
        trefoil,
        distortion: { ...distortion, x: distortion.x - made.x, y: distortion.y - made.y },
      }),
      LONG,
    );

  it('may be what looks like coma along the smear', () => {
    expect(held({ coma, trefoil, distortion: long })).toBe(true);
  });

  it('may be, where the mirror’s trefoil takes off as much of the jump’s as not', () => {
    // Two more drawn subs, trefoil of three tolerances, collimated: a reducer at 3.5", f/4 at 4.1" and 38 um off.
    expect(held({ coma: at(0.0328, 173), trefoil: at(0.0225, 41), distortion: at(0.189, 2 * 166.8, 0.005) })).toBe(
      true,
    );
    expect(held({ coma: at(0.0365, 80.7), trefoil: at(0.0186, 90), distortion: at(0.14, 2 * 80.6, 0.005) })).toBe(true);
  });

  it('may be, where next to nothing of the triangle is left but the smear lies just along the coma', () => {
    // And one at 3.4", of which coma would make a fifth of the elongation.
    const sub = { coma: at(0.0415, 31.7), trefoil: at(0.0105, 344), distortion: at(0.232, 2 * 29.9, 0.005) };
    expect(held(sub, at(0.05, 2 * 31.7))).toBe(true);
    expect(held({ ...sub, distortion: at(0.232, 2 * 41, 0.005) }, at(0.05, 2 * 31.7))).toBe(false);
    // 2.4 times what the coma makes: enough within a degree of it, too little 2.3 degrees off.
    expect(held({ ...sub, distortion: at(0.19, 2 * 32.4, 0.005) }, at(0.079, 2 * 31.7))).toBe(true);
    expect(held({ ...sub, distortion: at(0.19, 2 * 34, 0.005) }, at(0.079, 2 * 31.7))).toBe(false);
    // Strong coma makes as much by itself.
    expect(held(sub, at(0.12, 2 * 31.7))).toBe(false);
  });

  it('is not where stars are round, long another way, or hardly triangular: then coma is coma', () => {
    expect(held({ coma, trefoil, distortion: at(0.05, 2 * 256, 0.01) })).toBe(false);
    expect(held({ coma, trefoil, distortion: at(0.204, 2 * 300, 0.01) })).toBe(false);
    // The response to that coma at that seeing makes 0.071 of the elongation.
    expect(held({ coma, trefoil: at(0.01, 30), distortion: long }, at(0.071, 2 * 258))).toBe(false);
  });
});

describe('subs of which some are skewed', () => {
  const round = { coma: at(0.004, 70), trefoil: NOTHING, distortion: at(0.002, 0, 0.004) };
  const own = ({ trefoil, distortion }: { trefoil: typeof NOTHING; distortion: typeof NOTHING }) => ({
    trefoil,
    distortion,
  });

  it('are told by their number', () => {
    const subs = [round, skewed(0.06, 20), round].map((sub, frame) => ({ frame, ...sub }));
    const found = skewedSubs(subs, own);
    expect([...found.keys()]).toEqual([1]);
    expect(Math.cos((found.get(1)?.direction ?? 9) - (20 * Math.PI) / 180)).toBeGreaterThan(0.999);
  });

  // Numbers of three drawn subs, a mirror strained by 1.8 tolerances: a jump of 1.5" in the last, seeing 2.3" to 2.8".
  const strained = [
    { coma: at(0.0005, 70), trefoil: at(0.0775, 52), distortion: at(0.002, 195, 0.002) },
    { coma: at(0.0009, 27), trefoil: at(0.1078, 52), distortion: at(0.0094, 207, 0.002) },
  ];

  it('are told beside a strained mirror, which hides the triangle of the jump, by what they have beyond the others', () => {
    const jump = { coma: at(0.0284, -15), trefoil: at(0.0947, 37), distortion: at(0.1305, -11, 0.002) };
    const subs = [...strained, jump].map((sub, frame) => ({ frame, ...sub }));
    expect([...skewedSubs(subs, own).keys()]).toEqual([2]);
    // Long the same way, but not skewed.
    const long = { ...strained[0], distortion: jump.distortion };
    expect(
      skewedSubs(
        [...strained, long].map((sub, frame) => ({ frame, ...sub })),
        own,
      ).size,
    ).toBe(0);
  });

  it('have one skew in all, however each answers to it at its focus', () => {
    // Numbers of two drawn subs through 3 air masses, 18 and 47 um off focus.
    const near = { coma: at(0.0264, -16), trefoil: at(0.0328, -48), distortion: at(0.2815, -32, 0.002) };
    const far = { coma: at(0.014, -16), trefoil: at(0.0113, -48), distortion: at(0.1534, -32, 0.002) };
    const both = [near, far].map((sub, frame) => ({ frame, ...sub }));
    const direction = skewOfAll(both, own)?.direction ?? expect.unreachable('no skew');
    expect(Math.cos(direction + (16 * Math.PI) / 180)).toBeGreaterThan(0.999);
    expect(
      skewOfAll(
        [near, round].map((sub, frame) => ({ frame, ...sub })),
        own,
      ),
    ).toBeNull();
    const other = { coma: at(0.014, 104), trefoil: at(0.0113, -48), distortion: at(0.1534, 208, 0.002) };
    expect(
      skewOfAll(
        [near, other].map((sub, frame) => ({ frame, ...sub })),
        own,
      ),
    ).toBeNull();
  });

  it('are none where all are, and none where the others have the same coma and elongation', () => {
    const alike = [0, 1].map((frame) => ({ frame, ...skewed(0.06, 20) }));
    expect(skewedSubs(alike, own).size).toBe(0);
    // The second has the coma and the elongation too, but no trefoil: no jump has come and gone.
    const same = [skewed(0.06, 20), { ...skewed(0.06, 20), trefoil: NOTHING }].map((sub, frame) => ({ frame, ...sub }));
    expect(skewedSubs(same, own).size).toBe(0);
  });
});
