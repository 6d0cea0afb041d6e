import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { type Random, seededRandom } from '../numeric/random.ts';
import { add, type Complex, length, polar, scale, subtract, ZERO } from './complex.ts';
import { type ImageConditions, type Psf, starImage } from './psf.ts';
import { SPIN_TERMS, type Spin, type SpinTerm } from './spinTerms.ts';
import type { Telescope } from './telescope.ts';
import { type Coefficients, toDefocus } from './wavefront.ts';

/** Shape of a star through the measuring weights, whoever measures it. */
export interface StarShape {
  /** Size: sigma squared, pixels^2. */
  readonly sigma2: number;
  /** Distortion, spin 2. */
  readonly e: Complex;
  /** Third-order shape, spin 1 and spin 3. */
  readonly coma3: Complex;
  readonly trefoil3: Complex;
}

/** How shapes are measured: given from outside, since drawing and measuring share nothing. Null: not measurable. */
export type Measure = (psf: Psf) => StarShape | null;

export interface ResponseRange {
  readonly seeingArcsec: { readonly from: number; readonly to: number };
  /** Focus errors from 0 to this; the other side of focus follows by symmetry. */
  readonly defocusUm: number;
  /** Largest coefficients, um. */
  readonly limits: { readonly a: number; readonly c: number; readonly t: number };
}

export interface ShapeErrors {
  readonly sigma2: number;
  readonly e: number;
  readonly coma3: number;
  readonly trefoil3: number;
}

/** Shape at given seeing and wavefront, by interpolation; `s` of the wavefront is not in the table. */
export interface ResponseTable {
  readonly range: ResponseRange;
  at(seeingArcsec: number, w: Coefficients): StarShape;
  /** Against stars drawn at places the table was not made from: root mean square and worst (sigma2 as a share). */
  readonly rms: ShapeErrors;
  readonly worst: ShapeErrors;
  /** Stars drawn. */
  readonly drawn: number;
}

const SEEING_NODES = 3;
const DEFOCUS_NODES = 8;
/** Stars drawn at each node: three times the unknowns of the richest spin, counting both components. */
const DRAWS = 36;
const CHECKS = 48;
const SEED = 20250314;

type Named = keyof ShapeErrors;
const SPIN_OF: Readonly<Record<Named, Spin>> = { sigma2: 0, e: 2, coma3: 1, trefoil3: 3 };
const NAMES = Object.keys(SPIN_OF) as Named[];

interface Draw {
  readonly w: Pick<Coefficients, 'a' | 'c' | 't'>;
  readonly shape: StarShape;
}

/** Uniform over the disc, so that small and large coefficients are both met. */
function inDisc(radius: number, random: Random): Complex {
  return polar(radius * Math.sqrt(random.uniform()), 2 * Math.PI * random.uniform());
}

function component(shape: StarShape, name: Named): Complex {
  return name === 'sigma2' ? { x: shape.sigma2, y: 0 } : shape[name];
}

/** Factors of one quantity's terms at one node: least squares over the drawn stars, both components together. */
function solveTerms(draws: readonly Draw[], name: Named, terms: readonly SpinTerm[]): Float64Array {
  const n = terms.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  for (const draw of draws) {
    const values = terms.map((term) => term.value(draw.w));
    const target = component(draw.shape, name);
    for (let i = 0; i < n; i++) {
      right[i] = right[i] + values[i].x * target.x + values[i].y * target.y;
      for (let j = 0; j <= i; j++) {
        const sum = values[i].x * values[j].x + values[i].y * values[j].y;
        normal[i * n + j] = normal[i * n + j] + sum;
        if (i !== j) normal[j * n + i] = normal[j * n + i] + sum;
      }
    }
  }
  const inverse = invertSymmetric(normal, n);
  if (inverse === null) throw new RangeError(`the response of ${name} is not determined by the drawn stars`);
  return multiply(inverse, right, n);
}

function lagrange(nodes: readonly number[], x: number): number[] {
  return nodes.map((node, k) =>
    nodes.reduce((product, other, m) => (m === k ? product : (product * (x - other)) / (node - other)), 1),
  );
}

/** Four nodes about |d| of an even grid from 0, the far side of focus mirrored: (node index, mirrored, weight). */
function defocusWeights(place: number, count: number): { index: number; mirrored: boolean; weight: number }[] {
  const first = Math.min(count - 4, Math.floor(place) - 1);
  const nodes = [0, 1, 2, 3].map((k) => first + k);
  return lagrange(nodes, place).map((weight, k) => ({ index: Math.abs(nodes[k]), mirrored: nodes[k] < 0, weight }));
}

/**
 * Tabulates how shapes answer to the wavefront: at nodes of seeing and defocus stars of random aberrations are drawn,
 * measured, and the factors of the allowed products (spinTerms.ts) solved; between nodes the factors are interpolated.
 * What that is worth is found by drawing other stars and stated with the table.
 */
