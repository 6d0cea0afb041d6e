import { describe, expect, it } from 'vitest';
import { seededRandom } from '../../src/numeric/random.ts';
import { NO_ABERRATION } from '../../src/optics/wavefront.ts';
import { type Disc, measureDisc } from '../../src/sweep/disc.ts';
import { discOf, stampsOf, telescopeOf } from '../../src/sweep/drawnDisc.ts';
import { halfFluxSlope, NOMINAL_OPTICS, type SweepOptics } from '../../src/sweep/sweepOptics.ts';

/** A uniform ring of rays: outer diameter, hole as a share of it; 5 x 5 points a pixel. */
function ring(diameterPx: number, hole: number, size = 121): Disc {
  const data = new Float64Array(size * size);
  const middle = (size - 1) / 2;
  for (let y = 0; y < size; y++)
    for (let x = 0; x < size; x++)
      for (let j = -2; j <= 2; j++)
        for (let i = -2; i <= 2; i++) {
          const r = Math.hypot(x - middle + i / 5, y - middle + j / 5);
          if (r <= diameterPx / 2 && r >= (hole * diameterPx) / 2) data[y * size + x] += 1;
        }
  const plane = { data, width: size, height: size, mask: null, greenParity: null };
  const disc = measureDisc(plane, { x: middle, y: middle, hfd: 0.6 * diameterPx }, 1e-9, 1e12, size);
  if (disc === null) throw new Error('not measured');
  return disc;
}

describe('a geometric disc', () => {
  // Half of a ring's light lies within sqrt((1 + eps^2)/2) of its radius; <r^2> = R^2 (1 + eps^2)/2: plane geometry.
  it.each([
    [24, 0],
    [24, 0.35],
    [40, 0.3],
  ])('of %f px with a hole of %f has the half-flux diameter and <r^2> of geometry', (diameter, hole) => {
    const disc = ring(diameter, hole);
    expect(disc.hfd / (diameter * Math.sqrt((1 + hole ** 2) / 2))).toBeCloseTo(1, 2);
    expect(disc.q0 / (((diameter / 2) ** 2 * (1 + hole ** 2)) / 2)).toBeCloseTo(1, 1.7);
    expect(Math.hypot(disc.q2x, disc.q2y)).toBeLessThan(0.01 * disc.q0);
  });
});

function drawn(optics: SweepOptics, dzUm: number, astigmatismUm = 0): Disc {
  const n = optics.focalLengthMm / optics.apertureMm;
  const w = { ...NO_ABERRATION, d: dzUm / (8 * n * n), a: { x: astigmatismUm, y: 0 } };
  const disc = discOf(stampsOf(telescopeOf(optics), optics, 1.5, w, dzUm)[0]);
  if (disc === null) throw new Error('not measured');
  return disc;
}

const F6 = { ...NOMINAL_OPTICS, focalLengthMm: 1200 };

describe('a star drawn by Fourier optics far from focus', () => {
  // Ray optics: half-flux diameter grows by sqrt((1 + eps^2)/2)/N um a um, <r^2> by (1 + eps^2)/(8 N^2) dz^2.
  it.each([
    ['f/4', NOMINAL_OPTICS, 360, 520],
    ['f/6', F6, 600, 840],
  ])('at %s grows with the published slope', (_, optics, near, far) => {
    const [a, b] = [drawn(optics, near), drawn(optics, far)];
    const slope = ((b.hfd - a.hfd) * optics.pixelUm) / (far - near);
    expect(Math.abs(slope / halfFluxSlope(optics) - 1)).toBeLessThan(0.03);
    const n = optics.focalLengthMm / optics.apertureMm;
    const parabola = (((b.q0 - a.q0) * optics.pixelUm ** 2) / (far ** 2 - near ** 2)) * ((8 * n * n) / (1 + 0.35 ** 2));
    expect(Math.abs(parabola - 1)).toBeLessThan(0.03);
  });

  it('is the same on both sides of focus', () => {
    expect(drawn(NOMINAL_OPTICS, -240).q0).toBeCloseTo(drawn(NOMINAL_OPTICS, 240).q0, 3);
  });

  it('turns its elongation through focus, by <(dx + i dy)^2> = 2 (1 + eps^2) a dz', () => {
    const [inside, outside] = [drawn(NOMINAL_OPTICS, 320, 0.1), drawn(NOMINAL_OPTICS, -320, 0.1)];
    const rays = (2 * (1 + 0.35 ** 2) * 0.1 * 320) / NOMINAL_OPTICS.pixelUm ** 2;
    expect(inside.q2x / rays).toBeGreaterThan(0.9);
    expect(inside.q2x / rays).toBeLessThan(1.02);
    expect(outside.q2x).toBeCloseTo(-inside.q2x, 2);
  });
});

it('errors of size and elongation are those that noise makes', () => {
  const random = seededRandom(11, 'discs');
  const [stamp] = stampsOf(telescopeOf(NOMINAL_OPTICS), NOMINAL_OPTICS, 2.2, { ...NO_ABERRATION, d: 1 }, 128);
  const truth = discOf(stamp);
  const noise = 25;
  const pulls: number[][] = [[], []];
  for (let i = 0; i < 300; i++) {
    const data = Float64Array.from(stamp.plane.data, (v) => {
      const light = 60_000 * v;
      return light + Math.sqrt(noise * noise + Math.max(0, light)) * random.normal();
    });
    const disc = measureDisc({ ...stamp.plane, data }, stamp, noise, 1, stamp.half);
    if (disc === null || truth === null) continue;
    pulls[0].push((disc.q0 - truth.q0) / disc.q0Error);
    pulls[1].push((disc.q2x - truth.q2x) / disc.q2Error);
  }
  const width = (values: readonly number[]): number =>
    Math.sqrt(values.reduce((sum, p) => sum + p * p, 0) / values.length);
  expect(pulls[0].length).toBeGreaterThan(290);
  // The aperture follows the noise and the sky has its own: size scatters more than the pixels alone say.
  expect(width(pulls[0])).toBeGreaterThan(0.8);
  expect(width(pulls[0])).toBeLessThan(2.2);
  expect(width(pulls[1])).toBeGreaterThan(0.8);
  expect(width(pulls[1])).toBeLessThan(1.3);
});
