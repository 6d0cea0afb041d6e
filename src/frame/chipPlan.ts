import { EXIT, UserError } from '../errors.ts';
import { type Header, valueOf } from '../fits/header.ts';
import type { ImageShape } from '../fits/image.ts';
import { numberOf } from './angles.ts';
import { isInside, overlap, type Section, sectionFrom, sectionText } from './sections.ts';

/** Which parts of which images make one chip, as DATASEC, TRIMSEC, BIASSEC and DETSEC say. */

export interface PartPlan {
  readonly data: Section;
  readonly place: Section;
  readonly bias: Section | null;
  readonly gain: number | null;
}

/** One image of the file, as far as planning needs it. */
export interface PlannedImage {
  readonly index: number;
  readonly header: Header;
  readonly shape: ImageShape;
}

export interface ChipPlan {
  readonly members: readonly { readonly image: number; readonly part: PartPlan }[];
}

function sectionCard(header: Header, keyword: string): Section | null {
  const value = valueOf(header, keyword);
  return typeof value === 'string' ? sectionFrom(value) : null;
}

/** A section card that lies inside the image; null otherwise. */
function innerSection(header: Header, keyword: string, { width, height }: ImageShape): Section | null {
  const section = sectionCard(header, keyword);
  return section !== null && isInside(section, width, height) ? section : null;
}

const whole = ({ width, height }: ImageShape): Section => ({ x: 0, y: 0, width, height, flipX: false, flipY: false });

function gainOf(header: Header): number | null {
  const gain = numberOf(valueOf(header, 'GAIN') ?? '');
  return gain !== null && gain > 0 ? gain : null;
}

/** DETSEC counts unbinned pixels: brought to pixels of the file by the ratio of sizes. Null when no whole binning fits. */
function binned(detsec: Section, data: Section): Section | null {
  const bx = detsec.width / data.width;
  const by = detsec.height / data.height;
  if (!Number.isInteger(bx) || !Number.isInteger(by)) return null;
  return {
    ...detsec,
    x: Math.floor(detsec.x / bx),
    y: Math.floor(detsec.y / by),
    width: data.width,
    height: data.height,
  };
}

/**
 * Images of several extensions that are parts of one chip (each with its DETSEC, side by side). Null when the file holds
 * no such parts: no DETSEC, several chips (CCDNAME), or the same place again and again.
 */
export function chipOfExtensions(images: readonly PlannedImage[], name: string): ChipPlan | null {
  const withPlace = images.filter((image) => sectionCard(image.header, 'DETSEC') !== null);
  const chips = new Set(withPlace.map((image) => String(valueOf(image.header, 'CCDNAME') ?? '')));
  if (withPlace.length < 2 || chips.size !== 1) return null;
  const places = new Set(withPlace.map((image) => String(valueOf(image.header, 'DETSEC'))));
  if (places.size < withPlace.length) return null;
  const members = withPlace.map((image) => {
    const { header, shape } = image;
    const data = innerSection(header, 'DATASEC', shape) ?? innerSection(header, 'TRIMSEC', shape) ?? whole(shape);
    const detsec = sectionCard(header, 'DETSEC') ?? whole(shape);
    const place = binned(detsec, data);
    if (place === null)
      throw new UserError(
        `${name}[${image.index}]: DETSEC ${sectionText(detsec)} and DATASEC ${sectionText(data)} do not fit together; name one part with FILE[n]`,
        EXIT.unreadableInput,
      );
    return {
      image: image.index,
      part: { data, place, bias: innerSection(header, 'BIASSEC', shape), gain: gainOf(header) },
    };
  });
  for (let i = 0; i < members.length; i++) {
    for (let j = i + 1; j < members.length; j++) {
      if (!overlap(members[i].part.place, members[j].part.place)) continue;
      throw new UserError(
        `${name}: the parts in extensions ${members[i].image} and ${members[j].image} overlap by their DETSEC; name one of them with FILE[n]`,
        EXIT.unreadableInput,
      );
    }
  }
  return { members };
}

/** Numbered sections of amplifiers that share one image: DATASEC1, DATASEC2, ... or TSEC11, TSEC12, ... */
const FAMILIES = [
  ['DATASEC', 'BIASSEC', 'GAIN'],
  ['TRIMSEC', 'BIASSEC', 'GAIN'],
  ['TSEC', 'BSEC', 'GTGAIN'],
  ['DSEC', 'BSEC', 'GTGAIN'],
] as const;

/** Lower ends of the distinct ranges along one axis, each with its place once what lies between is taken out; null if they overlap. */
function packedStarts(ranges: readonly (readonly [number, number])[]): Map<number, number> | null {
  const distinct = [...new Map(ranges.map(([start, length]) => [start, length]))].sort((a, b) => a[0] - b[0]);
  const places = new Map<number, number>();
  let next = 0;
  let end = -1;
  for (const [start, length] of distinct) {
    if (start < end || ranges.some(([other, size]) => other === start && size !== length)) return null;
    places.set(start, next);
    next += length;
    end = start + length;
  }
  return places;
}

/** Amplifiers side by side in one image, their overscan between or beside them. Null when the header names fewer than two. */
export function chipOfOneImage(image: PlannedImage, name: string): PartPlan[] | null {
  const { header, shape } = image;
  for (const [dataKey, biasKey, gainKey] of FAMILIES) {
    const suffixes = [...header.cards.keys()].flatMap((key) => {
      const suffix = key.startsWith(dataKey) ? key.slice(dataKey.length) : '';
      return /^\d{1,2}$/.test(suffix) && sectionCard(header, key) !== null ? [suffix] : [];
    });
    if (suffixes.length < 2) continue;
    const refuse = (why: string): UserError =>
      new UserError(
        `${name}: the ${suffixes.length} amplifier sections ${dataKey}n ${why}; trim and join the frame first`,
        EXIT.unreadableInput,
      );
    const sections = suffixes.map((suffix) => innerSection(header, dataKey + suffix, shape));
    if (!sections.every((section) => section !== null)) throw refuse('reach beyond the image');
    const xs = packedStarts(sections.map(({ x, width }) => [x, width]));
    const ys = packedStarts(sections.map(({ y, height }) => [y, height]));
    if (xs === null || ys === null) throw refuse('do not stand in rows and columns');
    return sections.map((data, i) => ({
      data: { ...data, flipX: false, flipY: false },
      place: { ...data, x: xs.get(data.x) ?? 0, y: ys.get(data.y) ?? 0, flipX: false, flipY: false },
      bias: innerSection(header, biasKey + suffixes[i], shape),
      gain: numberOf(valueOf(header, gainKey + suffixes[i]) ?? ''),
    }));
  }
  return null;
}

/** The light-sensitive part of a single image with overscan: TRIMSEC, else DATASEC; null when it is the whole image. */
export function trimmedSection({ header, shape }: PlannedImage): { section: Section; keyword: string } | null {
  for (const keyword of ['TRIMSEC', 'DATASEC']) {
    const section = innerSection(header, keyword, shape);
    if (section === null) continue;
    if (section.width === shape.width && section.height === shape.height) return null;
    return { section: { ...section, flipX: false, flipY: false }, keyword };
  }
  return null;
}
