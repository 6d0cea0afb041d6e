import { angleFrom } from '../optics/complex.ts';
import type { ScanPoint } from './focusScan.ts';

/** A number with the interval that holds it with 68 % probability. */
export interface Interval {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

/** Cumulative normal distribution (Abramowitz & Stegun 1964, 26.2.17; error below 7.5e-8). */
function normalBelow(x: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(x));
  const tail =
    0.398942280401 *
    Math.exp(-0.5 * x * x) *
    t *
    (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return x >= 0 ? 1 - tail : tail;
}

/**
 * Median and central 68 % of a mixture of normal distributions, one for each place of the focus scan: what the data, the prior
 * of focus and the errors leave of a number together.
 */
export function mixtureInterval(
  scan: readonly ScanPoint[],
  at: (point: ScanPoint) => { readonly value: number; readonly error: number },
): Interval {
  const parts = scan.map((point) => ({ weight: point.weight, ...at(point) }));
  const below = (x: number): number =>
    parts.reduce(
      (sum, { weight, value, error }) => sum + weight * normalBelow((x - value) / Math.max(error, 1e-12)),
      0,
    );
  const quantile = (share: number): number => {
    let low = Math.min(...parts.map((part) => part.value - 6 * part.error));
    let high = Math.max(...parts.map((part) => part.value + 6 * part.error));
    for (let round = 0; round < 60; round++) {
      const middle = (low + high) / 2;
      if (below(middle) < share) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  };
  return { value: quantile(0.5), low: quantile(0.16), high: quantile(0.84) };
}

/** Mean of a parameter over the scan, and its error: within the places and between them. */
export function mixtureMean(
  scan: readonly ScanPoint[],
  index: number,
  sign: (point: ScanPoint) => number = () => 1,
): { readonly value: number; readonly error: number } {
  const mean = scan.reduce((sum, point) => sum + point.weight * sign(point) * point.parameters[index], 0);
  const variance = scan.reduce((sum, point) => {
    const n = point.parameters.length;
    const away = sign(point) * point.parameters[index] - mean;
    return sum + point.weight * (point.covariance[index * n + index] + away * away);
  }, 0);
  return { value: mean, error: Math.sqrt(Math.max(0, variance)) };
}

/**
 * Length of the vector at (index, index + 1) and its error along itself. Noise across makes a vector longer: its variance is
 * taken off, so that nothing is not told as something. `across`: that variance.
 */
export function lengthAt(
  point: ScanPoint,
  index: number,
): { readonly value: number; readonly error: number; readonly across: number } {
  const { parameters: p, covariance } = point;
  const n = p.length;
  const length = Math.hypot(p[index], p[index + 1]);
  const xx = covariance[index * n + index];
  const xy = covariance[index * n + index + 1];
  const yy = covariance[(index + 1) * n + index + 1];
  if (length === 0) return { value: 0, error: Math.sqrt(Math.max(0, (xx + yy) / 2)), across: (xx + yy) / 2 };
  const ux = p[index] / length;
  const uy = p[index + 1] / length;
  const across = uy * uy * xx - 2 * ux * uy * xy + ux * ux * yy;
  return {
    value: Math.sqrt(Math.max(0, length * length - across)),
    error: Math.sqrt(Math.max(0, ux * ux * xx + 2 * ux * uy * xy + uy * uy * yy)),
    across,
  };
}

/**
 * Error of the angle of that vector, radians: noise across it, and how it turns from place to place of the scan. What the scan leaves
 * of its length is no part of it.
 */
export function angleErrorOver(scan: readonly ScanPoint[], index: number): number {
  const mean = Math.atan2(mixtureMean(scan, index + 1).value, mixtureMean(scan, index).value);
  const variance = scan.reduce((sum, point) => {
    const [x, y] = [point.parameters[index], point.parameters[index + 1]];
    const turned = angleFrom(Math.atan2(y, x), mean);
    return sum + point.weight * (lengthAt(point, index).across / Math.max(x * x + y * y, 1e-24) + turned * turned);
  }, 0);
  return Math.min(Math.PI / 2, Math.sqrt(Math.max(0, variance)));
}
