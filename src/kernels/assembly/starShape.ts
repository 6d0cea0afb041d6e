import { MODEL_LISTS } from './curveFit';
import { get, set } from './linear';

/**
 * `at` and `slopesAt` of a table of src/optics/response.ts: factors interpolated between nodes, times products of the wavefront's
 * coefficients, summed for each spin. The terms stand in eight groups: those even in d of spin 0 to 3, then the odd ones.
 */

const LETTERS: i32 = 6;
const HIGHEST: i32 = 5;
const SEEING_NODES: i32 = 3;
const DEFOCUS_NODES: i32 = 8;
const NEAR: i32 = 4;
const COUNT: i32 = SEEING_NODES * NEAR;
const GROUPS: i32 = 8;
const SPINS: i32 = 4;
/** Numbers of a term: how many letters, then letter and power of each. */
const TERM: i32 = 9;

/** Numbers of a shape: sigma2, e, coma3, trefoil3. */
export const SHAPE: i32 = 7;
/** Slopes by d, a, c, t (x and y each) and seeing, in this order. */
export const SLOPES: i32 = 8;

/** Lists, none of which outlives a call. */
const seeingWeights: usize = MODEL_LISTS;
const seeingSlopes: usize = MODEL_LISTS + 0x40;
const defocusPlaces: usize = MODEL_LISTS + 0x80;
const defocusWeights: usize = MODEL_LISTS + 0xc0;
const defocusSlopes: usize = MODEL_LISTS + 0x100;
const byLetterX: usize = MODEL_LISTS + 0x140;
const byLetterY: usize = MODEL_LISTS + 0x180;
const ends: usize = MODEL_LISTS + 0x1c0;
const nodes: usize = MODEL_LISTS + 0x200;
/** Of even terms and of odd ones. */
const weights: usize = MODEL_LISTS + 0x300;
const bySeeing: usize = MODEL_LISTS + 0x400;
const byDefocus: usize = MODEL_LISTS + 0x500;
const powersX: usize = MODEL_LISTS + 0x600;
const powersY: usize = MODEL_LISTS + 0x800;
/** Of up to 128 terms, each. */
const factors: usize = MODEL_LISTS + 0x1000;
const factorsBySeeing: usize = MODEL_LISTS + 0x1400;
const factorsByDefocus: usize = MODEL_LISTS + 0x1800;
const letters: usize = MODEL_LISTS + 0x2000;
/** Behind all these. */
export const SHAPE_LISTS_END: usize = MODEL_LISTS + 0x4000;

let table: usize = 0;
let seeings: usize = 0;
let step: f64 = 1;
/** Terms, and where the odd ones begin: even numbers. */
let terms: i32 = 0;
let odd: i32 = 0;

/**
 * From `head`: where the groups begin and the last one ends, nodes of seeing, step of d, then TERM numbers of every term, then its
 * factors at every node. Returns where that ends.
 */
export function useTable(head: usize): usize {
  for (let g = 0; g <= GROUPS; g++) store<i32>(ends + ((<usize>g) << 2), <i32>get(head, g));
  terms = <i32>get(head, GROUPS);
  odd = <i32>get(head, SPINS);
  seeings = head + (GROUPS + 1) * 8;
  step = get(seeings, SEEING_NODES);
  const told = seeings + (SEEING_NODES + 1) * 8;
  for (let i = 0; i < terms * TERM; i++) store<i32>(letters + ((<usize>i) << 2), <i32>get(told, i));
  table = told + ((<usize>(terms * TERM)) << 3);
  return table + ((<usize>(terms * SEEING_NODES * DEFOCUS_NODES)) << 3);
}

function lagrange(places: usize, count: i32, x: f64, to: usize, slopes: usize): void {
  for (let k = 0; k < count; k++) {
    let weight: f64 = 1;
    let slope: f64 = 0;
    for (let m = 0; m < count; m++) {
      if (m == k) continue;
      const apart = get(places, k) - get(places, m);
      slope = (slope * (x - get(places, m)) + weight) / apart;
      weight *= (x - get(places, m)) / apart;
    }
    set(to, k, weight);
    set(slopes, k, slope);
  }
}