export function responseTable(
  telescope: Telescope,
  conditions: Omit<ImageConditions, 'seeingArcsec' | 'field'>,
  measure: Measure,
  range: ResponseRange,
): ResponseTable {
  const random = seededRandom(SEED, 'response');
  const { from, to } = range.seeingArcsec;
  const seeings = Array.from({ length: SEEING_NODES }, (_, i) => from + ((to - from) * i) / (SEEING_NODES - 1));
  const largest = toDefocus(telescope, range.defocusUm);
  const step = largest / (DEFOCUS_NODES - 1);
  let drawn = 0;
  const shapeAt = (seeingArcsec: number, w: Coefficients): StarShape | null => {
    drawn++;
    return measure(starImage(telescope, w, { ...conditions, seeingArcsec, recentred: true }));
  };
  const aberrations = (): Pick<Coefficients, 'a' | 'c' | 't'> => ({
    a: inDisc(range.limits.a, random),
    c: inDisc(range.limits.c, random),
    t: inDisc(range.limits.t, random),
  });

  const factors: Record<Named, Float64Array>[][] = seeings.map((seeing) =>
    Array.from({ length: DEFOCUS_NODES }, (_, k) => {
      const draws: Draw[] = [];
      for (let i = 0; i < DRAWS; i++) {
        const w = aberrations();
        const shape = shapeAt(seeing, { d: k * step, s: 0, ...w });
        if (shape !== null) draws.push({ w, shape });
      }
      const solve = (name: Named): Float64Array => {
        const terms = SPIN_TERMS[SPIN_OF[name]];
        // In focus the odd factors vanish and their products would only take noise.
        const used = terms.map((term) => k > 0 || !term.odd);
        const found = solveTerms(
          draws,
          name,
          terms.filter((_, i) => used[i]),
        );
        let next = 0;
        return Float64Array.from(used, (isUsed) => (isUsed ? found[next++] : 0));
      };
      return { sigma2: solve('sigma2'), e: solve('e'), coma3: solve('coma3'), trefoil3: solve('trefoil3') };
    }),
  );

  const quantity = (name: Named, seeingArcsec: number, w: Coefficients): Complex => {
    const bySeeing = lagrange(seeings, seeingArcsec);
    const byDefocus = defocusWeights(Math.abs(w.d) / step, DEFOCUS_NODES);
    const side = w.d < 0 ? -1 : 1;
    let sum = ZERO;
    SPIN_TERMS[SPIN_OF[name]].forEach((term, i) => {
      let factor = 0;
      for (let s = 0; s < SEEING_NODES; s++) {
        for (const node of byDefocus) {
          const sign = term.odd && node.mirrored ? -1 : 1;
          factor += bySeeing[s] * node.weight * sign * factors[s][node.index][name][i];
        }
      }
      sum = add(sum, scale(term.value(w), term.odd ? side * factor : factor));
    });
    return sum;
  };
  const at = (seeingArcsec: number, w: Coefficients): StarShape => ({
    sigma2: quantity('sigma2', seeingArcsec, w).x,
    e: quantity('e', seeingArcsec, w),
    coma3: quantity('coma3', seeingArcsec, w),
    trefoil3: quantity('trefoil3', seeingArcsec, w),
  });

  const square: Record<Named, number> = { sigma2: 0, e: 0, coma3: 0, trefoil3: 0 };
  const worst: Record<Named, number> = { sigma2: 0, e: 0, coma3: 0, trefoil3: 0 };
  let checked = 0;
  for (let i = 0; i < CHECKS; i++) {
    const seeing = from + (to - from) * random.uniform();
    const w: Coefficients = { d: largest * (2 * random.uniform() - 1), s: 0, ...aberrations() };
    const truth = shapeAt(seeing, w);
    if (truth === null) continue;
    checked++;
    const found = at(seeing, w);
    for (const name of NAMES) {
      const away = length(subtract(component(found, name), component(truth, name)));
      const error = name === 'sigma2' ? away / truth.sigma2 : away;
      square[name] += error * error;
      worst[name] = Math.max(worst[name], error);
    }
  }
  const rms = (name: Named): number => Math.sqrt(square[name] / Math.max(1, checked));
  return {
    range,
    at,
    rms: { sigma2: rms('sigma2'), e: rms('e'), coma3: rms('coma3'), trefoil3: rms('trefoil3') },
    worst,
    drawn,
  };
}

/** The real parameters of a star's wavefront that slopes are taken by. */
export const SLOPE_PARAMETERS = ['d', 'ax', 'ay', 'cx', 'cy', 'tx', 'ty', 'seeing'] as const;
export type SlopeParameter = (typeof SLOPE_PARAMETERS)[number];

/** Small against the table's own range, large against rounding. */
const SLOPE_STEP = 1e-4;

/**
 * Derivatives of the shape by each coefficient (per um) and by seeing (per arcsecond). Between its nodes the table is a
 * polynomial, so central differences over a small step are its derivatives to rounding.
 */
export function responseSlopes(
  table: ResponseTable,
  seeingArcsec: number,
  w: Coefficients,
): Record<SlopeParameter, StarShape> {
  const moved = (parameter: SlopeParameter, by: number): StarShape => {
    switch (parameter) {
      case 'seeing':
        return table.at(seeingArcsec + by, w);
      case 'd':
        return table.at(seeingArcsec, { ...w, d: w.d + by });
      default: {
        const name = parameter.charAt(0) as 'a' | 'c' | 't';
        const axis = parameter.charAt(1) as 'x' | 'y';
        return table.at(seeingArcsec, { ...w, [name]: { ...w[name], [axis]: w[name][axis] + by } });
      }
    }
  };
  const slope = (parameter: SlopeParameter): StarShape => {
    const above = moved(parameter, SLOPE_STEP);
    const below = moved(parameter, -SLOPE_STEP);
    const over = 1 / (2 * SLOPE_STEP);
    return {
      sigma2: (above.sigma2 - below.sigma2) * over,
      e: scale(subtract(above.e, below.e), over),
      coma3: scale(subtract(above.coma3, below.coma3), over),
      trefoil3: scale(subtract(above.trefoil3, below.trefoil3), over),
    };
  };
  return {
    d: slope('d'),
    ax: slope('ax'),
    ay: slope('ay'),
    cx: slope('cx'),
    cy: slope('cy'),
    tx: slope('tx'),
    ty: slope('ty'),
    seeing: slope('seeing'),
  };
}
