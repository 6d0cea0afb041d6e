import type { Complex } from './complex.ts';
import { scale, subtract } from './complex.ts';
import {
  blurRadiusUm,
  boxPxFor,
  type Grid,
  gridFor,
  type ImageConditions,
  type Psf,
  QUICK_GRID,
  starImage,
} from './psf.ts';
import type { OpticalState } from './state.ts';
import { effectiveFocalRatio, type Telescope, umPerArcsec } from './telescope.ts';
import { type Coefficients, centroidUm, wavefrontAt } from './wavefront.ts';

/**
 * Star images over a field: drawn at the nodes of a grid, blended between them by cubic Lagrange interpolation in each
 * direction. Nodes are drawn when first asked for; `forgetBelow` frees the rows that are done with.
 */
export interface ImageField {
  readonly nodesX: number;
  readonly nodesY: number;
  /** Image at field position z, mm, its origin at `placePx(z)`. With `reachPx` only so many pixels about it are blended. */
  at(z: Complex, reachPx?: number): Psf;
  /** Where the image's origin stands, pixels from the star's ideal place: coma displaces the light. */
  placePx(z: Complex): Complex;
  /** The image drawn for z itself, nothing blended, its box `widen` (a power of two) times as wide: for few stars. */
  exact(z: Complex, widen?: number): Psf;
  /** The drawn image of the node nearest to z. */
  nearest(z: Complex): Psf;
  forgetBelow(yMm: number): void;
}

/** Half extents of the field, mm. */
export interface FieldExtent {
  readonly halfWidthMm: number;
  readonly halfHeightMm: number;
}

/** Between neighbouring nodes no ray moves by more than this share of the image's own softness (measured: test/optics). */
const RAY_STEP = 0.25;
/** Box of a drawn star, in FWHM of seeing: its wings reach past what a bright star's noise hides. */
const BOX_FWHM = 14;
const MIN_NODES = 7;
const MAX_NODES = 81;

function difference(a: Coefficients, b: Coefficients): Coefficients {
  return { d: a.d - b.d, a: subtract(a.a, b.a), c: subtract(a.c, b.c), t: subtract(a.t, b.t), s: a.s - b.s };
}

/** Nodes needed along one direction, from how far rays move from end to end. */
function nodesAlong(
  places: readonly Complex[],
  wavefront: (z: Complex) => Coefficients,
  focalRatio: number,
  stepUm: number,
): number {
  let moved = 0;
  for (let i = 1; i < places.length; i++) {
    const change = difference(wavefront(places[i]), wavefront(places[i - 1]));
    moved = Math.max(moved, blurRadiusUm(change, focalRatio));
  }
  return Math.min(MAX_NODES, Math.max(MIN_NODES, Math.ceil((moved * (places.length - 1)) / stepUm) + 1));
}

function cubicWeights(place: number, nodes: number): { first: number; weights: number[] } {
  const first = Math.min(nodes - 4, Math.max(0, Math.floor(place) - 1));
  const t = place - first;
  const weights = [0, 1, 2, 3].map((k) => {
    let weight = 1;
    for (let m = 0; m < 4; m++) if (m !== k) weight *= (t - m) / (k - m);
    return weight;
  });
  return { first, weights };
}

