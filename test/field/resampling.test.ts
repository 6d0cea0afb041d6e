import { describe, expect, it } from 'vitest';
import { fitSpinFields, type SpinFields } from '../../src/field/spinFields.ts';
import { measureFrame } from '../../src/measure.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { sampleFrame } from '../support/samples.ts';

/**
 * The quoted errors are those of the sandwich (Huber 1967; White 1980), the limit that resampling the stars tends to (Efron 1979,
 * Annals of Statistics 7, 1; Jaeckel's infinitesimal jackknife): drawing the stars again and again, with repetition, must
 * scatter the fields by what is quoted.
 */
const RESAMPLES = 400;

const QUANTITIES: Readonly<Record<string, (fields: SpinFields) => { values: readonly number[]; error: number }>> = {
  'uniform coma': ({ coma }) => ({ values: [coma.uniform.x, coma.uniform.y], error: coma.uniform.error }),
  'coma growing from the centre': ({ coma }) => ({ values: [coma.linear.value], error: coma.linear.error }),
  'uniform distortion': ({ distortion }) => ({
    values: [distortion.uniform.x, distortion.uniform.y],
    error: distortion.uniform.error,
  }),
  'distortion growing from side to side': ({ distortion }) => ({
    values: distortion.linear,
    error: distortion.linearError,
  }),
  'radial distortion': ({ distortion }) => ({ values: [distortion.radial.value], error: distortion.radial.error }),
  'uniform trefoil': ({ trefoil }) => ({
    values: [trefoil.uniform.x, trefoil.uniform.y],
    error: trefoil.uniform.error,
  }),
};

describe.each(['sample-coma.fits.fz', 'sample-soft-sides.fits.fz'])('stars of %s drawn again and again', (name) => {
  const { stars } = measureFrame(sampleFrame(name));
  const random = seededRandom(20270401, name);
  const again = Array.from({ length: RESAMPLES }, () => {
    const shapes = stars.shapes.map(() => stars.shapes[Math.floor(random.uniform() * stars.shapes.length)]);
    return fitSpinFields({ ...stars, shapes });
  }).filter((fields) => fields !== null);
  const own = fitSpinFields(stars);

  it.each(Object.keys(QUANTITIES))('scatter the %s by its quoted error', (quantity) => {
    if (own === null) throw new Error('no fields');
    expect(again.length).toBe(RESAMPLES);
    const { values, error } = QUANTITIES[quantity](own);
    const variance = values.map((_, i) => {
      const drawn = again.map((fields) => QUANTITIES[quantity](fields).values[i]);
      const mean = drawn.reduce((sum, v) => sum + v, 0) / drawn.length;
      return drawn.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (drawn.length - 1);
    });
    const scatter = Math.sqrt(variance.reduce((sum, v) => sum + v, 0) / variance.length);
    // A sandwich is itself uncertain by about a tenth with so few stars, the scatter of 400 resamples by 4 %.
    expect(error / scatter).toBeGreaterThan(0.75);
    expect(error / scatter).toBeLessThan(1.3);
  });
});
