import { CARD_LENGTH } from '../fits/cardText.ts';
import { nextOffset, readHdu } from '../fits/hdu.ts';
import { findEnd, latin1, MAX_CARDS } from '../fits/header.ts';

/**
 * Whether a file that a camera program may still be writing is whole. FITS says how long it must be: header blocks and padded
 * data, HDU by HDU (FITS 4.0, sec. 3.1 and 4.4.1). PNG ends with an IEND chunk (ISO/IEC 15948, sec. 11.2.5). TIFF and gzip
 * say nothing: they count once they have not changed for a while.
 */
export type Wholeness =
  /** As long as it says it must be. */
  | { readonly state: 'whole' }
  /** Nothing tells; or only the padding is missing, which some programs never write. */
  | { readonly state: 'when-quiet' }
  /** More must come; `needs` is the length known so far to be necessary. */
  | { readonly state: 'growing'; readonly needs: number };

/** Reads at most `length` bytes from byte `offset` on; fewer at the end of the file. */
export type ReadAt = (offset: number, length: number) => Promise<Uint8Array>;

/** A header of usual length comes with the first read. */
const FIRST_READ = 8 * 2880;
/** More extensions than any camera writes. */
const MAX_HDUS = 1000;

const IEND = [0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82];

export async function wholenessOf(read: ReadAt, size: number, name: string): Promise<Wholeness> {
  if (size === 0) return { state: 'growing', needs: 1 };
  const start = await read(0, FIRST_READ);
  if (latin1(start, 0, Math.min(6, start.length)) === 'SIMPLE') return wholenessOfFits(read, start, size, name);
  if (start[0] === 0x89 && latin1(start, 1, Math.min(4, start.length)) === 'PNG') {
    const end = await read(size - IEND.length, IEND.length);
    return IEND.every((byte, i) => end[i] === byte) ? { state: 'whole' } : { state: 'growing', needs: size + 1 };
  }
  return { state: 'when-quiet' };
}

async function wholenessOfFits(read: ReadAt, start: Uint8Array, size: number, name: string): Promise<Wholeness> {
  let offset = 0;
  let image = false;
  for (let index = 0; index < MAX_HDUS; index++) {
    const header = await headerBytes(read, index === 0 ? start : null, offset, size);
    // A few bytes may begin an extension, or belong to nobody.
    if (header === null && image && size - offset < 8) return { state: 'when-quiet' };
    if (header === null) return { state: 'growing', needs: size + 1 };
    if (index > 0 && latin1(header, 0, Math.min(8, header.length)) !== 'XTENSION') {
      // What follows a whole image and is no extension does not concern us.
      return image ? { state: 'whole' } : { state: 'when-quiet' };
    }
    const hdu = hduOf(header, index, name);
    // A header that cannot be read is said by the reading, not here.
    if (hdu === null) return { state: 'when-quiet' };
    image ||= (hdu.kind === 'image' && hdu.axes.length >= 2) || hdu.kind === 'tiled-image';
    const dataEnd = offset + hdu.dataOffset + hdu.dataLength;
    const end = offset + nextOffset(hdu);
    if (size < dataEnd) return { state: 'growing', needs: end };
    if (size < end) return image ? { state: 'when-quiet' } : { state: 'growing', needs: end };
    if (size === end) return image ? { state: 'whole' } : { state: 'growing', needs: end + 1 };
    offset = end;
  }
  return { state: 'when-quiet' };
}

function hduOf(header: Uint8Array, index: number, name: string): ReturnType<typeof readHdu> | null {
  try {
    return readHdu(header, 0, index, name);
  } catch {
    return null;
  }
}

/** Bytes from `offset` on that hold a whole header; null while its END has not been written. */
async function headerBytes(
  read: ReadAt,
  first: Uint8Array | null,
  offset: number,
  size: number,
): Promise<Uint8Array | null> {
  let bytes = first ?? (await read(offset, FIRST_READ));
  for (let length = 2 * FIRST_READ; ; length *= 4) {
    const end = findEnd(bytes, 0);
    const foreign = bytes.length >= 8 && offset > 0 && latin1(bytes, 0, 8) !== 'XTENSION';
    if (end >= 0 || foreign) return bytes;
    if (offset + bytes.length >= size || bytes.length >= MAX_CARDS * CARD_LENGTH) return null;
    bytes = await read(offset, length);
  }
}
