import { COMPILED, COMPILED_HELPER } from './compiled.ts';
import { boardIn, expectHelp, type RunningSum, type SharedKernel, shareOut, sumBeside } from './crew.ts';
import * as layout from './layout.ts';

/** What assembly/index.ts exports; `data` is the address of 16-bit pixels, counts and places are whole numbers. */
interface Exports extends Record<SharedKernel, (...values: number[]) => unknown> {
  smoothMesh(columns: number, rows: number): void;
  area(
    data: number,
    width: number,
    height: number,
    x: number,
    y: number,
    limit: number,
    half: number,
    least: number,
  ): number;
  stretch(from: number, to: number, black: number, range: number, midtone: number, top: number): void;
  setFloats(are: boolean): void;
  cut(
    data: number,
    width: number,
    height: number,
    greenParity: number,
    x: number,
    y: number,
    radius: number,
    spike: number,
    slopeX: number,
    slopeY: number,
  ): number;
  slope(
    data: number,
    width: number,
    height: number,
    greenParity: number,
    x: number,
    y: number,
    inner: number,
    outer: number,
    share: number,
    clip: number,
    rounds: number,
  ): void;
  fitGaussian(
    count: number,
    amplitude: number,
    x0: number,
    y0: number,
    a: number,
    b: number,
    c: number,
    background: number,
    tolerance: number,
    maxIterations: number,
  ): number;
  errorsAt(
    count: number,
    amplitude: number,
    x0: number,
    y0: number,
    a: number,
    b: number,
    c: number,
    background: number,
    noise: number,
    gain: number,
  ): number;
  transform(input: number, output: number, size: number, usedRows: number): void;
  transformReal(real: number, output: number, size: number): void;
  pupil(
    field: number,
    size: number,
    cells: number,
    reach: number,
    step: number,
    wave: number,
    d: number,
    ax: number,
    ay: number,
    cx: number,
    cy: number,
    tx: number,
    ty: number,
    s: number,
    tiltX: number,
    tiltY: number,
  ): void;
  addIntensity(field: number, count: number, weight: number, sum: number): void;
  passOn(spectrum: number, transfer: number, count: number, out: number): void;
  fold(spectrum: number, transfer: number, size: number, across: number, out: number, negligible: number): void;
  robustFit(rows: number, columns: number, rounds: number): number;
  descendSurface(measured: number, count: number, subs: number, iterations: number): number;
  wavefrontValues(cells: number, subs: number, perSub: number, priors: number): void;
  wavefrontSlopes(cells: number, subs: number, perSub: number, priors: number): void;
  descendWavefront(cells: number, subs: number, perSub: number, priors: number, iterations: number): number;
  countColours(rgb: number, count: number): number;
  exactColours(rgb: number, count: number, oneIn: number): void;
  nearestColours(from: number, to: number, length: number): void;
  indexPixels(rgb: number, from: number, to: number, indices: number): void;
  outline(length: number, canvasWidth: number, canvasHeight: number): boolean;
  fill(
    length: number,
    x0: number,
    y0: number,
    width: number,
    height: number,
    pixels: number,
    r: number,
    g: number,
    b: number,
    opacity: number,
  ): void;
  bySums(...light: ThirdOrderArguments): number;
  byLeastSquares(...light: ThirdOrderArguments): number;
}

/** count, x0, y0, sigma, background, noise, gain, rounds at most, shift (in sigma) that counts as settled. */
type ThirdOrderArguments = [number, number, number, number, number, number, number, number, number];

/** The lists of one stamp. */
interface StampLists {
  readonly dx: Float64Array;
  readonly dy: Float64Array;
  readonly value: Float64Array;
  readonly weight: Float64Array;
}

interface PictureRoom {
  /** By cell of colour: pixels, and the index it gets. */
  readonly found: Uint32Array;
  readonly indexOf: Int16Array;
  /** Cells that were found. */
  readonly cells: Uint16Array;
  readonly palette: Uint8Array;
  /** Index of each pure grey. */
  readonly greys: Uint8Array;
  /** Pixels, then their indices. */
  readonly bytes: Uint8Array;
}

