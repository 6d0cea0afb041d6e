/** exp of two numbers <= 0 at once: Cody & Waite's reduction to |r| <= ln(2)/2, Taylor to r^12 (error below 2e-16), scale. */
// @ts-ignore: decorators stand on functions here
@inline
export function exp2(t: v128): v128 {
  const x = f64x2.max(t, f64x2.splat(-700));
  const n = f64x2.nearest(f64x2.mul(x, f64x2.splat(1.4426950408889634)));
  let r = f64x2.sub(x, f64x2.mul(n, f64x2.splat(6.9314718036912381649e-1)));
  r = f64x2.sub(r, f64x2.mul(n, f64x2.splat(1.90821492927058770002e-10)));
  let p = f64x2.splat(1.0 / 479001600.0);
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 39916800.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 3628800.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 362880.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 40320.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 5040.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 720.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 120.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 24.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0 / 6.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(0.5));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0));
  p = f64x2.add(f64x2.mul(p, r), f64x2.splat(1.0));
  // 1.5 x 2^52 + n + 1023 holds the biased exponent in its lowest bits.
  const biased = f64x2.add(n, f64x2.splat(6755399441055744.0 + 1023.0));
  return f64x2.mul(p, i64x2.shl(biased, 52));
}

/** Sum of both halves. */
// @ts-ignore: decorators stand on functions here
@inline
export function both(v: v128): f64 {
  return f64x2.extract_lane(v, 0) + f64x2.extract_lane(v, 1);
}
