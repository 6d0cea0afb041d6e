import { describe, expect, it } from 'vitest';
import { nodeAbout, nodeOf } from '../../src/diagnosis/bareMirror.ts';
import { persistentComa, type SmoothFields } from '../../src/field/fitField.ts';
import { type FrameStars, fieldPosition, type Place } from '../../src/field/frameStars.ts';
import { fitComaField } from '../../src/field/spinFields.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import type { Shape } from '../../src/shapes/shape.ts';

const ERROR = 0.004;
const ROUND: Omit<Shape, 'x' | 'y' | 'coma3'> = {
  positionError: 0.02,
  amplitude: 5000,
  amplitudeError: 50,
  flux: 50_000,
  fluxError: 500,
  background: 0,
  sigmaMajor: 1.5,
  sigmaMinor: 1.5,
  theta: 0,
  fwhm: 3.5,
  fwhmError: 0.1,
  e1: 0,
  e2: 0,
  eError: 0.02,
  trefoil3: { x: 0, y: 0, error: 0.01 },
  peakSnr: 100,
  misfit: 0.01,
};

/** Stars of a bare mirror whose coma3 saturates with the amount, as a third cumulant under a weight does: a tanh of the way to the node. */
function bareFrame(node: Place, seed: number, count = 300): FrameStars {
  const random = seededRandom(seed);
  const frame: FrameStars = { name: 'drawn', width: 3000, height: 2000, shapes: [] };
  const shapes = Array.from({ length: count }, () => {
    const x = frame.width * random.uniform();
    const y = frame.height * random.uniform();
    const place = fieldPosition(frame, x, y);
    const [u, v] = [place.u - node.u, place.v - node.v];
    const way = Math.hypot(u, v);
    const answer = (0.2 * Math.tanh(1.6 * way)) / way;
    const coma3 = { x: answer * u + ERROR * random.normal(), y: answer * v + ERROR * random.normal(), error: ERROR };
    return { ...ROUND, x, y, coma3 };
  });
  return { ...frame, shapes };
}

describe('the node of a bare mirror whose answer bends', () => {
  const drawn = { u: 0.42, v: -0.28 };
  const about = (frame: FrameStars) => (place?: Place) => {
    const field = fitComaField(frame, undefined, place);
    return field === null ? null : persistentComa([field]);
  };
  const off = (node: Place | null): number => Math.hypot((node?.u ?? 9) - drawn.u, (node?.v ?? 9) - drawn.v);

  it('is found about itself, three times nearer than from the middle of the frame', () => {
    const misses = [1, 2, 3, 4].map((seed) => {
      const comaAbout = about(bareFrame(drawn, seed));
      const field = comaAbout() as SmoothFields['coma'];
      const first = nodeOf(field.uniform, field);
      if (first === null) throw new Error('no node');
      const found = nodeAbout(first, field.uniform.error, comaAbout);
      return { first: off(first), found: off(found) };
    });
    for (const { found } of misses) expect(found).toBeLessThan(0.01);
    const mean = (of: (miss: (typeof misses)[number]) => number): number =>
      misses.reduce((sum, m) => sum + of(m), 0) / 4;
    expect(mean((m) => m.found)).toBeLessThan(mean((m) => m.first) / 3);
  });

  it('has an error that holds how it scatters towards a corner, of few stars', () => {
    const far = { u: 0.7, v: 0.5 };
    const pulls = Array.from({ length: 24 }, (_, seed) => {
      const comaAbout = about(bareFrame(far, 100 + seed, 80));
      const field = comaAbout() as SmoothFields['coma'];
      const first = nodeOf(field.uniform, field);
      if (first === null) throw new Error('no node');
      const found = nodeAbout(first, field.uniform.error, comaAbout);
      return Math.hypot(found.u - far.u, found.v - far.v) / Math.SQRT2 / found.error;
    });
    const rms = Math.sqrt(pulls.reduce((sum, pull) => sum + pull ** 2, 0) / pulls.length);
    // The most of the error is what astigmatism and focus bend, which these stars have none of.
    expect(rms).toBeLessThan(0.6);
    expect(rms).toBeGreaterThan(0.15);
  });

  it('stays where it was when the coma about it is not seen or leads far away', () => {
    const first = { u: 0.4, v: -0.3, error: 0.03 };
    const field = about(bareFrame(drawn, 5))() as SmoothFields['coma'];
    expect(nodeAbout(first, 0.001, () => null)).toBe(first);
    expect(nodeAbout(first, 0.001, () => ({ ...field, linear: { value: 0.01, error: 0.01 } }))).toBe(first);
    expect(nodeAbout(first, 0.001, () => ({ ...field, uniform: { ...field.uniform, x: 0.3, y: 0 } }))).toBe(first);
  });
});
