/** A share with its binomial error (Wilson 1927 interval of one sigma, its half width). */
export interface Share {
  readonly hits: number;
  readonly of: number;
}

export const share = (hits: number, of: number): Share => ({ hits, of });

export function shareOf<T>(values: readonly T[], holds: (value: T) => boolean): Share {
  return { hits: values.filter(holds).length, of: values.length };
}

export const percent = ({ hits, of }: Share): number => (of === 0 ? Number.NaN : (100 * hits) / of);

export function percentError({ hits, of }: Share): number {
  if (of === 0) return Number.NaN;
  const p = hits / of;
  return (100 * Math.sqrt((p * (1 - p)) / of + 1 / (4 * of * of))) / (1 + 1 / of);
}

export const percentText = (s: Share): string =>
  s.of === 0 ? 'none' : `${percent(s).toFixed(1)} ± ${percentError(s).toFixed(1)} %`;

/** Value below which that share of the sorted values lies. */
export function quantile(values: readonly number[], q: number): number {
  if (values.length === 0) return Number.NaN;
  const sorted = [...values].sort((a, b) => a - b);
  const place = q * (sorted.length - 1);
  const low = Math.floor(place);
  const high = Math.min(sorted.length - 1, low + 1);
  return sorted[low] + (place - low) * (sorted[high] - sorted[low]);
}
