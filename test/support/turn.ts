import ndarray from 'ndarray';
import type { Frame, PixelArray } from '../../src/frame/frame.ts';

/** A frame whose stored pixel (x, y) comes from `from(x, y)` of the given one. Mono frames without mask only. */
function rearrange(
  frame: Frame,
  width: number,
  height: number,
  from: (x: number, y: number) => [number, number],
): Frame {
  const source = frame.pixels.data;
  const data: PixelArray = source.slice();
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const [sx, sy] = from(x, y);
      data[y * width + x] = source[sy * frame.width + sx];
    }
  return { ...frame, width, height, pixels: ndarray(data, [height, width]) };
}

/** Rows in reverse order; the header's word is left as it is. */
export const turnedOver = (frame: Frame): Frame =>
  rearrange(frame, frame.width, frame.height, (x, y) => [x, frame.height - 1 - y]);

/** Columns in reverse order. */
export const mirrored = (frame: Frame): Frame =>
  rearrange(frame, frame.width, frame.height, (x, y) => [frame.width - 1 - x, y]);

/** A quarter turn in stored axes, from +x towards +y: what lay along +x lies along +y. */
export const quarterTurned = (frame: Frame): Frame =>
  rearrange(frame, frame.height, frame.width, (x, y) => [y, frame.height - 1 - x]);