export interface HelperKernels {
  readonly module: WebAssembly.Module;
  readonly memory: WebAssembly.Memory;
}

/** The compiled kernels with the memory they work in. One caller at a time: every call may overwrite what the last one left. */
export interface Kernels {
  readonly run: Exports;
  readonly stamp: StampLists;
  /** What the last call answered. */
  readonly out: Float64Array;
  /** Room for the pixels of a small image, float32. */
  readonly small: Float32Array;
  /** STAR_NUMBERS of each star that is measured, in the place of the preview. */
  readonly stars: Float64Array;
  /** Constants that measuring stars is told. */
  readonly settings: Float64Array;
  readonly level: Float32Array;
  readonly noise: Float32Array;
  readonly places: Uint32Array;
  /** A smoothed mesh, in the place of those. */
  readonly smoothed: Float32Array;
  readonly preview: Float32Array;
  /** Eight numbers a candidate, in the place of the preview. */
  readonly candidates: Float64Array;
  /** Numbers of a fit, in the place of the preview. */
  readonly fit: Float64Array;
  /** What is worked on while a picture gets its palette, in the place of the preview. */
  readonly picture: PictureRoom;
  /** Room there for a part of a canvas, behind that for the coverage of its pixels. */
  readonly canvas: Uint8Array;
  readonly ringDx: Float64Array;
  readonly ringDy: Float64Array;
  /** Room for one frame of that many bytes; what stood there before is gone. */
  readonly room: (bytes: number) => Uint8Array;
  /** Calls a kernel for 0 to `length` in pieces of `step`, with a helper thread where there is one; returns what each answered. */
  readonly share: (kernel: SharedKernel, given: readonly number[], length: number, step: number) => Float64Array;
  /** SHA-256 by a helper thread of a file whose first part this is; null where no helper was started or it stands elsewhere. */
  readonly sumBeside: (first: Uint8Array, alone: () => RunningSum) => RunningSum | null;
  /** What a helper thread that is being started needs: the module to run `help` (crew.ts) with, in this memory. */
  readonly forHelper: () => HelperKernels;
  /** Where this stands in the kernels' memory; null when it does not. */
  readonly addressOf: (view: ArrayBufferView) => number | null;
}

/**
 * Pieces [from, to) of a long work. A kernel is compiled in haste first and better in the background: what is called once for a
 * whole frame would never meet the better one.
 */
export function* pieces(length: number, size: number): Generator<readonly [number, number]> {
  for (let from = 0; from < length; from += size) yield [from, Math.min(length, from + size)];
}

const PAGE = 65536;
/** Pages of the memory at most: 4 GiB, of which only what is touched is taken. */
const MOST_PAGES = 65536;

/** The kernels of the first thread, or those of its helper. */
export type KernelsName = 'kernels' | 'helper';
export type CompileKernels = (bytes: Uint8Array<ArrayBuffer>, name: KernelsName) => WebAssembly.Module;

let loaded: Kernels | null | undefined;
let compile: CompileKernels = (bytes) => new WebAssembly.Module(bytes);

/** Another way from the kernels' bytes to their module, such as to one kept from an earlier run. Before the first `kernels()`. */
export function compileKernelsBy(way: CompileKernels): void {
  compile = way;
}

/**
 * The kernels, compiled when first asked for; null where this machine has no WebAssembly with vectors and shared memory: the
 * TypeScript beside each call then does the same work.
 */
export function kernels(): Kernels | null {
  if (loaded === undefined) {
    try {
      loaded = load();
    } catch {
      loaded = null;
    }
  }
  return loaded;
}

/** Work in TypeScript from now on, or with the kernels again: for tests and comparisons. */
export function useKernels(wanted: boolean): void {
  loaded = wanted ? undefined : null;
}

