import type { CheckRow } from '../history/row.ts';

/** One thing that coma may depend on, with its value at each check; 0 is the usual condition. */
export interface Condition {
  readonly name: 'temperature' | 'altitude' | 'pier side';
  readonly values: Float64Array;
  /** What the values are counted from and how far they reach, in the condition's own unit (deg C, share of gravity). */
  readonly usual: number;
  readonly least: number;
  readonly most: number;
}

/** Spread (1 sigma) and number of checks below which nothing can be learnt. */
const LEAST_SPREAD = { temperature: 1, altitude: 0.08 } as const;
const LEAST_CHECKS = 8;
const LEAST_EACH_SIDE = 3;
/** Share of the checks that must tell it; the others count as usual. */
const MOST_TELL = 0.9;

/**
 * What these checks can be asked about. The share of gravity across the tube is the cosine of the altitude; a tube turned
 * over (the other pier side) feels it from the other side, so that share with the sign of the pier side is the second half
 * of gravity. Which way 'across' points in between is not known without the latitude.
 */
export function conditionsOf(checks: readonly CheckRow[]): Condition[] {
  if (checks.length < LEAST_CHECKS) return [];
  const out: Condition[] = [];
  const source = commonest(checks.map((check) => check.temperatureFrom));
  const temperatures = checks.map((check) => (check.temperatureFrom === source ? check.temperatureC : null));
  const temperature = centred('temperature', temperatures, LEAST_SPREAD.temperature);
  if (source !== null && temperature !== null) out.push(temperature);
  const shares = checks.map(({ altitudeDeg }) =>
    altitudeDeg === null ? null : Math.cos((altitudeDeg * Math.PI) / 180),
  );
  const altitude = centred('altitude', shares, LEAST_SPREAD.altitude);
  if (altitude !== null) out.push(altitude);
  const pier = pierOf(checks, shares);
  if (pier !== null) out.push(pier);
  return out;
}

function centred(name: Condition['name'], values: readonly (number | null)[], spread: number): Condition | null {
  const known = values.flatMap((value) => value ?? []);
  if (known.length < MOST_TELL * values.length) return null;
  const usual = known.reduce((a, b) => a + b, 0) / known.length;
  const sigma = Math.sqrt(known.reduce((sum, value) => sum + (value - usual) ** 2, 0) / known.length);
  if (!(sigma >= spread)) return null;
  return {
    name,
    values: Float64Array.from(values, (value) => (value === null ? 0 : value - usual)),
    usual,
    least: known.reduce((a, b) => Math.min(a, b)),
    most: known.reduce((a, b) => Math.max(a, b)),
  };
}

function pierOf(checks: readonly CheckRow[], shares: readonly (number | null)[]): Condition | null {
  const sides = checks.map(({ pierSide }) => (pierSide === null ? 0 : pierSide === 'east' ? 1 : -1));
  const east = sides.filter((side) => side > 0).length;
  const west = sides.filter((side) => side < 0).length;
  if (Math.min(east, west) < LEAST_EACH_SIDE || east + west < MOST_TELL * checks.length) return null;
  const known = shares.flatMap((share) => share ?? []);
  const mean = known.length === 0 ? 1 : known.reduce((a, b) => a + b, 0) / known.length;
  return {
    name: 'pier side',
    values: Float64Array.from(sides, (side, i) => side * (shares[i] ?? mean)),
    usual: 0,
    least: -mean,
    most: mean,
  };
}

function commonest<T>(values: readonly (T | null)[]): T | null {
  const counts = new Map<T, number>();
  for (const value of values) if (value !== null) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? null;
}
