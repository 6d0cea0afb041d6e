import { type FocusFit, placeOf, type SeriesFrame, type Uncertain2 } from './focusFit.ts';
import { mixedFit } from './mixedFit.ts';

/**
 * Astigmatism from how elongation turns through focus: <(dx + i dy)^2> = smear of the frame + what does not change with focus
 * + 2 growth A dt. A is the shift of best focus between the axes, in t: along the axis of A stars are sharpest at
 * best - |A|, across it at best + |A|. A = uniform + linear z + radial z^2 (the terms that symmetry allows: Thompson 2005,
 * JOSA A 22, 1389), z = u + iv in half-diagonals.
 */
export interface AstigmatismFit {
  readonly uniform: Uncertain2;
  /** Complex factor of z; binodal astigmatism where the radial term is there too. */
  readonly linear: Uncertain2;
  readonly radial: { readonly value: number; readonly error: number };
  /** Elongation that does not turn through focus, px^2: tracking and the like, mean of the frames. */
  readonly smear: Uncertain2;
}

const SHAPE_NOISE = 0.02;
/** Smear changes from frame to frame by about this share of the focused size squared. */
const SMEAR_SPREAD = { share: 0.05, counts: 3 };

/** Null without stars enough. `fit` must be that of the surface. */
export function fitAstigmatism(frames: readonly SeriesFrame[], fit: FocusFit): AstigmatismFit | null {
  const { best, growth, scale, curve, floors } = fit;
  const rows: Float64Array[] = [];
  const values: number[] = [];
  const errors: number[] = [];
  const group: number[] = [];
  frames.forEach(({ measured, reading, fromAbove }, f) => {
    const t = (reading - scale.middle) / scale.half - (fromAbove ? (fit.backlash?.value ?? 0) : 0);
    for (const d of measured.discs) {
      const { u, v } = placeOf(measured, d.x, d.y);
      const r2 = u * u + v * v;
      const dt = t - best[0] - best[1] * u - best[2] * v - best[3] * r2;
      const floor = Math.max(
        floors[f].value + fit.floorSlope.u * u + fit.floorSlope.v * v + fit.floorSlope.r2 * r2,
        0.3 * floors[f].value,
      );
      const lever = 2 * growth * dt * curve.astigmatism((growth * dt * dt) / floor);
      const error = Math.hypot(d.q2Error, SHAPE_NOISE * d.q0);
      const [zz, zw] = [u * u - v * v, 2 * u * v];
      // Constant in focus: smear, and coma's own elongation (linear and z^2); then the three terms of A.
      rows.push(
        Float64Array.of(1, 0, u, -v, zz, lever, 0, lever * u, -lever * v, lever * zz),
        Float64Array.of(0, 1, v, u, zw, 0, lever, lever * v, lever * u, lever * zw),
      );
      values.push(d.q2x, d.q2y);
      errors.push(error, error);
      group.push(2 * f, 2 * f + 1);
    }
  });
  if (rows.length < 40) return null;
  const none = { centre: 0, sigma: Infinity };
  const solved = mixedFit({
    rows,
    values,
    errors,
    group,
    groups: 2 * frames.length,
    lever: rows.map(() => 1),
    priors: Array.from({ length: 10 }, () => none),
    spread: { sigma: SMEAR_SPREAD.share * floors[0].value, counts: SMEAR_SPREAD.counts },
  });
  if (solved === null) return null;
  const p = solved.parameters;
  const size = p.length;
  const error = (j: number): number => Math.sqrt(solved.covariance[j * size + j]);
  const vector = (j: number): Uncertain2 => ({
    x: p[j],
    y: p[j + 1],
    error: Math.hypot(error(j), error(j + 1)) / Math.SQRT2,
  });
  return { uniform: vector(5), linear: vector(7), radial: { value: p[9], error: error(9) }, smear: vector(0) };
}
