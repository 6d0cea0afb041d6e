import { type Kernels, kernels } from '../kernels/kernels.ts';
import { drawingRoom, LONGEST_TRANSFORM } from '../kernels/layout.ts';
import { type Fft2d, fft2d } from '../numeric/fft2d.ts';

/** Scratch memory for images of size x size points: its content never outlives a call. */
export interface Workspace {
  /** From `a` to `b`. */
  readonly fft: Fft2d;
  /** size x size complex values each. */
  readonly a: Float64Array;
  readonly b: Float64Array;
  /** size x size values each; the pupil's cells need less. */
  readonly sum: Float64Array;
  readonly transfer: Float64Array;
  readonly cells: Float64Array;
  /** The kernels in whose memory all these stand; null where TypeScript does the work. */
  readonly compiled: Kernels | null;
}

const workspaces = new Map<number, Workspace>();

export function workspace(size: number): Workspace {
  const compiled = size <= LONGEST_TRANSFORM ? kernels() : null;
  const known = workspaces.get(size);
  if (known !== undefined && known.compiled === compiled) return known;
  const made = compiled === null ? plainWorkspace(size) : compiledWorkspace(size, compiled);
  workspaces.set(size, made);
  return made;
}

function plainWorkspace(size: number): Workspace {
  const count = size * size;
  return {
    fft: fft2d(size),
    a: new Float64Array(2 * count),
    b: new Float64Array(2 * count),
    sum: new Float64Array(count),
    transfer: new Float64Array(count),
    cells: new Float64Array(count),
    compiled: null,
  };
}

function compiledWorkspace(size: number, compiled: Kernels): Workspace {
  const count = size * size;
  let at = drawingRoom(size);
  const next = (length: number): Float64Array => {
    const view = new Float64Array(compiled.stars.buffer, at, length);
    at += view.byteLength;
    return view;
  };
  return {
    fft: {
      size,
      transform: (input, output, usedRows = size) =>
        compiled.run.transform(input.byteOffset, output.byteOffset, size, usedRows),
    },
    a: next(2 * count),
    b: next(2 * count),
    sum: next(count),
    transfer: next(count),
    cells: next(count),
    compiled,
  };
}
