import type { PixelArray } from '../frame/frame.ts';
import { kernelAddress, kernels } from '../kernels/kernels.ts';
import { MAX_CELLS } from '../kernels/layout.ts';
import { clipSorted, median } from '../numeric/statistics.ts';

/** Sky level and pixel noise on a mesh of square cells; nodes stand at the cell centres. */
export interface Background {
  /** Cell side, pixels. */
  readonly cell: number;
  readonly columns: number;
  readonly rows: number;
  /** ADU, row-major [rows, columns]. */
  readonly level: Float32Array;
  /** 1-sigma noise of one pixel, ADU, row-major [rows, columns]. */
  readonly noise: Float32Array;
}

/** An image as the star stages see it: one plane, some pixels masked, for mosaics only one checkerboard colour used. */
export interface Plane {
  readonly data: PixelArray;
  readonly width: number;
  readonly height: number;
  /** 1 = no value; null when every pixel is good. */
  readonly mask: Uint8Array | null;
  /** For a colour mosaic: green pixels have ((x + y) & 1) === greenParity; null for mono. */
  readonly greenParity: 0 | 1 | null;
}

/** Cell side, pixels: wide against star discs, narrow against gradients and nebulosity. */
const CELL = 64;
/** Samples a cell: a median good to 0.055 sigma, and the mesh is smoothed afterwards. */
const SAMPLES = 512;
/** Fewer good samples than this and the cell takes its value from the neighbours. */
const MIN_SAMPLES = 64;

/** Sigma-clipped background mesh (cell medians, then a 3x3 median over the mesh, as in Bertin & Arnouts 1996, sec. 4). */
export function meshBackground(plane: Plane): Background {
  const { width, height } = plane;
  const cell = Math.min(CELL, Math.max(8, Math.floor(Math.min(width, height) / 4)));
  const columns = Math.max(1, Math.round(width / cell));
  const rows = Math.max(1, Math.round(height / cell));
  const { level, noise } = compiledCells(plane, columns, rows) ?? clippedCells(plane, columns, rows);
  fillHoles(level, columns, rows);
  fillHoles(noise, columns, rows);
  const smoothNoise = medianFilter(noise, columns, rows);
  raiseZeroNoise(smoothNoise);
  return { cell: width / columns, columns, rows, level: medianFilter(level, columns, rows), noise: smoothNoise };
}

interface Cells {
  readonly level: Float32Array;
  readonly noise: Float32Array;
}

/** Median and noise of every cell, NaN where too few pixels are good. */
function clippedCells(plane: Plane, columns: number, rows: number): Cells {
  const { width, height } = plane;
  const level = new Float32Array(columns * rows).fill(NaN);
  const noise = new Float32Array(columns * rows).fill(NaN);
  // Integers sort in half the time; unsigned 32-bit ones alone do not fit.
  const fractional =
    plane.data instanceof Float32Array || plane.data instanceof Float64Array || plane.data instanceof Uint32Array;
  const samples = fractional ? new Float32Array(SAMPLES * 2) : new Int32Array(SAMPLES * 2);
  for (let j = 0; j < rows; j++) {
    const y0 = Math.floor((j * height) / rows);
    const y1 = Math.floor(((j + 1) * height) / rows);
    for (let i = 0; i < columns; i++) {
      const x0 = Math.floor((i * width) / columns);
      const x1 = Math.floor(((i + 1) * width) / columns);
      const n = gather(plane, x0, x1, y0, y1, samples);
      if (n < MIN_SAMPLES) continue;
      const sorted = samples.subarray(0, n).sort();
      const clipped = clipSorted(sorted, n);
      level[j * columns + i] = clipped.median;
      noise[j * columns + i] = clipped.sigma;
    }
  }
  return { level, noise };
}

/** The same by src/kernels/assembly/pixels.ts; null where the kernels cannot read the pixels. */
function compiledCells(plane: Plane, columns: number, rows: number): Cells | null {
  const address = kernelAddress(plane);
  const compiled = kernels();
  const count = columns * rows;
  if (address === null || compiled === null || count > MAX_CELLS) return null;
  const level = compiled.level.subarray(0, count).fill(NaN);
  const noise = compiled.noise.subarray(0, count).fill(NaN);
  const { width, height, greenParity } = plane;
  compiled.share('mesh', [address, width, height, columns, rows, greenParity ?? -1, SAMPLES, MIN_SAMPLES], rows, 1);
  return { level: level.slice(), noise: noise.slice() };
}

