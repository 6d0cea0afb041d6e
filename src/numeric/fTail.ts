/**
 * P(F > f) of the F distribution with an EVEN number of numerator degrees of freedom, where the incomplete beta function
 * is a finite sum (Abramowitz & Stegun 1964, 26.6.4). RangeError when it is odd.
 */
export function fTail(f: number, numerator: number, denominator: number): number {
  if (numerator < 2 || numerator % 2 !== 0) throw new RangeError(`numerator must be even, got ${numerator}`);
  if (!(f > 0)) return 1;
  const a = denominator / 2;
  const x = denominator / (denominator + numerator * f);
  let term = 1;
  let sum = 1;
  for (let j = 1; j < numerator / 2; j++) {
    term *= ((a + j - 1) / j) * (1 - x);
    sum += term;
  }
  return x ** a * sum;
}

/**
 * Half width of the central 68.27 % of Student's t in units of its scale: 1 for many degrees of freedom, 1.14 for four.
 * Cornish-Fisher expansion (Abramowitz & Stegun 1964, 26.7.5), good to 1 % from two degrees on.
 */
export function studentWidth(freedom: number): number {
  const n = Math.max(1, freedom);
  return 1 + 1 / (2 * n) + 1 / (4 * n * n);
}