export function imageField(
  telescope: Telescope,
  state: OpticalState,
  given: Omit<ImageConditions, 'field' | 'grid' | 'recentred'>,
  extent: FieldExtent,
  rayStep = RAY_STEP,
): ImageField {
  const conditions = { ...given, recentred: true };
  const focalRatio = effectiveFocalRatio(telescope);
  const { halfWidthMm: hw, halfHeightMm: hh } = extent;
  const wavefront = (z: Complex): Coefficients => wavefrontAt(telescope, state, z);
  const softnessUm = Math.hypot(conditions.seeingArcsec * umPerArcsec(telescope), conditions.pixelUm, focalRatio);
  const probes = [-1, -0.75, -0.5, -0.25, 0, 0.25, 0.5, 0.75, 1];
  const along = (make: (u: number) => Complex): number =>
    nodesAlong(probes.map(make), wavefront, focalRatio, rayStep * softnessUm);
  const nodesX = Math.max(...[-1, 0, 1].map((v) => along((u) => ({ x: u * hw, y: v * hh }))));
  const nodesY = Math.max(...[-1, 0, 1].map((v) => along((u) => ({ x: v * hw, y: u * hh }))));

  let grid: Grid = { size: 0, oversample: 0 };
  for (const v of [-1, 0, 1]) {
    for (const u of [-1, 0, 1]) {
      const wanted = gridFor(telescope, wavefront({ x: u * hw, y: v * hh }), conditions, BOX_FWHM);
      if (wanted.size > grid.size) grid = wanted;
    }
  }

  const nodes = new Map<number, Psf>();
  const placeX = (x: number): number => ((x + hw) / (2 * hw)) * (nodesX - 1);
  const placeY = (y: number): number => ((y + hh) / (2 * hh)) * (nodesY - 1);
  const drawn = (z: Complex, own: Grid): Psf =>
    starImage(telescope, wavefront(z), { ...conditions, field: z, grid: own });
  const exact = (z: Complex, widen = 1): Psf => {
    const own = grid.size <= QUICK_GRID ? grid : gridFor(telescope, wavefront(z), conditions, BOX_FWHM);
    return drawn(z, { ...own, size: own.size * widen });
  };
  // All nodes share the sampling; where stars are small, a smaller box does.
  const nodeGrid = (z: Complex): Grid => {
    if (grid.size <= QUICK_GRID) return grid;
    const boxPx = boxPxFor(telescope, wavefront(z), conditions, BOX_FWHM);
    let size = QUICK_GRID;
    while (size < grid.size && size / grid.oversample < boxPx) size *= 2;
    return { size, oversample: grid.oversample };
  };
  const node = (i: number, j: number): Psf => {
    const key = j * nodesX + i;
    const known = nodes.get(key);
    if (known) return known;
    const z = { x: -hw + (2 * hw * i) / (nodesX - 1), y: -hh + (2 * hh * j) / (nodesY - 1) };
    const made = drawn(z, nodeGrid(z));
    nodes.set(key, made);
    return made;
  };

  const at = (z: Complex, reachPx?: number): Psf => {
    const { oversample } = grid;
    const column = cubicWeights(placeX(z.x), nodesX);
    const row = cubicWeights(placeY(z.y), nodesY);
    const used: { weight: number; psf: Psf }[] = [];
    for (let j = 0; j < 4; j++) {
      for (let i = 0; i < 4; i++) {
        const weight = column.weights[i] * row.weights[j];
        if (weight !== 0) used.push({ weight, psf: node(column.first + i, row.first + j) });
      }
    }
    // Beyond the smallest box drawn there is nothing to blend.
    const smallest = Math.min(...used.map(({ psf }) => psf.size)) / 2;
    const reach = reachPx === undefined ? smallest : Math.min(smallest, Math.ceil((reachPx + 2) * oversample) + 4);
    const width = 2 * reach;
    const image = new Float32Array(width * width);
    for (const { weight, psf } of used) {
      const { size, image: from } = psf;
      const skip = size / 2 - reach;
      for (let y = 0; y < width; y++) {
        const source = (y + skip) * size + skip;
        const target = y * width;
        for (let x = 0; x < width; x++) image[target + x] = image[target + x] + weight * from[source + x];
      }
    }
    return { size: width, oversample, pixelUm: conditions.pixelUm, image };
  };

  return {
    nodesX,
    nodesY,
    at,
    exact,
    placePx: (z) => scale(centroidUm(telescope, wavefront(z)), 1 / conditions.pixelUm),
    nearest: (z) => {
      const i = Math.min(nodesX - 1, Math.max(0, Math.round(placeX(z.x))));
      const j = Math.min(nodesY - 1, Math.max(0, Math.round(placeY(z.y))));
      return node(i, j);
    },
    forgetBelow: (yMm) => {
      const first = cubicWeights(placeY(yMm), nodesY).first;
      for (const key of nodes.keys()) if (Math.floor(key / nodesX) < first) nodes.delete(key);
    },
  };
}
