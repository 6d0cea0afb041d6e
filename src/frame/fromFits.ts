import ndarray from 'ndarray';
import { EXIT, UserError } from '../errors.ts';
import { damaged } from '../fits/damage.ts';
import { type Hdu, type HduList, readHdus } from '../fits/hdu.ts';
import { valueOf } from '../fits/header.ts';
import { type ImageShape, imageShape, readImage } from '../fits/image.ts';
import { readFacts } from './facts.ts';
import type { Frame } from './frame.ts';
import { judgeMosaic } from './mosaicClaim.ts';

interface Candidate {
  readonly hdu: Hdu;
  readonly shape: ImageShape;
}

/** Images of a file; what cannot be understood as one is left out and said. */
function candidates(list: HduList, name: string): { images: Candidate[]; problems: Error[] } {
  const images: Candidate[] = [];
  const problems: Error[] = [];
  for (const hdu of list.hdus) {
    try {
      const shape = imageShape(hdu, name);
      if (shape !== null) images.push({ hdu, shape });
    } catch (error) {
      if (!(error instanceof UserError)) throw error;
      problems.push(error);
    }
  }
  return { images, problems };
}

/** What an HDU is, for a message that lists them. */
function describe(hdu: Hdu, images: readonly Candidate[]): string {
  const image = images.find((each) => each.hdu === hdu);
  if (image !== undefined) return `[${hdu.index}] image ${image.shape.width} x ${image.shape.height}`;
  return `[${hdu.index}] ${hdu.kind === 'image' ? 'no image data' : hdu.kind}`;
}

function named(list: HduList, images: readonly Candidate[], extension: number, name: string): Candidate {
  const hdu = list.hdus[extension];
  const image = images.find((each) => each.hdu === hdu);
  if (image !== undefined) return image;
  // A caller who names an extension deserves the reason why it is none.
  if (hdu !== undefined) imageShape(hdu, name);
  else if (list.broken !== null) throw list.broken;
  throw new UserError(
    `${name}: extension ${extension} holds no two-dimensional image; the file has ${list.hdus.map((each) => describe(each, images)).join(', ')}`,
    EXIT.unreadableInput,
  );
}

function largest(
  list: HduList,
  images: readonly Candidate[],
  problems: readonly Error[],
  name: string,
): { image: Candidate; notes: string[] } {
  const area = (each: Candidate): number => each.shape.width * each.shape.height;
  const [first, ...rest] = images;
  if (first === undefined) {
    if (problems.length > 0) throw problems[0];
    if (list.broken !== null) throw list.broken;
    throw damaged(
      name,
      `no two-dimensional image in it; the file has ${list.hdus.map((each) => describe(each, images)).join(', ')}`,
    );
  }
  const image = rest.reduce((best, each) => (area(each) > area(best) ? each : best), first);
  if (rest.length === 0) return { image, notes: [] };
  const others = images.length - 1;
  return {
    image,
    notes: [
      `extension ${image.hdu.index} was read, the ${rest.some((each) => area(each) === area(image)) ? 'first of the largest images' : 'largest image'}; ${others} more in the file can be named as FILE[n]`,
    ],
  };
}

/** The plane to read: the green one of three colours, else the first. */
function planeOf({ planes }: ImageShape): { plane: number; notes: string[] } {
  if (planes === 1) return { plane: 0, notes: [] };
  const plane = planes === 3 ? 1 : 0;
  return {
    plane,
    notes: [
      `plane ${plane + 1} of ${planes} was read${planes === 3 ? ' (green, if they are red, green and blue)' : ''}`,
    ],
  };
}

/**
 * A frame from the bytes of a FITS file: the largest two-dimensional image, or the one of `extension` (0 = primary).
 * The caller hands `bytes` over: the frame's pixels stand in the same memory where their type allows.
 */
export function frameFromFits(bytes: Uint8Array, name: string, extension?: number): Frame {
  const list = readHdus(bytes, name);
  const { images, problems } = candidates(list, name);
  const { image, notes } =
    extension === undefined
      ? largest(list, images, problems, name)
      : { image: named(list, images, extension, name), notes: [] };
  const { plane, notes: planeNotes } = planeOf(image.shape);
  const data = readImage(bytes, image.hdu, plane, name);
  const headers =
    image.hdu.index === 0 || !inherits(image.hdu) ? [image.hdu.header] : [image.hdu.header, list.hdus[0].header];
  const told = readFacts(headers);
  const verdict = judgeMosaic(headers, told.facts, data, image.shape.planes);
  return {
    name: extension === undefined ? name : `${name}[${extension}]`,
    width: data.width,
    height: data.height,
    pixels: ndarray(data.pixels, [data.height, data.width]),
    mask: data.mask,
    facts: verdict.facts,
    mosaic: verdict.mosaic,
    notes: [
      ...list.notes,
      ...notes,
      ...planeNotes,
      ...image.hdu.header.notes,
      ...data.notes,
      ...told.notes,
      ...verdict.notes,
    ],
  };
}

/** INHERIT = F: the primary header does not speak for the extension. Absent: it does, for want of anything better. */
const inherits = (hdu: Hdu): boolean => valueOf(hdu.header, 'INHERIT') !== false;
