/** Stars that hold the nine terms up; fewer carry the quadratic ones. */
const CURVED_STARS = 60;

/**
 * Terms of a surface through squared widths of stars, at (u, v) from the middle in the same unit both ways. Their blur goes with the
 * square of the way to focus, f + t u + s v + k r^2 over a tilted and curved focal surface: beside the quadratic terms that square has
 * r^2 u, r^2 v and r^4.
 */
export function widthTerms(u: number, v: number, stars: number): number[] {
  const quadratic = [1, u, v, u * u, u * v, v * v];
  if (stars < CURVED_STARS) return quadratic;
  const r2 = u * u + v * v;
  return [...quadratic, r2 * u, r2 * v, r2 * r2];
}
