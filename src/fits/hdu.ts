import { damaged } from './damage.ts';
import { BLOCK_LENGTH } from './encode.ts';
import { type Header, latin1, readHeader, valueOf } from './header.ts';
import { integerCard, safeProduct, textCard } from './structure.ts';

export type HduKind = 'image' | 'tiled-image' | 'table' | 'random-groups' | 'other';

/** One header and where its data stand. */
export interface Hdu {
  /** 0 is the primary HDU. */
  readonly index: number;
  readonly kind: HduKind;
  readonly header: Header;
  /** Of the data as stored: 8, 16, 32, 64, -32 or -64. */
  readonly bitpix: number;
  /** NAXIS1, NAXIS2, ... as stored (of a tiled image: of its table). */
  readonly axes: readonly number[];
  /** Byte in the file where the data begin. */
  readonly dataOffset: number;
  /** Bytes the header promises, without padding. */
  readonly dataLength: number;
}

export interface HduList {
  readonly hdus: readonly Hdu[];
  /** What was odd about the file as a whole. */
  readonly notes: readonly string[];
  /** Why the walk ended before the end of the file; null when it did not. */
  readonly broken: Error | null;
}

const BITPIX = [8, 16, 32, 64, -32, -64];
const MAX_AXES = 999;
/** Far more extensions than any camera writes. */
const MAX_HDUS = 10_000;

/** Kinds of file that people hand over by mistake, told by their first bytes. */
const OTHER_FILES: readonly (readonly [string, string])[] = [
  ['\x1f\x8b', 'gzip'],
  ['\x89PNG', 'PNG'],
  ['II*\0', 'TIFF'],
  ['MM\0*', 'TIFF'],
  ['\xff\xd8\xff', 'JPEG'],
  ['PK\x03\x04', 'zip'],
  ['BZh', 'bzip2'],
  ['\xfd7zXZ', 'xz'],
  ['<?xml', 'XML'],
  ['<!', 'HTML'],
];

function notFits(bytes: Uint8Array, name: string): Error {
  if (bytes.length === 0) return damaged(name, "the file is empty (0 bytes); a FITS file begins with 'SIMPLE  ='");
  const start = latin1(bytes, 0, Math.min(16, bytes.length));
  const kind = OTHER_FILES.find(([magic]) => start.startsWith(magic))?.[1];
  return damaged(
    name,
    `not a FITS file: byte 0 should begin 'SIMPLE  ='${kind === undefined ? '' : `, this looks like ${kind}`}`,
  );
}

function kindOf(header: Header, primary: boolean, axes: readonly number[]): HduKind {
  if (primary)
    return axes.length > 1 && axes[0] === 0 && valueOf(header, 'GROUPS') === true ? 'random-groups' : 'image';
  const extension = textCard(header, 'XTENSION');
  if (extension === 'IMAGE' || extension === 'IUEIMAGE') return 'image';
  if (extension === 'BINTABLE' || extension === 'A3DTABLE')
    return valueOf(header, 'ZIMAGE') === true ? 'tiled-image' : 'table';
  return extension === 'TABLE' ? 'table' : 'other';
}

/** The HDU whose header begins at byte `offset`. */
export function readHdu(bytes: Uint8Array, offset: number, index: number, name: string): Hdu {
  const header = readHeader(bytes, offset, name);
  const bitpix = integerCard(header, 'BITPIX', { from: -64, to: 64 }, name);
  if (!BITPIX.includes(bitpix))
    throw damaged(
      name,
      `card BITPIX (byte ${header.cards.get('BITPIX')?.offset}) holds ${bitpix}, expected one of ${BITPIX.join(', ')}`,
    );
  const naxis = integerCard(header, 'NAXIS', { from: 0, to: MAX_AXES }, name);
  const axes = Array.from({ length: naxis }, (_, axis) =>
    integerCard(header, `NAXIS${axis + 1}`, { from: 0, to: Number.MAX_SAFE_INTEGER }, name),
  );
  const kind = kindOf(header, index === 0, axes);
  const plain = index === 0 && kind !== 'random-groups';
  const count = (keyword: string, absent: number): number =>
    plain ? absent : integerCard(header, keyword, { from: 0, to: Number.MAX_SAFE_INTEGER, absent }, name);
  const what = `header at byte ${offset}`;
  const lengths = kind === 'random-groups' ? axes.slice(1) : axes;
  const values = naxis === 0 ? 0 : safeProduct(lengths, what, name);
  const itemsize = Math.abs(bitpix) / 8;
  const dataLength = safeProduct([itemsize, count('GCOUNT', 1), count('PCOUNT', 0) + values], what, name);
  return { index, kind, header, bitpix, axes, dataOffset: header.end, dataLength };
}

/** Byte where the HDU after this one begins. */
export function nextOffset(hdu: Hdu): number {
  return hdu.dataOffset + Math.ceil(hdu.dataLength / BLOCK_LENGTH) * BLOCK_LENGTH;
}

const asError = (error: unknown): Error => (error instanceof Error ? error : new Error(String(error)));

/** Walks the HDUs of a file. The first must be sound; what follows a sound one and is no extension is noted and left. */
export function readHdus(bytes: Uint8Array, name: string): HduList {
  if (latin1(bytes, 0, Math.min(6, bytes.length)) !== 'SIMPLE') throw notFits(bytes, name);
  const hdus: Hdu[] = [readHdu(bytes, 0, 0, name)];
  const notes: string[] = [];
  if (valueOf(hdus[0].header, 'SIMPLE') !== true)
    notes.push('SIMPLE is not T: the file says itself that it departs from the standard');
  for (let offset = nextOffset(hdus[0]); offset < bytes.length && hdus.length < MAX_HDUS; ) {
    const start = latin1(bytes, offset, Math.min(offset + 8, bytes.length));
    if (start !== 'XTENSION') {
      notes.push(`${bytes.length - offset} bytes from byte ${offset} on belong to no HDU and were not read`);
      break;
    }
    try {
      const hdu = readHdu(bytes, offset, hdus.length, name);
      hdus.push(hdu);
      offset = nextOffset(hdu);
    } catch (error) {
      const broken = asError(error);
      return { hdus, notes: [...notes, `extension ${hdus.length} cannot be read: ${broken.message}`], broken };
    }
  }
  return { hdus, notes, broken: null };
}
