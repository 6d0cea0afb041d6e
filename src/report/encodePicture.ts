import { createRequire } from 'node:module';
import { crc32, deflateRaw, deflateSync, type ZlibOptions, constants as zlib } from 'node:zlib';
import type { Sharp, default as SharpModule } from 'sharp';
import { indexColours } from './indexed.ts';
import type { Canvas } from './raster.ts';

/** For the page: a quarter of the PNG's size, letters still clean. */
const JPEG_QUALITY = 82;

/** sharp is loaded at the first call: it costs 30 ms. */
function sharpOf({ width, height, rgb }: Canvas): Sharp {
  const sharp = createRequire(import.meta.url)('sharp') as typeof SharpModule;
  return sharp(rgb, { raw: { width, height, channels: 3 } });
}

/** JPEG bytes of a drawn picture, colour at full resolution so that thin lines keep theirs. */
export async function encodeJpeg(canvas: Canvas): Promise<Buffer> {
  return sharpOf(canvas).jpeg({ quality: JPEG_QUALITY, chromaSubsampling: '4:4:4' }).toBuffer();
}

/**
 * PNG bytes of a drawn picture, one byte a pixel (ISO/IEC 15948). On a noisy grey frame runs compress as well as anything that
 * takes ten times as long.
 */
export async function encodePng(canvas: Canvas): Promise<Buffer> {
  const { width, height } = canvas;
  const { palette, indices } = indexColours(canvas);
  // Each line begins with its filter: none.
  const lines = Buffer.alloc((width + 1) * height);
  for (let y = 0; y < height; y++) lines.set(indices.subarray(y * width, (y + 1) * width), y * (width + 1) + 1);
  const size = Buffer.alloc(13);
  size.writeUInt32BE(width, 0);
  size.writeUInt32BE(height, 4);
  // 8 bits, indexed.
  size.set([8, 3], 8);
  return Buffer.concat([
    SIGNATURE,
    chunk('IHDR', size),
    chunk('PLTE', palette),
    chunk('IDAT', await packed(lines)),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

const PACKING: ZlibOptions = { level: 1, strategy: zlib.Z_RLE };

/** On a thread of zlib's own. */
const pack = (bytes: Uint8Array, settings: ZlibOptions): Promise<Buffer> =>
  new Promise((resolve, reject) => {
    deflateRaw(bytes, settings, (error, packed) => (error === null ? resolve(packed) : reject(error)));
  });

/** The bytes as a zlib stream (RFC 1950), packed in two halves at the same time. */
async function packed(bytes: Buffer): Promise<Buffer> {
  const middle = bytes.length >> 1;
  const [first, second] = [bytes.subarray(0, middle), bytes.subarray(middle)];
  // The first half ends between two bytes and says that more follows.
  const both = Promise.all([pack(first, { ...PACKING, finishFlush: zlib.Z_SYNC_FLUSH }), pack(second, PACKING)]);
  const sum = Buffer.alloc(4);
  sum.writeUInt32BE(adlerOfBoth(adler(first), adler(second), second.length));
  return Buffer.concat([Buffer.of(0x78, 0x01), ...(await both), sum]);
}

/** Adler-32 (RFC 1950) as zlib appends it; stored bytes cost it nothing else. */
function adler(bytes: Uint8Array): number {
  const stored = deflateSync(bytes, { level: 0 });
  return stored.readUInt32BE(stored.length - 4);
}

const ADLER_BASE = 65521;

/** Of two parts, one behind the other, from theirs. */
function adlerOfBoth(first: number, second: number, secondLength: number): number {
  const [a1, b1, a2, b2] = [first & 0xffff, first >>> 16, second & 0xffff, second >>> 16];
  const a = (a1 + a2 + ADLER_BASE - 1) % ADLER_BASE;
  const b = (b1 + b2 + (secondLength % ADLER_BASE) * (a1 + ADLER_BASE - 1)) % ADLER_BASE;
  return b * 0x10000 + a;
}

const SIGNATURE = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);

function chunk(name: string, data: Uint8Array): Buffer {
  const out = Buffer.alloc(data.length + 12);
  out.writeUInt32BE(data.length, 0);
  out.write(name, 4, 'latin1');
  out.set(data, 8);
  out.writeUInt32BE(crc32(out.subarray(4, data.length + 8)), data.length + 8);
  return out;
}
