/** What setSineCosine found. */
export let sines: v128 = f64x2.splat(0);
export let cosines: v128 = f64x2.splat(0);

/** pi/2 in two parts, the first with so many zeros at its end that its multiples are exact (Cody & Waite 1980). */
const QUARTER: f64 = 1.57079632673412561417;
const QUARTER_REST: f64 = 6.07710050650619224932e-11;

/**
 * Sine and cosine of two numbers at once, up to a million turns: reduction to |r| <= pi/4, Taylor to r^15 and r^16 (error below
 * 3e-16), put into their quadrant.
 */
// @ts-ignore: decorators stand on functions here
@inline
export function setSineCosine(x: v128): void {
  // Adding 1.5 x 2^52 rounds to a whole number, which then stands in the lowest bits.
  const biased = f64x2.add(f64x2.mul(x, f64x2.splat(2 / Math.PI)), f64x2.splat(6755399441055744.0));
  const n = f64x2.sub(biased, f64x2.splat(6755399441055744.0));
  let r = f64x2.sub(x, f64x2.mul(n, f64x2.splat(QUARTER)));
  r = f64x2.sub(r, f64x2.mul(n, f64x2.splat(QUARTER_REST)));
  const z = f64x2.mul(r, r);
  let p = f64x2.splat(-1.0 / 1307674368000.0);
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(1.0 / 6227020800.0));
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(-1.0 / 39916800.0));
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(1.0 / 362880.0));
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(-1.0 / 5040.0));
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(1.0 / 120.0));
  p = f64x2.add(f64x2.mul(p, z), f64x2.splat(-1.0 / 6.0));
  const sine = f64x2.add(r, f64x2.mul(f64x2.mul(r, z), p));
  let q = f64x2.splat(1.0 / 20922789888000.0);
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(-1.0 / 87178291200.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(1.0 / 479001600.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(-1.0 / 3628800.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(1.0 / 40320.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(-1.0 / 720.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(1.0 / 24.0));
  q = f64x2.add(f64x2.mul(q, z), f64x2.splat(-0.5));
  const cosine = f64x2.add(f64x2.mul(q, z), f64x2.splat(1));
  const odd = i64x2.neg(v128.and(biased, i64x2.splat(1)));
  const two = i64x2.splat(2);
  const sineSign = i64x2.shl(v128.and(biased, two), 62);
  const cosineSign = i64x2.shl(v128.and(i64x2.add(biased, i64x2.splat(1)), two), 62);
  sines = v128.xor(v128.bitselect(cosine, sine, odd), sineSign);
  cosines = v128.xor(v128.bitselect(sine, cosine, odd), cosineSign);
}