function setNodeWeights(seeing: f64, d: f64): void {
  const side: f64 = d < 0 ? -1 : 1;
  const place = Math.abs(d) / step;
  const first = min(DEFOCUS_NODES - NEAR, <i32>Math.floor(place) - 1);
  for (let k = 0; k < NEAR; k++) set(defocusPlaces, k, <f64>(first + k));
  lagrange(seeings, SEEING_NODES, seeing, seeingWeights, seeingSlopes);
  lagrange(defocusPlaces, NEAR, place, defocusWeights, defocusSlopes);
  for (let i = 0, m = 0; i < SEEING_NODES; i++)
    for (let k = 0; k < NEAR; k++, m++) {
      const mirror: f64 = first + k < 0 ? -1 : 1;
      const value = get(seeingWeights, i) * get(defocusWeights, k);
      const slopeSeeing = get(seeingSlopes, i) * get(defocusWeights, k);
      const slopeDefocus = (get(seeingWeights, i) * get(defocusSlopes, k)) / step;
      set(nodes, m, <f64>(i * DEFOCUS_NODES + abs(first + k)));
      set(weights, m, value);
      set(bySeeing, m, slopeSeeing);
      set(byDefocus, m, side * slopeDefocus);
      set(weights, COUNT + m, side * mirror * value);
      set(bySeeing, COUNT + m, side * mirror * slopeSeeing);
      set(byDefocus, COUNT + m, mirror * slopeDefocus);
    }
}

function raise(letter: i32, x: f64, y: f64): void {
  const at = letter * (HIGHEST + 1);
  set(powersX, at, 1);
  set(powersY, at, 0);
  for (let k = at + 1; k <= at + HIGHEST; k++) {
    const px = get(powersX, k - 1);
    const py = get(powersY, k - 1);
    set(powersX, k, px * x - py * y);
    set(powersY, k, px * y + py * x);
  }
}

/** w: d, a, c, t, x and y each. */
function setPowers(w: usize): void {
  for (let k = 0; k < 3; k++) {
    const x = get(w, 1 + 2 * k);
    const y = get(w, 2 + 2 * k);
    raise(2 * k, x, y);
    raise(2 * k + 1, x, -y);
  }
}

/** Sums over the nodes for terms `from` to `to`, both even. */
function interpolate(by: usize, from: i32, to: i32, out: usize): void {
  const row = (<usize>terms) << 3;
  const end = (<usize>to) << 3;
  for (let o = (<usize>from) << 3; o < end; o += 16) {
    let sum = f64x2.splat(0);
    for (let m = 0; m < COUNT; m++) {
      const at = table + (<usize>get(nodes, m)) * row + o;
      sum = f64x2.add(sum, f64x2.mul(f64x2.splat(get(by, m)), v128.load(at)));
    }
    v128.store(out + o, sum);
  }
}

function interpolateAll(by: usize, out: usize): void {
  interpolate(by, 0, odd, out);
  interpolate(by + COUNT * 8, odd, terms, out);
}

// @ts-ignore: decorators stand on functions here
@inline
function powerAt(term: usize, k: i32): i32 {
  const at = term + ((<usize>(1 + 2 * k)) << 2);
  return load<i32>(at) * (HIGHEST + 1) + load<i32>(at, 4);
}

let productX: f64 = 0;
let productY: f64 = 0;

function setProduct(term: usize): void {
  let x: f64 = 1;
  let y: f64 = 0;
  const count = load<i32>(term);
  for (let k = 0; k < count; k++) {
    const at = powerAt(term, k);
    const px = get(powersX, at);
    const py = get(powersY, at);
    const re = x * px - y * py;
    y = x * py + y * px;
    x = re;
  }
  productX = x;
  productY = y;
}

// @ts-ignore: decorators stand on functions here
@inline
function termAt(i: i32): usize {
  return letters + ((<usize>(i * TERM)) << 2);
}

