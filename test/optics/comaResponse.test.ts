import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { multiply, polar } from '../../src/optics/complex.ts';
import { type Psf, starImage } from '../../src/optics/psf.ts';
import { SPIN_TERMS, type Spin } from '../../src/optics/spinTerms.ts';
import { ALIGNED } from '../../src/optics/state.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../../src/optics/telescope.ts';
import { NO_ABERRATION, toDefocus, wavefrontAt } from '../../src/optics/wavefront.ts';

/** 203 mm f/3.94, 35 % obstruction: the telescope of the recorded responses. */
const TRIED: Telescope = { ...EXAMPLE_TELESCOPE, apertureMm: 203, obstruction: 0.35, vanes: [] };
const PIXEL_UM = 3.76;

/** A comatic star of the tried telescope: primary tilted by `arcmin` to the left, so that the tail points right. */
function tilted(arcmin: number, seeingArcsec: number, defocusUm: number, oversample: number): Psf {
  const state = { ...ALIGNED, primaryTiltArcmin: { x: -arcmin, y: 0 } };
  const w = { ...NO_ABERRATION, c: wavefrontAt(TRIED, state, { x: 0, y: 0 }).c, d: toDefocus(TRIED, defocusUm) };
  const grid = { size: oversample === 8 ? 512 : 256, oversample };
  return starImage(TRIED, w, { pixelUm: PIXEL_UM, filter: 'mono', seeingArcsec, recentred: true, grid });
}

/** Third-order shape by sums over the drawn points, written for this test alone. */
function coma3ByPoints(psf: Psf): number {
  const points: { x: number; y: number; light: number }[] = [];
  const half = psf.size / 2;
  for (let j = 0; j < psf.size; j++) {
    for (let i = 0; i < psf.size; i++) {
      const x = (i - half) / psf.oversample;
      const y = (j - half) / psf.oversample;
      if (Math.hypot(x, y) < 10) points.push({ x, y, light: psf.image[j * psf.size + i] });
    }
  }
  const { sigma } = roundGaussian(points.filter((point) => Math.hypot(point.x, point.y) < 5));
  let cx = 0;
  let cy = 0;
  let odd = 0;
  for (let round = 0; round < 60; round++) {
    let light = 0;
    let mx = 0;
    let my = 0;
    odd = 0;
    for (const point of points) {
      const u = (point.x - cx) / sigma;
      const v = (point.y - cy) / sigma;
      const weighted = Math.exp(-0.5 * (u * u + v * v)) * point.light;
      light += weighted;
      mx += weighted * u;
      my += weighted * v;
      odd += weighted * u * (u * u + v * v - 2);
    }
    odd /= light;
    cx += (1.4 * sigma * mx) / light;
    cy += (1.4 * sigma * my) / light;
  }
  return odd;
}

/** Least squares of a round Gaussian and a level by Gauss-Newton. */
function roundGaussian(points: readonly { x: number; y: number; light: number }[]): { sigma: number } {
  const p = [Math.max(...points.map((point) => point.light)), 0, 0, 1.3, 0];
  for (let round = 0; round < 40; round++) {
    const rows = Array.from({ length: 5 }, () => new Float64Array(6));
    for (const { x, y, light } of points) {
      const dx = x - p[1];
      const dy = y - p[2];
      const r2 = dx * dx + dy * dy;
      const bell = Math.exp(-r2 / (2 * p[3] * p[3]));
      const slopes = [
        bell,
        (p[0] * bell * dx) / p[3] ** 2,
        (p[0] * bell * dy) / p[3] ** 2,
        (p[0] * bell * r2) / p[3] ** 3,
        1,
      ];
      const miss = light - p[0] * bell - p[4];
      for (let i = 0; i < 5; i++) {
        rows[i][5] += slopes[i] * miss;
        for (let j = 0; j < 5; j++) rows[i][j] += slopes[i] * slopes[j];
      }
    }
    for (let i = 0; i < 5; i++) {
      for (let j = 0; j < 5; j++) {
        if (j === i) continue;
        const factor = rows[j][i] / rows[i][i];
        for (let k = i; k < 6; k++) rows[j][k] -= factor * rows[i][k];
      }
    }
    for (let i = 0; i < 5; i++) p[i] += rows[i][5] / rows[i][i];
  }
  return { sigma: Math.abs(p[3]) };
}

describe("response of coma3 to the primary's tilt", () => {
  const path = new URL('../reference/optics/stars.json', import.meta.url);
  const { responses } = JSON.parse(readFileSync(path, 'utf8')) as {
    responses: { seeing: number; defocusUm: number; coma3: number }[];
  };

  it.each(responses)(
    '$seeing arcsec, $defocusUm um: that of the directly summed image within 2 %',
    ({ seeing, defocusUm, coma3 }) => {
      // scripts/reference/stars.py: numpy, no FFT of the pupil, its own fit and sums.
      expect(Math.abs(coma3ByPoints(tilted(1, seeing, defocusUm, 8)) / coma3 - 1)).toBeLessThan(0.02);
    },
  );

  it('a tail on the other side would be noticed', () => {
    expect(coma3ByPoints(tilted(-1, 2.5, 40, 4))).toBeLessThan(-0.01);
  });
});

it('each product of coefficients turns by its own spin, and each kind is met', () => {
  const w = { a: polar(0.7, 0.3), c: polar(0.9, 1.1), t: polar(0.8, -0.5) };
  const turn = 0.41;
  const turned = {
    a: multiply(w.a, polar(1, 2 * turn)),
    c: multiply(w.c, polar(1, turn)),
    t: multiply(w.t, polar(1, 3 * turn)),
  };
  for (const spin of [0, 1, 2, 3] as Spin[]) {
    for (const term of SPIN_TERMS[spin]) {
      const before = multiply(term.value(w), polar(1, spin * turn));
      const after = term.value(turned);
      expect(after.x).toBeCloseTo(before.x, 12);
      expect(after.y).toBeCloseTo(before.y, 12);
    }
  }
  const letters = (spin: Spin): string[] => SPIN_TERMS[spin].map((term) => term.letters);
  // Third moments of the spot (Q2, S1, S3 polynomials) hold these products.
  expect(letters(2)).toEqual(expect.arrayContaining(['a', 'cc', 'Ct']));
  expect(letters(1)).toEqual(expect.arrayContaining(['c', 'aC', 'At', 'ccC', 'aAc', 'aaT', 'CCt', 'ctT']));
  expect(letters(3)).toEqual(expect.arrayContaining(['t', 'ac', 'aaC', 'cCt']));
});