/** Copies every k-th good pixel of the cell into `out`; rows are offset against each other so no column is favoured. */
function gather(plane: Plane, x0: number, x1: number, y0: number, y1: number, out: Float32Array | Int32Array): number {
  const { data, width, mask, greenParity } = plane;
  const area = (x1 - x0) * (y1 - y0);
  const step = Math.max(1, Math.floor(area / (greenParity === null ? SAMPLES : 2 * SAMPLES)));
  // Steps along x of an odd length visit both mosaic parities.
  const stride = Math.max(1, Math.round(Math.sqrt(step))) | 1;
  const rowStride = Math.max(1, Math.round(step / stride));
  let n = 0;
  for (let y = y0; y < y1; y += rowStride) {
    const row = y * width;
    for (let x = x0 + (y % stride); x < x1 && n < out.length; x += stride) {
      if (greenParity !== null && ((x + y) & 1) !== greenParity) continue;
      if (mask !== null && mask[row + x] === 1) continue;
      const value = data[row + x];
      if (value === value) out[n++] = value;
    }
  }
  return n;
}

function fillHoles(mesh: Float32Array, columns: number, rows: number): void {
  const good = mesh.filter((v) => v === v);
  if (good.length === 0) {
    mesh.fill(0);
    return;
  }
  if (good.length === mesh.length) return;
  const whole = median(good);
  for (let round = 0; round < columns + rows; round++) {
    const before = mesh.slice();
    let holes = 0;
    for (let j = 0; j < rows; j++)
      for (let i = 0; i < columns; i++) {
        if (before[j * columns + i] === before[j * columns + i]) continue;
        const around = neighbours(before, columns, rows, i, j);
        if (around.length > 0) mesh[j * columns + i] = median(around);
        else holes++;
      }
    if (holes === 0) return;
  }
  for (let k = 0; k < mesh.length; k++) if (mesh[k] !== mesh[k]) mesh[k] = whole;
}

function neighbours(mesh: Float32Array, columns: number, rows: number, i: number, j: number): number[] {
  const out: number[] = [];
  for (let v = Math.max(0, j - 1); v <= Math.min(rows - 1, j + 1); v++)
    for (let u = Math.max(0, i - 1); u <= Math.min(columns - 1, i + 1); u++) {
      const value = mesh[v * columns + u];
      if (value === value) out.push(value);
    }
  return out;
}

/** Median of every cell and its neighbours; the mesh has no holes. */
function medianFilter(mesh: Float32Array, columns: number, rows: number): Float32Array {
  const compiled = kernels();
  if (compiled !== null && mesh.length <= MAX_CELLS) {
    compiled.level.set(mesh);
    compiled.run.smoothMesh(columns, rows);
    return compiled.smoothed.slice(0, mesh.length);
  }
  const out = new Float32Array(mesh.length);
  for (let j = 0; j < rows; j++)
    for (let i = 0; i < columns; i++) out[j * columns + i] = median(neighbours(mesh, columns, rows, i, j));
  return out;
}

/** Synthetic or heavily quantised frames can have cells of one single value: their noise is the quantisation step's. */
function raiseZeroNoise(noise: Float32Array): void {
  const positive = noise.filter((v) => v > 0);
  const floor = positive.length > 0 ? median(positive) * 0.25 : 0.289;
  for (let k = 0; k < noise.length; k++) if (!(noise[k] > floor)) noise[k] = floor;
}

/** Bilinear interpolation of a mesh of the background at pixel (x, y); held constant beyond the outermost nodes. */
export function meshAt(background: Background, mesh: Float32Array, x: number, y: number): number {
  const { cell, columns, rows } = background;
  const u = Math.min(columns - 1, Math.max(0, (x + 0.5) / cell - 0.5));
  const v = Math.min(rows - 1, Math.max(0, (y + 0.5) / cell - 0.5));
  const i = Math.min(columns - 2, Math.floor(u));
  const j = Math.min(rows - 2, Math.floor(v));
  const i0 = Math.max(0, i);
  const j0 = Math.max(0, j);
  const i1 = Math.min(columns - 1, i0 + 1);
  const j1 = Math.min(rows - 1, j0 + 1);
  const fu = u - i0;
  const fv = v - j0;
  const top = mesh[j0 * columns + i0] * (1 - fu) + mesh[j0 * columns + i1] * fu;
  const bottom = mesh[j1 * columns + i0] * (1 - fu) + mesh[j1 * columns + i1] * fu;
  return top * (1 - fv) + bottom * fv;
}

export const levelAt = (background: Background, x: number, y: number): number =>
  meshAt(background, background.level, x, y);
export const noiseAt = (background: Background, x: number, y: number): number =>
  meshAt(background, background.noise, x, y);
