import type { Complex } from './complex.ts';
import { SPIN_TERMS, type Spin } from './spinTerms.ts';
import type { Coefficients } from './wavefront.ts';

/** The real parameters of a star's wavefront that slopes are taken by. */
export const SLOPE_PARAMETERS = ['d', 'ax', 'ay', 'cx', 'cy', 'tx', 'ty', 'seeing'] as const;
export type SlopeParameter = (typeof SLOPE_PARAMETERS)[number];

/** Factors of all terms of one spin at all nodes: `factors[term * nodes + node]`. */
export interface FactorTable {
  readonly spin: Spin;
  readonly factors: Float64Array;
  readonly nodes: number;
}

/** `at(seeing, defocus)` gives the factors of the spin's terms at one node; node = seeing * defocusNodes + defocus. */
export function factorTable(spin: Spin, at: (seeing: number, defocus: number) => Float64Array): FactorTable {
  const terms = SPIN_TERMS[spin].length;
  const nodes = SEEING_NODES * DEFOCUS_NODES;
  const factors = new Float64Array(terms * nodes);
  for (let i = 0; i < SEEING_NODES; i++)
    for (let j = 0; j < DEFOCUS_NODES; j++) {
      const from = at(i, j);
      for (let t = 0; t < terms; t++) factors[t * nodes + i * DEFOCUS_NODES + j] = from[t];
    }
  return { spin, factors, nodes };
}

export const SEEING_NODES = 3;
export const DEFOCUS_NODES = 8;

/** Along defocus the nodes about a place: cubic. */
const NEAR = 4;

/** The nodes about a place, each with its interpolation weight and the derivatives by seeing and by d; `odd` for terms odd in d. */
export interface NodeWeights {
  readonly nodes: Uint8Array;
  readonly value: Float64Array;
  readonly bySeeing: Float64Array;
  readonly byDefocus: Float64Array;
  readonly odd: Float64Array;
  readonly oddBySeeing: Float64Array;
  readonly oddByDefocus: Float64Array;
}

export function newNodeWeights(): NodeWeights {
  const count = SEEING_NODES * NEAR;
  return {
    nodes: new Uint8Array(count),
    value: new Float64Array(count),
    bySeeing: new Float64Array(count),
    byDefocus: new Float64Array(count),
    odd: new Float64Array(count),
    oddBySeeing: new Float64Array(count),
    oddByDefocus: new Float64Array(count),
  };
}

/** Lagrange's weights of the nodes at x, and their slopes, written to the two lists. */
function lagrange(nodes: ArrayLike<number>, x: number, weights: Float64Array, slopes: Float64Array): void {
  for (let k = 0; k < nodes.length; k++) {
    let weight = 1;
    let slope = 0;
    for (let m = 0; m < nodes.length; m++) {
      if (m === k) continue;
      const apart = nodes[k] - nodes[m];
      slope = (slope * (x - nodes[m]) + weight) / apart;
      weight *= (x - nodes[m]) / apart;
    }
    weights[k] = weight;
    slopes[k] = slope;
  }
}

const seeingWeights = new Float64Array(SEEING_NODES);
const seeingSlopes = new Float64Array(SEEING_NODES);
const defocusNodes = new Int8Array(NEAR);
const defocusWeights = new Float64Array(NEAR);
const defocusSlopes = new Float64Array(NEAR);

/**
 * Quadratic in seeing; cubic in |d| through the four nodes about it on the even grid 0, step, 2 step ..., the far side of
 * focus mirrored: even terms alike, odd ones with the other sign.
 */
export function setNodeWeights(
  out: NodeWeights,
  seeings: readonly number[],
  seeingArcsec: number,
  d: number,
  step: number,
): void {
  const side = d < 0 ? -1 : 1;
  const place = Math.abs(d) / step;
  const first = Math.min(DEFOCUS_NODES - NEAR, Math.floor(place) - 1);
  for (let k = 0; k < NEAR; k++) defocusNodes[k] = first + k;
  lagrange(seeings, seeingArcsec, seeingWeights, seeingSlopes);
  lagrange(defocusNodes, place, defocusWeights, defocusSlopes);
  for (let i = 0, n = 0; i < SEEING_NODES; i++)
    for (let k = 0; k < NEAR; k++, n++) {
      const mirror = defocusNodes[k] < 0 ? -1 : 1;
      const value = seeingWeights[i] * defocusWeights[k];
      const slopeSeeing = seeingSlopes[i] * defocusWeights[k];
      const slopeDefocus = (seeingWeights[i] * defocusSlopes[k]) / step;
      out.nodes[n] = i * DEFOCUS_NODES + Math.abs(defocusNodes[k]);
      out.value[n] = value;
      out.bySeeing[n] = slopeSeeing;
      // d|d|/dd is the side; an odd factor carries the side once more.
      out.byDefocus[n] = side * slopeDefocus;
      out.odd[n] = side * mirror * value;
      out.oddBySeeing[n] = side * mirror * slopeSeeing;
      out.oddByDefocus[n] = mirror * slopeDefocus;
    }
}

const LETTERS = 6;
const HIGHEST = 5;

/** Powers 0..HIGHEST of a, conj(a), c, conj(c), t, conj(t). */
export interface Powers {
  readonly x: Float64Array;
  readonly y: Float64Array;
}

export function newPowers(): Powers {
  return { x: new Float64Array(LETTERS * (HIGHEST + 1)), y: new Float64Array(LETTERS * (HIGHEST + 1)) };
}

