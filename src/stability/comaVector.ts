import type { CheckRow } from '../history/row.ts';
import { median } from '../numeric/statistics.ts';

/** What the trend of coma counts in: tilt of the primary, wavefront W131, or the dimensionless shape. */
export type ComaUnit = 'arcmin' | 'um' | 'coma3';

/** Coma of one check on the screen, along the tail, in the trend's unit. */
export interface ComaVector {
  readonly x: number;
  readonly y: number;
  /** 1 sigma of each component, from the stars' noise. */
  readonly noise: number;
  /** Further 1-sigma error along the vector, share of its length: one focus knows the amount to a factor only. */
  readonly lengthError: number;
}

/** The best unit that at least this share of the checks can give; the others are then left out. */
const MOST_GIVE = 0.8;
/** An amount is taken as known to a factor of at best two. */
const LARGEST_LENGTH_ERROR = 0.7;

/**
 * Amounts wherever they are known: the shape of the stars alone changes with seeing and focus (coma3 of one arcminute of
 * tilt is 0.022 at 1.5 arcseconds of seeing and 0.003 at 4), and would show knocks that are none.
 */
export function comaUnitOf(checks: readonly CheckRow[]): ComaUnit {
  const share = (has: (check: CheckRow) => boolean): number => checks.filter(has).length / Math.max(1, checks.length);
  const seen = share(({ coma3 }) => coma3 !== null);
  if (share(({ mirrorTilt, coma3 }) => mirrorTilt !== null && coma3 !== null) >= MOST_GIVE * seen && seen > 0)
    return 'arcmin';
  return share(({ comaUm }) => comaUm !== null) >= MOST_GIVE * seen && seen > 0 ? 'um' : 'coma3';
}

/** Null for a check that does not give the unit. */
export function comaVectorsOf(checks: readonly CheckRow[], unit: ComaUnit): (ComaVector | null)[] {
  const vectors = checks.map((check) => comaOf(check, unit));
  // Near zero an amount has no length to be a share of: it takes what is usual.
  const known = vectors.flatMap((v) => (v !== null && Math.hypot(v.x, v.y) > 3 * v.noise ? [v.lengthError] : []));
  const usual = known.length === 0 ? 0 : median(known);
  return vectors.map((v) => {
    if (v === null || Math.hypot(v.x, v.y) > 3 * v.noise) return v;
    return { ...v, lengthError: usual };
  });
}

function comaOf(check: CheckRow, unit: ComaUnit): ComaVector | null {
  const { coma3, comaUm, mirrorTilt } = check;
  if (unit === 'coma3') return coma3 && sound({ x: coma3.x, y: coma3.y, noise: coma3.error, lengthError: 0 });
  if (coma3 === null) return null;
  const length3 = Math.hypot(coma3.x, coma3.y);
  const amount = unit === 'arcmin' ? (mirrorTilt?.arcmin ?? null) : comaUm && Math.hypot(comaUm.x, comaUm.y);
  if (amount === null) return null;
  const error = unit === 'arcmin' ? ((mirrorTilt?.minus ?? 0) + (mirrorTilt?.plus ?? 0)) / 2 : (comaUm?.error ?? 0);
  if (length3 === 0 || amount === 0) return sound({ x: 0, y: 0, noise: error, lengthError: 0 });
  const perShape = amount / length3;
  const noise = perShape * coma3.error;
  const further = Math.sqrt(Math.max(0, error ** 2 - noise ** 2)) / amount;
  return sound({
    x: perShape * coma3.x,
    y: perShape * coma3.y,
    noise,
    lengthError: Math.min(LARGEST_LENGTH_ERROR, further),
  });
}

function sound(vector: ComaVector): ComaVector | null {
  return vector.noise > 0 && [vector.x, vector.y, vector.noise].every(Number.isFinite) ? vector : null;
}
