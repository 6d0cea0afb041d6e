/**
 * Where each number of the whole-field fit stands in its parameter vector. Coefficients in um of wavefront
 * (optics/wavefront.ts), field positions in half-diagonals, stored axes.
 */
export interface Layout {
  readonly subs: number;
  /** Numbers of each sub. */
  readonly perSub: number;
  /** Of each sub: seeing (arcsec), focus at the centre (d, um), smear x, y (px^2, traceless part of a second moment). */
  readonly seeing: (sub: number) => number;
  readonly focus: (sub: number) => number;
  readonly smear: (sub: number) => number;
  /** Skewed smear x, y (coma3 of each sub); -1 where the fit has none. */
  readonly skew: (sub: number) => number;
  /** Of all subs together, index of the first of each group. */
  readonly tilt: number;
  readonly curvature: number;
  readonly astigmatism: number;
  readonly linearAstigmatism: number;
  readonly radialAstigmatism: number;
  readonly coma: number;
  readonly linearComa: number;
  readonly trefoil: number;
  /** coma3 arcsec^2 per um of `shadowRise` that an offset shadow makes, x, y. */
  readonly shadow: number;
  readonly length: number;
}

const PER_SUB = 4;

export function layoutOf(subs: number, skewed: boolean): Layout {
  const perSub = skewed ? PER_SUB + 2 : PER_SUB;
  const shared = subs * perSub;
  return {
    subs,
    perSub,
    seeing: (sub) => sub * perSub,
    focus: (sub) => sub * perSub + 1,
    smear: (sub) => sub * perSub + 2,
    skew: (sub) => (skewed ? sub * perSub + PER_SUB : -1),
    tilt: shared,
    curvature: shared + 2,
    astigmatism: shared + 3,
    linearAstigmatism: shared + 5,
    radialAstigmatism: shared + 7,
    coma: shared + 8,
    linearComa: shared + 10,
    trefoil: shared + 11,
    shadow: shared + 13,
    length: shared + 15,
  };
}
