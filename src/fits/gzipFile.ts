import { createGunzip } from 'node:zlib';
import { CARD_LENGTH } from './cardText.ts';
import { damaged } from './damage.ts';
import { BLOCK_LENGTH } from './encode.ts';
import { nextOffset, readHdu } from './hdu.ts';
import { findEnd, latin1, MAX_CARDS } from './header.ts';

/** Deflate packs no tighter: 258 bytes from 2 bits (RFC 1951). */
const MAX_RATIO = 1032;
const CHUNK = 1 << 18;
/** As large as a file may be that is read without inflating. */
const MAX_INFLATED = 2 ** 31;

export const isGzip = (bytes: Uint8Array): boolean => bytes[0] === 0x1f && bytes[1] === 0x8b;

/** Collects inflated bytes and knows from the FITS headers among them how many may follow. */
class FitsCollector {
  bytes = new Uint8Array(new ArrayBuffer(CHUNK));
  length = 0;
  /** Byte where the next header begins, as far as the headers read so far tell. */
  next = 0;
  hdus = 0;
  readonly packedLength: number;
  readonly name: string;

  constructor(packedLength: number, name: string) {
    this.packedLength = packedLength;
    this.name = name;
  }

  grow(capacity: number): void {
    if (capacity <= this.bytes.length) return;
    const grown = new Uint8Array(new ArrayBuffer(capacity));
    grown.set(this.bytes.subarray(0, this.length));
    this.bytes = grown;
  }

  /** Takes a chunk; false once all that the headers promise is there and what follows is no extension. */
  take(chunk: Uint8Array): boolean {
    for (let from = 0; from < chunk.length; ) {
      if (this.length === this.bytes.length) this.grow(Math.max(this.next + BLOCK_LENGTH, 2 * this.length));
      const part = chunk.subarray(from, from + this.bytes.length - this.length);
      this.bytes.set(part, this.length);
      this.length += part.length;
      from += part.length;
      if (!this.walk()) return false;
    }
    return true;
  }

  /** Reads the headers that have arrived. */
  walk(): boolean {
    while (this.length >= this.next + 8) {
      const start = latin1(this.bytes, this.next, this.next + 8);
      if (this.hdus === 0 && !start.startsWith('SIMPLE'))
        throw damaged(this.name, "the gzip file holds no FITS file (no 'SIMPLE  =' at its start)");
      if (this.hdus > 0 && start !== 'XTENSION') return false;
      const arrived = this.bytes.subarray(0, this.length);
      if (findEnd(arrived, this.next) < 0) {
        if (this.length - this.next > MAX_CARDS * CARD_LENGTH)
          throw damaged(this.name, `no END card after inflated byte ${this.next}`);
        return true;
      }
      const hdu = readHdu(arrived, this.next, this.hdus, this.name);
      const end = nextOffset(hdu);
      if (end > MAX_RATIO * this.packedLength)
        throw damaged(this.name, `header promises ${end} bytes, more than ${this.packedLength} bytes of gzip can hold`);
      if (end > MAX_INFLATED)
        throw damaged(this.name, `header promises ${end} bytes, more than the ${MAX_INFLATED} that can be read`);
      this.hdus++;
      this.next = end;
      this.grow(end);
    }
    return true;
  }
}

/**
 * The FITS file inside a `.gz` file. Headers are read while it inflates: no more is inflated, and no more memory taken, than
 * they promise.
 */
export async function inflateFits(packed: Uint8Array, name: string): Promise<Uint8Array> {
  const collector = new FitsCollector(packed.length, name);
  const stream = createGunzip({ chunkSize: CHUNK });
  stream.end(packed);
  try {
    for await (const chunk of stream) if (!collector.take(chunk as Uint8Array)) break;
  } catch (error) {
    if (!(error instanceof Error && 'code' in error)) throw error;
    throw damaged(
      name,
      `gzip data are damaged after ${collector.length} inflated bytes (${error.message}): still being written, or cut short?`,
      {
        cause: error,
      },
    );
  }
  return collector.bytes.subarray(0, collector.length);
}
