import { damaged } from './damage.ts';
import type { Hdu } from './hdu.ts';
import { valueOf } from './header.ts';
import { type PixelsAndMask, physicalPixels, scalingOf } from './scaling.ts';
import { storedValues } from './stored.ts';
import { safeProduct } from './structure.ts';
import { tiledLayout } from './tileLayout.ts';
import { readTiles } from './tiles.ts';

export interface ImageShape {
  readonly width: number;
  readonly height: number;
  /** 1 for a plain image; more when NAXIS3 (and beyond) say so. */
  readonly planes: number;
}

export interface ImageData extends PixelsAndMask {
  readonly width: number;
  readonly height: number;
  readonly notes: readonly string[];
}

/** No plain file that can be read here holds more (Node reads up to 2 GiB); compressed pixels may not either. */
const MAX_IMAGE_BYTES = 2 ** 31;

/** Width, height and planes of an HDU's image; null when it holds none. */
export function imageShape(hdu: Hdu, name: string): ImageShape | null {
  if (hdu.kind !== 'image' && hdu.kind !== 'tiled-image') return null;
  const { axes, bitpix } = hdu.kind === 'image' ? hdu : tiledLayout(hdu, name);
  if (axes.length < 2 || axes.includes(0)) return null;
  const [width, height, ...further] = axes;
  const what = `header at byte ${hdu.header.offset}`;
  if (safeProduct([Math.abs(bitpix) / 8, width, height], what, name) > MAX_IMAGE_BYTES)
    throw damaged(name, `${what} promises an image of ${width} x ${height} pixels, more than can be read`);
  return { width, height, planes: safeProduct(further, what, name) };
}

/** PCOUNT and GCOUNT belong to tables and random groups; in an image they must be 0 and 1. */
function countNotes({ header }: Hdu): string[] {
  const odd = [
    ['PCOUNT', 0],
    ['GCOUNT', 1],
  ].filter(([keyword, expected]) => (valueOf(header, String(keyword)) ?? expected) !== expected);
  return odd.map(([keyword, expected]) => `card ${keyword} of an image should hold ${expected}: ignored`);
}

/** Byte where a plane begins, once it is sure that the file holds all of it. */
function planeStart(bytes: Uint8Array, hdu: Hdu, shape: ImageShape, plane: number, name: string): number {
  const rowBytes = (Math.abs(hdu.bitpix) / 8) * shape.width;
  const start = hdu.dataOffset + plane * rowBytes * shape.height;
  const end = start + rowBytes * shape.height;
  if (end <= bytes.length) return start;
  const row = Math.max(0, Math.floor((bytes.length - start) / rowBytes));
  throw damaged(
    name,
    `file ends at row ${row} of ${shape.height} (byte ${bytes.length}, ${end} expected): still being written, or cut short?`,
  );
}

/**
 * One plane of an image. The pixels stand in the memory of `bytes` where their type allows: the caller hands `bytes` over,
 * and the same HDU cannot be read from it twice.
 */
export function readImage(bytes: Uint8Array, hdu: Hdu, plane: number, name: string): ImageData {
  const shape = imageShape(hdu, name);
  if (shape === null) throw new RangeError(`HDU ${hdu.index} of ${name} holds no image`);
  if (!(plane >= 0 && plane < shape.planes))
    throw new RangeError(`plane is ${plane}, expected 0 to ${shape.planes - 1}`);
  const { width, height } = shape;
  if (hdu.kind === 'tiled-image') {
    const layout = tiledLayout(hdu, name);
    const scaling = scalingOf(hdu.header, layout.bitpix, layout.blankKeyword, name);
    const stored = readTiles(bytes, layout, plane, name);
    return { ...physicalPixels(stored, scaling), width, height, notes: [...layout.notes, ...scaling.notes] };
  }
  const start = planeStart(bytes, hdu, shape, plane, name);
  const scaling = scalingOf(hdu.header, hdu.bitpix, 'BLANK', name);
  const direct = hdu.bitpix === 16 && scaling.kind === 'flip' && scaling.blank === undefined;
  const stored = storedValues(bytes, start, width * height, hdu.bitpix, direct);
  const image = physicalPixels(stored, direct ? { ...scaling, kind: 'none' } : scaling);
  return { ...image, width, height, notes: [...scaling.notes, ...countNotes(hdu)] };
}