export function setPowers(powers: Powers, { a, c, t }: Pick<Coefficients, 'a' | 'c' | 't'>): void {
  raise(powers, 0, a.x, a.y);
  raise(powers, 1, a.x, -a.y);
  raise(powers, 2, c.x, c.y);
  raise(powers, 3, c.x, -c.y);
  raise(powers, 4, t.x, t.y);
  raise(powers, 5, t.x, -t.y);
}

function raise({ x, y }: Powers, letter: number, baseX: number, baseY: number): void {
  const at = letter * (HIGHEST + 1);
  x[at] = 1;
  y[at] = 0;
  for (let k = at + 1; k <= at + HIGHEST; k++) {
    x[k] = x[k - 1] * baseX - y[k - 1] * baseY;
    y[k] = x[k - 1] * baseY + y[k - 1] * baseX;
  }
}

let productX = 1;
let productY = 0;

/** Sets the product of a term's letters. */
function setProduct({ x, y }: Powers, exponents: readonly number[]): void {
  productX = 1;
  productY = 0;
  for (let letter = 0; letter < LETTERS; letter++) {
    const k = exponents[letter];
    if (k === 0) continue;
    const at = letter * (HIGHEST + 1) + k;
    const re = productX * x[at] - productY * y[at];
    productY = productX * y[at] + productY * x[at];
    productX = re;
  }
}

/** Sum of factor times product over the terms of a spin. */
export function valueOf({ factors, nodes, spin }: FactorTable, weights: NodeWeights, powers: Powers): Complex {
  const terms = SPIN_TERMS[spin];
  const { nodes: near } = weights;
  let x = 0;
  let y = 0;
  for (let i = 0; i < terms.length; i++) {
    const { odd, powers: exponents } = terms[i];
    const value = odd ? weights.odd : weights.value;
    let factor = 0;
    for (let n = 0; n < near.length; n++) factor += value[n] * factors[i * nodes + near[n]];
    setProduct(powers, exponents);
    x += factor * productX;
    y += factor * productY;
  }
  return { x, y: spin === 0 ? 0 : y };
}

const byLetterX = new Float64Array(LETTERS);
const byLetterY = new Float64Array(LETTERS);

/** Sum of factor times product over the terms of a spin, and its derivatives; a letter and its conjugate vary apart. */
export function evaluate(
  table: FactorTable,
  weights: NodeWeights,
  powers: Powers,
): Record<SlopeParameter | 'shape', Complex> {
  const { factors, nodes, spin } = table;
  const { nodes: near } = weights;
  const terms = SPIN_TERMS[spin];
  let x = 0;
  let y = 0;
  let seeingX = 0;
  let seeingY = 0;
  let defocusX = 0;
  let defocusY = 0;
  byLetterX.fill(0);
  byLetterY.fill(0);
  for (let i = 0; i < terms.length; i++) {
    const { odd, powers: exponents } = terms[i];
    const value = odd ? weights.odd : weights.value;
    const bySeeing = odd ? weights.oddBySeeing : weights.bySeeing;
    const byDefocus = odd ? weights.oddByDefocus : weights.byDefocus;
    let factor = 0;
    let factorBySeeing = 0;
    let factorByDefocus = 0;
    for (let n = 0; n < near.length; n++) {
      const at = factors[i * nodes + near[n]];
      factor += value[n] * at;
      factorBySeeing += bySeeing[n] * at;
      factorByDefocus += byDefocus[n] * at;
    }
    setProduct(powers, exponents);
    for (let letter = 0; letter < LETTERS; letter++) {
      const k = exponents[letter];
      if (k === 0) continue;
      const at = letter * (HIGHEST + 1) + k;
      // The derivative by this letter: its power lowered by one, times the other letters.
      let dx = k * powers.x[at - 1];
      let dy = k * powers.y[at - 1];
      for (let other = 0; other < LETTERS; other++) {
        const m = exponents[other];
        if (other === letter || m === 0) continue;
        const to = other * (HIGHEST + 1) + m;
        const next = dx * powers.x[to] - dy * powers.y[to];
        dy = dx * powers.y[to] + dy * powers.x[to];
        dx = next;
      }
      byLetterX[letter] += factor * dx;
      byLetterY[letter] += factor * dy;
    }
    x += factor * productX;
    y += factor * productY;
    seeingX += factorBySeeing * productX;
    seeingY += factorBySeeing * productY;
    defocusX += factorByDefocus * productX;
    defocusY += factorByDefocus * productY;
  }
  // A size depends on the real part of each product.
  const real = spin === 0 ? 0 : 1;
  const along = (letter: number): Complex => ({
    x: byLetterX[letter] + byLetterX[letter + 1],
    y: real * (byLetterY[letter] + byLetterY[letter + 1]),
  });
  // d/dy of a letter is i times (its derivative less its conjugate's).
  const across = (letter: number): Complex => ({
    x: byLetterY[letter + 1] - byLetterY[letter],
    y: real * (byLetterX[letter] - byLetterX[letter + 1]),
  });
  return {
    shape: { x, y: real * y },
    seeing: { x: seeingX, y: real * seeingY },
    d: { x: defocusX, y: real * defocusY },
    ax: along(0),
    ay: across(0),
    cx: along(2),
    cy: across(2),
    tx: along(4),
    ty: across(4),
  };
}
