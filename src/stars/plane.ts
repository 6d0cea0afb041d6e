import type { Frame, PixelArray } from '../frame/frame.ts';
import { kernels } from '../kernels/kernels.ts';
import type { Plane } from './background.ts';

/** The frame as one plane for the star stages; of a colour mosaic only the green checkerboard is used. */
export function planeOf(frame: Frame): Plane {
  const greenParity = frame.mosaic === null ? null : frame.mosaic.greenParity;
  return {
    data: frame.pixels.data,
    width: frame.width,
    height: frame.height,
    mask: frame.mask,
    greenParity,
  };
}

/** The plane with its pixels where the kernels can work on them, if they can at all; a copy unless they stand there already. */
export function planeForKernels(plane: Plane): Plane {
  const compiled = kernels();
  const { data, mask } = plane;
  if (compiled === null || !(data instanceof Uint16Array) || mask !== null) return plane;
  if (compiled.addressOf(data) !== null) return plane;
  const { buffer, byteOffset } = compiled.room(data.byteLength);
  const copy = new Uint16Array(buffer, byteOffset, data.length);
  copy.set(data);
  return { ...plane, data: copy };
}

/**
 * For finding stars only, never for measuring: a mosaic's red and blue places filled with the median of their four green
 * neighbours, so that a hot pixel stays alone. A mono plane is returned as it is.
 */
export function filledPlane(plane: Plane): Plane {
  const { data, width, height, greenParity } = plane;
  if (greenParity === null) return plane;
  const filled: PixelArray = data.slice();
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let x = (y + greenParity + 1) & 1; x < width; x += 2) {
      let sum = 0;
      let least = Infinity;
      let most = -Infinity;
      let n = 0;
      const add = (k: number): void => {
        sum += data[k];
        least = Math.min(least, data[k]);
        most = Math.max(most, data[k]);
        n++;
      };
      if (x > 0) add(row + x - 1);
      if (x < width - 1) add(row + x + 1);
      if (y > 0) add(row + x - width);
      if (y < height - 1) add(row + x + width);
      filled[row + x] = n === 4 ? (sum - least - most) / 2 : sum / n;
    }
  }
  return { ...plane, data: filled, greenParity: null };
}

/** Mean of factor x factor blocks; whatever is left over at the right and bottom edge is dropped. */
export function binnedPlane(plane: Plane, factor: number): Plane {
  const width = Math.floor(plane.width / factor);
  const height = Math.floor(plane.height / factor);
  const out = new Float32Array(width * height);
  const { data, mask } = plane;
  const outMask = mask === null ? null : new Uint8Array(width * height);
  const scale = 1 / (factor * factor);
  for (let y = 0; y < height * factor; y++) {
    const row = y * plane.width;
    const target = Math.floor(y / factor) * width;
    for (let x = 0; x < width * factor; x++) {
      const k = target + Math.floor(x / factor);
      out[k] += data[row + x] * scale;
      if (mask !== null && outMask !== null && mask[row + x] === 1) outMask[k] = 1;
    }
  }
  return { data: out, width, height, mask: outMask, greenParity: null };
}
