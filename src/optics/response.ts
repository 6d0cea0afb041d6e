import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { type Random, seededRandom } from '../numeric/random.ts';
import { type Complex, length, polar, subtract } from './complex.ts';
import { packedTable } from './packedTable.ts';
import {
  DEFOCUS_NODES,
  evaluate,
  type FactorTable,
  factorTable,
  newNodeWeights,
  newPowers,
  SEEING_NODES,
  SLOPE_PARAMETERS,
  type SlopeParameter,
  setNodeWeights,
  setPowers,
  valueOf,
} from './spinSums.ts';
import { FIFTH_OF_ASTIGMATISM, SPIN_TERMS, type Spin, type SpinTerm } from './spinTerms.ts';
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

/**
 * Draws a star and measures it: given from outside, since drawing and measuring share nothing. Null: not measurable.
 */
export type DrawShape = (seeingArcsec: number, w: Coefficients) => StarShape | null;

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

export interface ShapeWithSlopes {
  readonly shape: StarShape;
  readonly slopes: Readonly<Record<SlopeParameter, StarShape>>;
}

/** Shape at given seeing and wavefront, by interpolation; `s` of the wavefront is not in the table. */
export interface ResponseTable {
  readonly range: ResponseRange;
  /** Largest |d|, um: the range's defocus as a coefficient. */
  readonly defocusLimit: number;
  at(seeingArcsec: number, w: Coefficients): StarShape;
  /** The same with its derivatives by each coefficient (per um) and by seeing (per arcsecond). */
  slopesAt(seeingArcsec: number, w: Coefficients): ShapeWithSlopes;
  /** Against stars drawn at places the table was not made from: root mean square and worst (sigma2 as a share). */
  readonly rms: ShapeErrors;
  readonly worst: ShapeErrors;
  /** As the kernels take it (packedTable.ts). */
  readonly packed: Float64Array;
  /** Stars drawn. */
  readonly drawn: number;
}

/** Stars drawn at each node: three times the unknowns of the richest spin, counting both components. */
const DRAWS = 36;
/** With fewer measurable stars the factors of a node are carried on from its neighbours in seeing. */
const ENOUGH_DRAWS = 24;
const CHECKS = 48;
const SEED = 20250314;

/** Less astigmatism than this, um, is told without its fifth order. */
const GROSS_ASTIGMATISM_UM = 0.3;

type Named = keyof ShapeErrors;
const SPIN_OF: Readonly<Record<Named, Spin>> = { sigma2: 0, e: 2, coma3: 1, trefoil3: 3 };
const NAMES = Object.keys(SPIN_OF) as Named[];

interface Draw {
  readonly w: Pick<Coefficients, 'a' | 'c' | 't'>;
  readonly shape: StarShape;
}

type NodeFactors = Readonly<Record<Named, Float64Array>>;

/**
 * Little seeing far from focus makes rings that nobody measures: such nodes follow the line through the two next ones of more
 * (or less) seeing, so that between nodes stars can be told as far as they can be measured.
 */
