import ndarray from 'ndarray';
import { type Hdu, type HduList, readHdus } from '../fits/hdu.ts';
import { type Header, valueOf } from '../fits/header.ts';
import { type ImageShape, readImage } from '../fits/image.ts';
import type { PixelsAndMask } from '../fits/scaling.ts';
import { type AmplifierPart, cropInPlace, type JoinedImage, joinAmplifiers } from './amplifiers.ts';
import {
  type ChipPlan,
  chipOfExtensions,
  chipOfOneImage,
  type PartPlan,
  type PlannedImage,
  trimmedSection,
} from './chipPlan.ts';
import { type Candidate, imagesOf, largestImage, namedImage } from './chooseImage.ts';
import { readFacts } from './facts.ts';
import type { Frame, FrameFacts } from './frame.ts';
import { judgeMosaic } from './mosaicClaim.ts';
import { sectionText } from './sections.ts';

/** The picture of a chip, as read, trimmed or joined. */
interface Picture extends PixelsAndMask {
  readonly width: number;
  readonly height: number;
  /** Stored pixel of the file that became (0, 0), and the height it was counted in: a colour pattern counts from there. */
  readonly origin: { readonly x: number; readonly y: number; readonly fullHeight: number };
  readonly levels: JoinedImage['levels'];
  readonly notes: readonly string[];
}

/** The plane to read: the green one of three colours, else the first. */
function planeOf({ planes }: ImageShape): { plane: number; notes: string[] } {
  if (planes === 1) return { plane: 0, notes: [] };
  const plane = planes === 3 ? 1 : 0;
  const why = planes === 3 ? ' (green, if they are red, green and blue)' : '';
  return { plane, notes: [`plane ${plane + 1} of ${planes} was read${why}`] };
}

const planned = ({ hdu, shape }: Candidate): PlannedImage => ({ index: hdu.index, header: hdu.header, shape });

function part(plan: PartPlan, image: PixelsAndMask, imageWidth: number, label: string): AmplifierPart {
  return { ...plan, label, pixels: image.pixels, mask: image.mask, imageWidth };
}

function joined(parts: readonly AmplifierPart[], name: string, notes: readonly string[]): Picture {
  const image = joinAmplifiers(parts, name);
  return { ...image, origin: { x: 0, y: 0, fullHeight: image.height }, notes: [...notes, ...image.notes] };
}

function readOne(bytes: Uint8Array, candidate: Candidate, name: string): Picture {
  const { plane, notes } = planeOf(candidate.shape);
  const image = readImage(bytes, candidate.hdu, plane, name);
  const { width, height } = image;
  const told = [...notes, ...image.notes];
  const amplifiers = chipOfOneImage(planned(candidate), name);
  if (amplifiers !== null) {
    const parts = amplifiers.map((plan) => part(plan, image, width, sectionText(plan.data)));
    return joined(parts, name, [...told, `${parts.length} amplifier sections were joined`]);
  }
  const trim = trimmedSection(planned(candidate));
  if (trim === null) return { ...image, origin: { x: 0, y: 0, fullHeight: height }, levels: [], notes: told };
  const { section, keyword } = trim;
  return {
    ...cropInPlace(image, width, section),
    width: section.width,
    height: section.height,
    origin: { x: section.x, y: section.y, fullHeight: height },
    levels: [],
    notes: [
      ...told,
      `only ${keyword} ${sectionText(section)} was read, the rest is overscan: pixels count from its corner`,
    ],
  };
}

function readChip(bytes: Uint8Array, chip: ChipPlan, candidates: readonly Candidate[], name: string): Picture {
  const notes: string[] = [];
  const parts = chip.members.map(({ image, part: plan }) => {
    const candidate = candidates.find((each) => each.hdu.index === image);
    if (candidate === undefined) throw new RangeError(`chip plan names image ${image}, which is not there`);
    const read = readImage(bytes, candidate.hdu, 0, name);
    notes.push(...read.notes);
    return part(plan, read, read.width, `[${image}]`);
  });
  const members = chip.members.map((member) => member.image).join(', ');
  return joined(parts, name, [
    `extensions ${members} are parts of one chip and were joined by their DETSEC`,
    ...new Set(notes),
  ]);
}

/** INHERIT = F: the primary header does not speak for the extension. Absent: it does, for want of anything better. */
function headersFor(hdu: Hdu, list: HduList): Header[] {
  const primary = list.hdus[0].header;
  return hdu.index === 0 || valueOf(hdu.header, 'INHERIT') === false ? [hdu.header] : [hdu.header, primary];
}

/** Saturation moves with the zero levels and gains of joined amplifiers; the lowest counts. */
function saturation(facts: FrameFacts, levels: JoinedImage['levels']): FrameFacts['saturationAdu'] {
  const told = facts.saturationAdu;
  if (told === null || levels.length === 0) return told;
  return { ...told, value: Math.min(...levels.map(({ zero, factor }) => (told.value - zero) * factor)) };
}

/**
 * A frame from the bytes of a FITS file: the largest two-dimensional image, or the one of `extension` (0 = primary);
 * amplifiers of one chip are joined and overscan is left out. The caller hands `bytes` over: the frame's pixels stand in
 * the same memory where their type allows.
 */
export function frameFromFits(bytes: Uint8Array, name: string, extension?: number): Frame {
  const list = readHdus(bytes, name);
  const found = imagesOf(list, name);
  const chip = extension === undefined ? chipOfExtensions(found.images.map(planned), name) : null;
  const { image, notes } =
    extension !== undefined
      ? { image: namedImage(list, found, extension, name), notes: [] }
      : chip !== null
        ? { image: found.images.find((each) => each.hdu.index === chip.members[0].image) ?? found.images[0], notes: [] }
        : largestImage(list, found, name);
  const picture = chip === null ? readOne(bytes, image, name) : readChip(bytes, chip, found.images, name);
  const headers = headersFor(image.hdu, list);
  const told = readFacts(headers);
  const verdict = judgeMosaic(headers, told.facts, picture, image.shape.planes);
  const { width, height, pixels, mask } = picture;
  return {
    name: extension === undefined ? name : `${name}[${extension}]`,
    width,
    height,
    pixels: ndarray(pixels, [height, width]),
    mask,
    facts: { ...verdict.facts, saturationAdu: saturation(verdict.facts, picture.levels) },
    mosaic: verdict.mosaic,
    notes: [...list.notes, ...notes, ...image.hdu.header.notes, ...picture.notes, ...told.notes, ...verdict.notes],
  };
}
