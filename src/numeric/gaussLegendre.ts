export interface QuadraturePoint {
  /** In [-1, 1]. */
  readonly place: number;
  /** Weights sum to 2. */
  readonly weight: number;
}

/** Newton's steps towards a root: their number doubles the right digits each time. */
const STEPS = 8;

/** Points of Gauss-Legendre quadrature on [-1, 1], ascending (Abramowitz & Stegun 1964, 25.4.29): exact to degree 2 count - 1. */
export function gaussLegendre(count: number): QuadraturePoint[] {
  return Array.from({ length: count }, (_, i) => {
    // Roots lie near those of a cosine (22.16.6).
    let x = -Math.cos((Math.PI * (i + 0.75)) / (count + 0.5));
    let slope = 1;
    for (let step = 0; step < STEPS; step++) {
      const [value, derivative] = legendre(count, x);
      slope = derivative;
      x -= value / slope;
    }
    return { place: x, weight: 2 / ((1 - x * x) * slope * slope) };
  });
}

/** Legendre's polynomial of degree n >= 1 and its derivative, by recurrence (Abramowitz & Stegun 22.7.10, 22.8.5). */
function legendre(n: number, x: number): [number, number] {
  let before = 1;
  let value = x;
  for (let k = 2; k <= n; k++) [before, value] = [value, ((2 * k - 1) * x * value - (k - 1) * before) / k];
  return [value, (n * (x * value - before)) / (x * x - 1)];
}