function carriedOn(solved: readonly (readonly (NodeFactors | null)[])[], s: number, k: number): NodeFactors {
  const at = (i: number): NodeFactors | null => solved[i]?.[k] ?? null;
  const own = at(s);
  if (own !== null) return own;
  for (const step of [1, -1]) {
    const near = at(s + step);
    if (near === null) continue;
    const far = at(s + 2 * step) ?? near;
    const line = (name: Named): Float64Array => near[name].map((value, i) => 2 * value - far[name][i]);
    return { sigma2: line('sigma2'), e: line('e'), coma3: line('coma3'), trefoil3: line('trefoil3') };
  }
  const end = at(s + 2) ?? at(s - 2);
  if (end === null) throw new RangeError('hardly a drawn star was measurable so far from focus');
  return end;
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

/**
 * Tabulates how shapes answer to the wavefront: at nodes of seeing and defocus stars of random aberrations are drawn,
 * measured, and the factors of the allowed products (spinTerms.ts) solved; between nodes the factors are interpolated.
 * What that is worth is found by drawing other stars and stated with the table.
 */
export function responseTable(telescope: Telescope, draw: DrawShape, range: ResponseRange): ResponseTable {
  const random = seededRandom(SEED, 'response');
  const { from, to } = range.seeingArcsec;
  const seeings = Array.from({ length: SEEING_NODES }, (_, i) => from + ((to - from) * i) / (SEEING_NODES - 1));
  const largest = toDefocus(telescope, range.defocusUm);
  const step = largest / (DEFOCUS_NODES - 1);
  const gross = range.limits.a > GROSS_ASTIGMATISM_UM;
  let drawn = 0;
  const shapeAt = (seeingArcsec: number, w: Coefficients): StarShape | null => {
    drawn++;
    return draw(seeingArcsec, w);
  };
  const aberrations = (): Pick<Coefficients, 'a' | 'c' | 't'> => ({
    a: inDisc(range.limits.a, random),
    c: inDisc(range.limits.c, random),
    t: inDisc(range.limits.t, random),
  });

  // The same wavefronts at every seeing: who draws may keep what seeing does not change.
  const draws: Draw[][][] = seeings.map(() => Array.from({ length: DEFOCUS_NODES }, () => []));
  for (let k = 0; k < DEFOCUS_NODES; k++)
    for (let i = 0; i < DRAWS; i++) {
      const w = aberrations();
      for (const [s, seeing] of seeings.entries()) {
        const shape = shapeAt(seeing, { d: k * step, s: 0, ...w });
        if (shape !== null) draws[s][k].push({ w, shape });
      }
    }
  const solved: (NodeFactors | null)[][] = draws.map((byDefocus) =>
    byDefocus.map((list, k) => {
      if (list.length < ENOUGH_DRAWS) return null;
      const solve = (name: Named): Float64Array => {
        const terms = SPIN_TERMS[SPIN_OF[name]];
        // In focus the odd factors vanish and their products would only take noise.
        const used = terms.map((term) => (k > 0 || !term.odd) && (gross || term.letters !== FIFTH_OF_ASTIGMATISM));
        const found = solveTerms(
          list,
          name,
          terms.filter((_, i) => used[i]),
        );
        let next = 0;
        return Float64Array.from(used, (isUsed) => (isUsed ? found[next++] : 0));
      };
      return { sigma2: solve('sigma2'), e: solve('e'), coma3: solve('coma3'), trefoil3: solve('trefoil3') };
    }),
  );
  const factors = solved.map((byDefocus, s) => byDefocus.map((_, k) => carriedOn(solved, s, k)));

  const tables = Object.fromEntries(
    NAMES.map((name) => [name, factorTable(SPIN_OF[name], (i, j) => factors[i][j][name])]),
  ) as Record<Named, FactorTable>;
  const weights = newNodeWeights();
  const powers = newPowers();
  const goTo = (seeingArcsec: number, w: Coefficients): void => {
    setNodeWeights(weights, seeings, seeingArcsec, w.d, step);
    setPowers(powers, w);
  };
  const slopesAt = (seeingArcsec: number, w: Coefficients): ShapeWithSlopes => {
    goTo(seeingArcsec, w);
    const found = {
      sigma2: evaluate(tables.sigma2, weights, powers),
      e: evaluate(tables.e, weights, powers),
      coma3: evaluate(tables.coma3, weights, powers),
      trefoil3: evaluate(tables.trefoil3, weights, powers),
    };
    const pick = (parameter: SlopeParameter | 'shape'): StarShape => ({
      sigma2: found.sigma2[parameter].x,
      e: found.e[parameter],
      coma3: found.coma3[parameter],
      trefoil3: found.trefoil3[parameter],
    });
    return {
      shape: pick('shape'),
      slopes: Object.fromEntries(SLOPE_PARAMETERS.map((parameter) => [parameter, pick(parameter)])) as Record<
        SlopeParameter,
        StarShape
      >,
    };
  };
  const at = (seeingArcsec: number, w: Coefficients): StarShape => {
    goTo(seeingArcsec, w);
    return {
      sigma2: valueOf(tables.sigma2, weights, powers).x,
      e: valueOf(tables.e, weights, powers),
      coma3: valueOf(tables.coma3, weights, powers),
      trefoil3: valueOf(tables.trefoil3, weights, powers),
    };
  };

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
    defocusLimit: largest,
    at,
    slopesAt,
    rms: { sigma2: rms('sigma2'), e: rms('e'), coma3: rms('coma3'), trefoil3: rms('trefoil3') },
    worst,
    packed: packedTable({ 0: tables.sigma2, 1: tables.coma3, 2: tables.e, 3: tables.trefoil3 }, seeings, step),
    drawn,
  };
}