/** A spin's two numbers of a shape; a size depends on the real part of each product. */
function put(out: usize, spin: i32, x: f64, y: f64): void {
  // Spin 0 is the size, 1 coma3, 2 the distortion, 3 trefoil3.
  if (spin == 0) set(out, 0, x);
  else {
    const at = spin == 1 ? 3 : spin == 2 ? 1 : 5;
    set(out, at, x);
    set(out, at + 1, y);
  }
}

/** SHAPE numbers into `out`. */
export function shapeAt(seeing: f64, w: usize, out: usize): void {
  setNodeWeights(seeing, get(w, 0));
  setPowers(w);
  interpolateAll(weights, factors);
  for (let spin = 0; spin < SPINS; spin++) {
    let x: f64 = 0;
    let y: f64 = 0;
    for (let group = spin; group < GROUPS; group += SPINS) {
      const end = load<i32>(ends + ((<usize>(group + 1)) << 2));
      for (let i = load<i32>(ends + ((<usize>group) << 2)); i < end; i++) {
        const factor = get(factors, i);
        setProduct(termAt(i));
        x += factor * productX;
        y += factor * productY;
      }
    }
    put(out, spin, x, y);
  }
}

function addByLetters(term: usize, factor: f64): void {
  const count = load<i32>(term);
  for (let k = 0; k < count; k++) {
    const letter = load<i32>(term + ((<usize>(1 + 2 * k)) << 2));
    const power = <f64>load<i32>(term + ((<usize>(2 + 2 * k)) << 2));
    const at = powerAt(term, k) - 1;
    let dx = power * get(powersX, at);
    let dy = power * get(powersY, at);
    for (let other = 0; other < count; other++) {
      if (other == k) continue;
      const to = powerAt(term, other);
      const px = get(powersX, to);
      const py = get(powersY, to);
      const next = dx * px - dy * py;
      dy = dx * py + dy * px;
      dx = next;
    }
    set(byLetterX, letter, get(byLetterX, letter) + factor * dx);
    set(byLetterY, letter, get(byLetterY, letter) + factor * dy);
  }
}

/** SHAPE numbers into `out`, SLOPES times as many into `slopes`. */
export function slopesAt(seeing: f64, w: usize, out: usize, slopes: usize): void {
  setNodeWeights(seeing, get(w, 0));
  setPowers(w);
  interpolateAll(weights, factors);
  interpolateAll(bySeeing, factorsBySeeing);
  interpolateAll(byDefocus, factorsByDefocus);
  const line: usize = SHAPE * 8;
  for (let spin = 0; spin < SPINS; spin++) {
    memory.fill(byLetterX, 0, LETTERS * 8);
    memory.fill(byLetterY, 0, LETTERS * 8);
    let x: f64 = 0;
    let y: f64 = 0;
    let seeingX: f64 = 0;
    let seeingY: f64 = 0;
    let defocusX: f64 = 0;
    let defocusY: f64 = 0;
    for (let group = spin; group < GROUPS; group += SPINS) {
      const end = load<i32>(ends + ((<usize>(group + 1)) << 2));
      for (let i = load<i32>(ends + ((<usize>group) << 2)); i < end; i++) {
        const term = termAt(i);
        const factor = get(factors, i);
        setProduct(term);
        addByLetters(term, factor);
        x += factor * productX;
        y += factor * productY;
        seeingX += get(factorsBySeeing, i) * productX;
        seeingY += get(factorsBySeeing, i) * productY;
        defocusX += get(factorsByDefocus, i) * productX;
        defocusY += get(factorsByDefocus, i) * productY;
      }
    }
    put(out, spin, x, y);
    put(slopes, spin, defocusX, defocusY);
    for (let k = 0; k < LETTERS; k += 2) {
      const to = slopes + (<usize>(1 + k)) * line;
      put(to, spin, get(byLetterX, k) + get(byLetterX, k + 1), get(byLetterY, k) + get(byLetterY, k + 1));
      // d/dy of a letter is i times (its derivative less its conjugate's).
      put(to + line, spin, get(byLetterY, k + 1) - get(byLetterY, k), get(byLetterX, k) - get(byLetterX, k + 1));
    }
    put(slopes + (SLOPES - 1) * line, spin, seeingX, seeingY);
  }
}