function load(): Kernels {
  const memory = new WebAssembly.Memory({ initial: layout.FRAME / PAGE, maximum: MOST_PAGES, shared: true });
  const module = compile(Buffer.from(COMPILED, 'base64'), 'kernels');
  const run = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as Exports;
  const { buffer } = memory;
  const board = boardIn(buffer);
  // Growing makes a new buffer object over the same bytes: views of the older ones stay good.
  const buffers = new Set<ArrayBufferLike>([buffer]);
  const list = (at: number): Float64Array => new Float64Array(buffer, at, layout.LIST_LENGTH);
  return {
    run,
    stamp: {
      dx: list(layout.DX),
      dy: list(layout.DY),
      value: list(layout.VALUE),
      weight: list(layout.WEIGHT),
    },
    out: new Float64Array(buffer, layout.OUT, 64),
    small: new Float32Array(buffer, layout.SMALL_IMAGE, layout.MAX_SMALL),
    stars: new Float64Array(buffer, layout.PREVIEW, layout.MAX_STARS * layout.STAR_NUMBERS),
    settings: new Float64Array(buffer, layout.SETTINGS, 32),
    level: new Float32Array(buffer, layout.LEVEL, layout.MAX_CELLS),
    noise: new Float32Array(buffer, layout.NOISE, layout.MAX_CELLS),
    places: new Uint32Array(buffer, layout.PLACES, layout.MAX_PLACES),
    smoothed: new Float32Array(buffer, layout.PLACES, layout.MAX_CELLS),
    preview: new Float32Array(buffer, layout.PREVIEW, layout.MAX_PREVIEW),
    candidates: new Float64Array(buffer, layout.PREVIEW, layout.MAX_PREVIEW / 2),
    fit: new Float64Array(buffer, layout.FIT, layout.FIT_LENGTH),
    picture: {
      found: new Uint32Array(buffer, layout.COLOURS_FOUND, layout.COLOUR_CELLS),
      indexOf: new Int16Array(buffer, layout.COLOUR_INDICES, layout.COLOUR_CELLS),
      cells: new Uint16Array(buffer, layout.COLOUR_LIST, layout.COLOUR_CELLS),
      palette: new Uint8Array(buffer, layout.COLOUR_PALETTE, 768),
      greys: new Uint8Array(buffer, layout.COLOUR_GREYS, 256),
      bytes: new Uint8Array(buffer, layout.PICTURE, layout.PICTURE_BYTES),
    },
    canvas: new Uint8Array(buffer, layout.CANVAS, layout.CANVAS_BYTES),
    ringDx: new Float64Array(buffer, layout.RING_DX, 64),
    ringDy: new Float64Array(buffer, layout.RING_DY, 64),
    room: (bytes) => {
      const missing = layout.FRAME + bytes + PAGE - memory.buffer.byteLength;
      if (missing > 0) memory.grow(Math.ceil(missing / PAGE));
      buffers.add(memory.buffer);
      return new Uint8Array(memory.buffer, layout.FRAME, bytes);
    },
    share: (kernel, given, length, step) => {
      shareOut(board, run, kernel, given, length, step);
      return board.answers.subarray(0, Math.ceil(length / step));
    },
    sumBeside: (first, alone) => (buffers.has(first.buffer) ? sumBeside(board, first.byteOffset, alone) : null),
    forHelper: () => {
      expectHelp(board);
      return { module: compile(Buffer.from(COMPILED_HELPER, 'base64'), 'helper'), memory };
    },
    addressOf: (view) => (buffers.has(view.buffer) ? view.byteOffset : null),
  };
}

/** Address of an image whose stars the kernels can measure as it stands: as above, or float32; else null. */
export function starAddress(image: Parameters<typeof kernelAddress>[0]): number | null {
  if (image.data instanceof Float32Array && image.mask === null) return kernels()?.addressOf(image.data) ?? null;
  return kernelAddress(image);
}

/** Address of an image that the kernels can work on as it stands: 16-bit pixels in their memory, none masked; else null. */
export function kernelAddress(image: {
  readonly data: ArrayBufferView;
  readonly mask: Uint8Array | null;
}): number | null {
  return image.data instanceof Uint16Array && image.mask === null ? (kernels()?.addressOf(image.data) ?? null) : null;
}
