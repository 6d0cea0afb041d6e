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

/** Interpolation weight of each node and its derivatives by seeing and by d; `odd` for terms odd in d. */
export interface NodeWeights {
  readonly value: Float64Array;
  readonly bySeeing: Float64Array;
  readonly byDefocus: Float64Array;
  readonly odd: Float64Array;
  readonly oddBySeeing: Float64Array;
  readonly oddByDefocus: Float64Array;
}

/** Lagrange's weights of the nodes at x, and their slopes. */
function lagrange(nodes: readonly number[], x: number): { readonly weights: number[]; readonly slopes: number[] } {
  const weights = nodes.map((node, k) =>
    nodes.reduce((product, other, m) => (m === k ? product : (product * (x - other)) / (node - other)), 1),
  );
  const slopes = nodes.map((node, k) =>
    nodes.reduce((sum, _, left) => {
      if (left === k) return sum;
      const rest = nodes.reduce(
        (product, other, m) => (m === k || m === left ? product : (product * (x - other)) / (node - other)),
        1,
      );
      return sum + rest / (node - nodes[left]);
    }, 0),
  );
  return { weights, slopes };
}

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
  for (const list of Object.values(out) as Float64Array[]) list.fill(0);
  const side = d < 0 ? -1 : 1;
  const place = Math.abs(d) / step;
  const first = Math.min(DEFOCUS_NODES - 4, Math.floor(place) - 1);
  const nodes = [first, first + 1, first + 2, first + 3];
  const bySeeing = lagrange(seeings, seeingArcsec);
  const byDefocus = lagrange(nodes, place);
  for (let i = 0; i < SEEING_NODES; i++)
    for (let k = 0; k < 4; k++) {
      const node = i * DEFOCUS_NODES + Math.abs(nodes[k]);
      const mirror = nodes[k] < 0 ? -1 : 1;
      const value = bySeeing.weights[i] * byDefocus.weights[k];
      const slopeSeeing = bySeeing.slopes[i] * byDefocus.weights[k];
      const slopeDefocus = (bySeeing.weights[i] * byDefocus.slopes[k]) / step;
      out.value[node] += value;
      out.bySeeing[node] += slopeSeeing;
      // d|d|/dd is the side; an odd factor carries the side once more.
      out.byDefocus[node] += side * slopeDefocus;
      out.odd[node] += side * mirror * value;
      out.oddBySeeing[node] += side * mirror * slopeSeeing;
      out.oddByDefocus[node] += mirror * slopeDefocus;
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

export function setPowers({ x, y }: Powers, { a, c, t }: Pick<Coefficients, 'a' | 'c' | 't'>): void {
  [a, { x: a.x, y: -a.y }, c, { x: c.x, y: -c.y }, t, { x: t.x, y: -t.y }].forEach((base, letter) => {
    const at = letter * (HIGHEST + 1);
    x[at] = 1;
    y[at] = 0;
    for (let k = 1; k <= HIGHEST; k++) {
      x[at + k] = x[at + k - 1] * base.x - y[at + k - 1] * base.y;
      y[at + k] = x[at + k - 1] * base.y + y[at + k - 1] * base.x;
    }
  });
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
    for (let n = 0, at = i * nodes; n < nodes; n++, at++) {
      factor += value[n] * factors[at];
      factorBySeeing += bySeeing[n] * factors[at];
      factorByDefocus += byDefocus[n] * factors[at];
    }
    let px = 1;
    let py = 0;
    for (let letter = 0; letter < LETTERS; letter++) {
      const k = exponents[letter];
      if (k === 0) continue;
      const at = letter * (HIGHEST + 1) + k;
      const re = px * powers.x[at] - py * powers.y[at];
      py = px * powers.y[at] + py * powers.x[at];
      px = re;
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
    x += factor * px;
    y += factor * py;
    seeingX += factorBySeeing * px;
    seeingY += factorBySeeing * py;
    defocusX += factorByDefocus * px;
    defocusY += factorByDefocus * py;
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
