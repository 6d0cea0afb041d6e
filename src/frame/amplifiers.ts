import { EXIT, UserError } from '../errors.ts';
import type { PixelArray } from '../fits/pixels.ts';
import type { PixelsAndMask } from '../fits/scaling.ts';
import type { Section } from './sections.ts';

/** Frames read through several amplifiers, or with overscan, put together as the one picture that the chip saw. */

/** What one amplifier read: part of an image, and its place on the chip. */
export interface AmplifierPart {
  /** As a message names it. */
  readonly label: string;
  readonly pixels: PixelArray;
  readonly mask: Uint8Array | null;
  readonly imageWidth: number;
  /** Light-sensitive pixels in the image. */
  readonly data: Section;
  /** Their place on the chip, in pixels of the file; flips turn the data. */
  readonly place: Section;
  /** Overscan, whose median is the amplifier's zero level. */
  readonly bias: Section | null;
  /** Electrons per ADU. */
  readonly gain: number | null;
}

export interface JoinedImage extends PixelsAndMask {
  readonly width: number;
  readonly height: number;
  readonly notes: readonly string[];
  /** ADU of the joined image that one ADU above zero of each part became, and the zero level taken off. */
  readonly levels: readonly { readonly zero: number; readonly factor: number }[];
}

/** At least this share of the chip's rectangle must be covered; what is missing is masked. */
const LEAST_COVERED = 0.8;

function medianOf({ pixels, imageWidth }: AmplifierPart, section: Section): number {
  const values = new Float64Array(section.width * section.height);
  for (let y = 0, i = 0; y < section.height; y++) {
    for (let x = 0; x < section.width; x++, i++) values[i] = pixels[(section.y + y) * imageWidth + section.x + x];
  }
  values.sort();
  const middle = values.length >> 1;
  return values.length % 2 === 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2;
}

/** Overscan levels and gains brought to one scale, where all parts tell them. */
function levelsOf(parts: readonly AmplifierPart[]): { levels: { zero: number; factor: number }[]; notes: string[] } {
  const notes: string[] = [];
  const biased = parts.every((part) => part.bias !== null);
  const zeros = parts.map((part) => (biased && part.bias !== null ? medianOf(part, part.bias) : 0));
  if (biased && parts.length > 1) notes.push('the overscan level of each amplifier was taken off');
  const gains = parts.map((part) => part.gain ?? NaN);
  const mean = gains.reduce((a, b) => a + b, 0) / gains.length;
  const scaled = biased && Number.isFinite(mean) && gains.some((gain) => gain !== mean);
  if (scaled) notes.push('their gains were brought to the mean one');
  return { levels: zeros.map((zero, i) => ({ zero, factor: scaled ? gains[i] / mean : 1 })), notes };
}

function emptyLike(pixels: PixelArray, length: number, asFloat: boolean): PixelArray {
  if (asFloat) return new Float32Array(length);
  const Type = pixels.constructor as new (length: number) => PixelArray;
  return new Type(length);
}

function copyPart(
  part: AmplifierPart,
  level: { zero: number; factor: number },
  out: PixelsAndMask & { mask: Uint8Array },
  width: number,
): void {
  const { data, place, pixels, mask, imageWidth } = part;
  const flipX = data.flipX !== place.flipX;
  const flipY = data.flipY !== place.flipY;
  const plain = level.zero === 0 && level.factor === 1;
  for (let y = 0; y < place.height; y++) {
    const from = (data.y + (flipY ? data.height - 1 - y : y)) * imageWidth + data.x;
    const to = (place.y + y) * width + place.x;
    for (let x = 0; x < place.width; x++) {
      const at = from + (flipX ? data.width - 1 - x : x);
      out.pixels[to + x] = plain ? pixels[at] : (pixels[at] - level.zero) * level.factor;
      out.mask[to + x] = mask === null ? 0 : mask[at];
    }
  }
}

/** Puts the parts at their places. Their boxes must not overlap and must nearly fill the chip's rectangle. */
export function joinAmplifiers(parts: readonly AmplifierPart[], name: string): JoinedImage {
  const left = Math.min(...parts.map((part) => part.place.x));
  const bottom = Math.min(...parts.map((part) => part.place.y));
  const width = Math.max(...parts.map((part) => part.place.x + part.place.width)) - left;
  const height = Math.max(...parts.map((part) => part.place.y + part.place.height)) - bottom;
  const covered = parts.reduce((sum, part) => sum + part.place.width * part.place.height, 0);
  if (covered < LEAST_COVERED * width * height)
    throw new UserError(
      `${name}: its ${parts.length} parts (${parts.map((part) => part.label).join(', ')}) fill only ${Math.round((100 * covered) / (width * height))} % of the ${width} x ${height} rectangle they span; name one of them with FILE[n]`,
      EXIT.unreadableInput,
    );
  const { levels, notes } = levelsOf(parts);
  const asFloat =
    levels.some(({ zero, factor }) => zero !== 0 || factor !== 1) ||
    new Set(parts.map((part) => part.pixels.constructor)).size > 1;
  const out = {
    pixels: emptyLike(parts[0].pixels, width * height, asFloat),
    mask: new Uint8Array(width * height).fill(1),
  };
  parts.forEach((part, i) => {
    const place = { ...part.place, x: part.place.x - left, y: part.place.y - bottom };
    copyPart({ ...part, place }, levels[i], out, width);
  });
  const mask = out.mask.includes(1) ? out.mask : null;
  return { pixels: out.pixels, mask, width, height, levels, notes };
}

/** Cuts an image down to a section, in its own memory. */
export function cropInPlace(image: PixelsAndMask, imageWidth: number, section: Section): PixelsAndMask {
  const cut = <T extends PixelArray>(values: T): T => {
    for (let row = 0; row < section.height; row++) {
      const from = (section.y + row) * imageWidth + section.x;
      values.copyWithin(row * section.width, from, from + section.width);
    }
    return values.subarray(0, section.width * section.height) as T;
  };
  const mask = image.mask === null ? null : cut(image.mask);
  return { pixels: cut(image.pixels), mask: mask?.includes(1) ? mask : null };
}
