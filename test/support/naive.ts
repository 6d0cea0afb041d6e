/** Obvious, slow twins of fast code, for the tests that hold the fast code against them. */

/** Central differences of f at p, one derivative a parameter. */
export function numericGradient(f: (p: readonly number[]) => number, p: readonly number[], step = 1e-6): number[] {
  return p.map((value, i) => {
    const h = step * Math.max(1e-3, Math.abs(value));
    const at = (v: number): number => f(p.map((old, j) => (j === i ? v : old)));
    return (at(value + h) - at(value - h)) / (2 * h);
  });
}

export function medianBySorting(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const n = sorted.length;
  return n % 2 === 1 ? (sorted[(n - 1) / 2] ?? Number.NaN) : ((sorted[n / 2 - 1] ?? 0) + (sorted[n / 2] ?? 0)) / 2;
}

export function meanAndSpread(values: readonly number[]): { mean: number; spread: number } {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  return { mean, spread: Math.sqrt(values.reduce((a, b) => a + (b - mean) ** 2, 0) / (values.length - 1)) };
}
