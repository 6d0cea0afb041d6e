import { add, type Complex, conjugate, dot, length, multiply, scale } from '../optics/complex.ts';
import type { StarShape } from '../optics/response.ts';

export type ThirdOrder = Pick<StarShape, 'coma3' | 'trefoil3'>;

/**
 * The round Gaussian weight of the third order sees less of a coma along the stars' long axis than across it, when a smear made them
 * long, and some of it as trefoil; of a trefoil it sees some as coma. With complex numbers, e = e1 + i e2 of the smear (spin 2), c and
 * t of the stars without it: coma3 = c - K e conj(c) - S conj(e) t, trefoil3 = t - T e c. For slightly skewed Gaussians K = 1,
 * T = 1.5, S = 0.5 (their third cumulants seen through such a weight); these follow stars drawn at the same mean second moment (200
 * and 300 mm f/4, seeing 1.9 to 3.5", in focus to 80 um off, drifts of 1.5 to 4.5 px) within 0.08 of the coma to 40 um, 0.11 beyond.
 */
const K = { at0: 0.9, rise: 0.7 };
const T = { at0: 1.4, rise: 1.1 };
const S = { at0: 0.42, rise: 0.35 };
/** The drawn stars end here, and what is told of them. */
const LONGEST = 0.45;

/** How many times as strongly as along their long axis such stars answer across it. */
export function acrossOverAlong(elongation: number): number {
  const e = Math.min(elongation, LONGEST);
  const k = e * (K.at0 + K.rise * e);
  return (1 + k) / (1 - k);
}

/** What a smear that makes round stars (e1, e2) = `e` adds to their third order, and by how much with either. */
export interface SmearedStar {
  /** For stars of this third order without it: linear in that. */
  readonly added: (star: ThirdOrder) => ThirdOrder;
  /** Slope along `by` in e. */
  readonly slope: (star: ThirdOrder, by: Complex) => ThirdOrder;
}

export function smearedStar(e: Complex): SmearedStar {
  const elongation = length(e);
  const far = elongation > LONGEST;
  // Beyond the end only the direction counts.
  const share = far ? LONGEST / elongation : 1;
  const reached = Math.min(elongation, LONGEST);
  const factors = [K, T, S].map(({ at0, rise }) => share * (at0 + rise * reached));
  const rises = far ? factors.map((factor) => -factor / elongation) : [K.rise, T.rise, S.rise];
  return {
    added: (star) => mixed(star, e, factors),
    slope: (star, by) => {
      const along = elongation > 0 ? dot(e, by) / elongation : 0;
      const swung = mixed(star, by, factors);
      const grown = mixed(star, e, rises);
      return {
        coma3: add(swung.coma3, scale(grown.coma3, along)),
        trefoil3: add(swung.trefoil3, scale(grown.trefoil3, along)),
      };
    },
  };
}

/** -k e conj(c) - s conj(e) t, and -t e c. */
const mixed = ({ coma3: c, trefoil3 }: ThirdOrder, e: Complex, [k, t, s]: readonly number[]): ThirdOrder => ({
  coma3: add(scale(multiply(e, conjugate(c)), -k), scale(multiply(conjugate(e), trefoil3), -s)),
  trefoil3: scale(multiply(e, c), -t),
});
