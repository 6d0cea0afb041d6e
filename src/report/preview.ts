import type { Frame, PixelArray, RowOrder } from '../frame/frame.ts';
import { kernelAddress, kernels, pieces } from '../kernels/kernels.ts';
import { MAX_COLUMNS, MAX_PREVIEW } from '../kernels/layout.ts';
import type { FieldPicture } from './picture.ts';

/** Longest side of the preview, pixels: sharp on a desk, small enough to send. */
export const PREVIEW_SIDE = 1600;

/** Stretch, chosen by eye on real and drawn frames: where the sky, its noise and the brightest stars come to lie. */
const STRETCH = {
  /** Black stands this many noise sigmas of the preview below the sky. */
  blackSigmas: 3,
  /** Grey of the sky, 0..1: dark, so that lines and numbers drawn on top stand out. */
  skyGrey: 0.12,
  /** Grey of the brightest stars: below white, which is kept for what is drawn on top. */
  topGrey: 0.86,
  /** The share of preview pixels brighter than the top. */
  brightShare: 0.0008,
  /** A frame without anything bright is not stretched further than this many sigmas between black and top. */
  leastSigmas: 40,
} as const;

export type Preview = Omit<FieldPicture, 'whiskers'>;

/**
 * The frame made small and bright, first stored row on top: blocks are averaged (pairs of rows and columns of a
 * colour mosaic stay together, so no colour is preferred), then a midtone curve lifts the sky to dark grey.
 */
export function stretchPreview(frame: Frame, side: number = PREVIEW_SIDE): Preview {
  const block = blockOf(frame, side);
  const width = Math.max(1, Math.floor(frame.width / block));
  const height = Math.max(1, Math.floor(frame.height / block));
  const binned = bin(frame.pixels.data, frame.mask, frame.width, frame.height, block, width, height);
  return { width, height, pixelsPerFramePixel: 1 / block, grey: greyOf(binned, stretchOf(binned)) };
}

/** From black at `black` over the midtone balance `m` to `top` at black + range. */
interface Stretch {
  readonly black: number;
  readonly range: number;
  readonly m: number;
  readonly top: number;
}

/** NaN becomes black. */
function greyOf(binned: Float32Array, { black, range, m, top }: Stretch): Uint8Array {
  const compiled = kernels();
  if (compiled?.preview.buffer === binned.buffer) {
    for (const [from, to] of pieces(binned.length, STRETCHED_AT_ONCE))
      compiled.run.stretch(from, to, black, range, m, top);
    return new Uint8Array(binned.buffer, binned.byteOffset, binned.length).slice();
  }
  const grey = new Uint8Array(binned.length);
  for (let i = 0; i < grey.length; i++) {
    const x = (binned[i] - black) / range;
    grey[i] = !(x > 0) ? 0 : x >= 1 ? top : (top * (m - 1) * x) / ((2 * m - 1) * x - m);
  }
  return grey;
}

/** The preview as the frame stands on the screen: BOTTOM-UP puts the last stored row on top. */
export function onScreen(preview: Preview, rowOrder: RowOrder): Preview {
  if (rowOrder === 'TOP-DOWN') return preview;
  const { width, height } = preview;
  const grey = new Uint8Array(width * height);
  for (let row = 0; row < height; row++) {
    const stored = (height - 1 - row) * width;
    grey.set(preview.grey.subarray(stored, stored + width), row * width);
  }
  return { ...preview, grey };
}

function blockOf(frame: Frame, side: number): number {
  const least = Math.ceil(Math.max(frame.width, frame.height) / side);
  const even = frame.mosaic ? least + (least % 2) : least;
  return Math.max(1, Math.min(even, frame.width, frame.height));
}

/** Mean of the good pixels of each block; NaN where there is none. */
function bin(
  data: PixelArray,
  mask: Uint8Array | null,
  frameWidth: number,
  frameHeight: number,
  block: number,
  width: number,
  height: number,
): Float32Array {
  const compiled = kernels();
  const address = kernelAddress({ data, mask });
  if (compiled !== null && address !== null && width * height <= MAX_PREVIEW && frameWidth <= MAX_COLUMNS) {
    compiled.share('binBlocks', [address, frameWidth, frameHeight, block, width], height, ROWS_AT_ONCE);
    return compiled.preview.subarray(0, width * height);
  }
  const out = new Float32Array(width * height);
  const sums = new Float64Array(width);
  const counts = new Int32Array(width);
  for (let row = 0; row < height; row++) {
    sums.fill(0);
    counts.fill(0);
    const rows = Math.min(block, frameHeight - row * block);
    for (let line = 0; line < rows; line++) {
      const base = (row * block + line) * frameWidth;
      if (mask) addMaskedRow(data, mask, base, block, width, sums, counts);
      else addRow(data, base, block, width, sums);
    }
    const full = rows * block;
    for (let column = 0; column < width; column++) {
      const count = mask ? counts[column] : full;
      out[row * width + column] = count > 0 ? sums[column] / count : Number.NaN;
    }
  }
  return out;
}

function addRow(data: PixelArray, base: number, block: number, width: number, sums: Float64Array): void {
  let at = base;
  for (let column = 0; column < width; column++) {
    let sum = 0;
    for (const end = at + block; at < end; at++) sum += data[at];
    sums[column] += sum;
  }
}

function addMaskedRow(
  data: PixelArray,
  mask: Uint8Array,
  base: number,
  block: number,
  width: number,
  sums: Float64Array,
  counts: Int32Array,
): void {
  let at = base;
  for (let column = 0; column < width; column++) {
    for (const end = at + block; at < end; at++) {
      if (mask[at] !== 0) continue;
      sums[column] += data[at];
      counts[column]++;
    }
  }
}

/** Sky, noise and bright end from a regular sample. */
function stretchOf(binned: Float32Array): Stretch {
  const step = Math.max(1, Math.floor(binned.length / SAMPLES));
  const sample = new Float32Array(Math.ceil(binned.length / step));
  let count = 0;
  for (let i = 0; i < binned.length; i += step) if (Number.isFinite(binned[i])) sample[count++] = binned[i];
  const top = 255 * STRETCH.topGrey;
  if (count === 0) return { black: Number.POSITIVE_INFINITY, range: 1, m: 0.5, top };
  const sorted = sample.subarray(0, count).sort();
  const at = (share: number): number => sorted[Math.round(share * (sorted.length - 1))];
  const sky = at(0.5);
  // The lower half holds no stars: from the 16th percentile up to the median is one sigma of noise and gradient.
  const sigma = Math.max(sky - at(0.159), Math.abs(sky) * 1e-6, 1e-12);
  const black = Math.max(sky - STRETCH.blackSigmas * sigma, sorted[0]);
  const range = Math.max(at(1 - STRETCH.brightShare) - black, STRETCH.leastSigmas * sigma);
  const skyAt = Math.max((sky - black) / range, 1e-6);
  // Midtone balance m of y = (m - 1) x / ((2 m - 1) x - m), solved for the wanted grey of the sky.
  const wanted = STRETCH.skyGrey / STRETCH.topGrey;
  const m = (skyAt * (wanted - 1)) / (2 * wanted * skyAt - wanted - skyAt);
  return { black, range, m, top };
}

const SAMPLES = 30_000;
const ROWS_AT_ONCE = 32;
const STRETCHED_AT_ONCE = 1 << 16;
