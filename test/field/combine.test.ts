import { describe, expect, it } from 'vitest';
import { persistentDirection, persistentVector } from '../../src/field/combine.ts';

const along = (length: number, deg: number, error = 0.001) => ({
  x: length * Math.cos((deg * Math.PI) / 180),
  y: length * Math.sin((deg * Math.PI) / 180),
  error,
});

describe('a vector whose length answers to focus', () => {
  it('is as sure of its direction as two alike while the lengths differ by what focus can do', () => {
    const subs = [along(0.02, 30), along(0.04, 30)];
    expect(persistentDirection(subs, 'coma').error).toBeLessThan(0.001);
    expect(persistentVector(subs).error).toBeGreaterThan(0.005);
  });

  it('is not, where one sub has it and the other has not: a jump is no answer to focus', () => {
    const subs = [along(0.06, 30), along(0.002, 40)];
    expect(persistentDirection(subs, 'coma').error).toBeGreaterThan(0.01);
  });

  it('may differ by more where it is trefoil', () => {
    const subs = [along(0.04, 30), along(0.2, 30)];
    expect(persistentDirection(subs, 'trefoil').error).toBeLessThan(0.001);
    expect(persistentDirection(subs, 'coma').error).toBeGreaterThan(0.02);
  });

  it('has what scatters across the common direction as an error', () => {
    const subs = [along(0.05, 20), along(0.05, 40)];
    // Half the angle between them, over the root of two subs, per component of one direction.
    expect(persistentDirection(subs, 'coma').error).toBeGreaterThan(0.004);
  });
});
