import { gzipSync } from 'node:zlib';
import type { CardToWrite } from './cardText.ts';
import {
  BLOCK_LENGTH,
  checkImage,
  encodeEmptyPrimary,
  encodeHeader,
  type ImageToWrite,
  joinHdus,
  storageOf,
  writePixels,
} from './encode.ts';
import { shuffled } from './gzipTile.ts';
import { riceEncode } from './riceEncode.ts';
import { storedValues } from './stored.ts';

/** Tile-compressed images, lossless: FITS 4.0, section 10.1. */

export interface TiledImageToWrite extends ImageToWrite {
  readonly codec: 'RICE_1' | 'GZIP_1' | 'GZIP_2';
  /** Pixels of a tile; whole rows when absent. */
  readonly tileWidth?: number;
  readonly tileHeight?: number;
}

const RICE_BLOCK = 32;
const DESCRIPTOR_BYTES = 8;

/** The big-endian bytes of one box. */
function boxBytes(
  stored: Uint8Array,
  itemsize: number,
  width: number,
  box: { x: number; y: number; w: number; h: number },
): Uint8Array {
  const row = box.w * itemsize;
  const out = new Uint8Array(row * box.h);
  for (let r = 0; r < box.h; r++) {
    const from = ((box.y + r) * width + box.x) * itemsize;
    out.set(stored.subarray(from, from + row), r * row);
  }
  return out;
}

function packTile(bytes: Uint8Array, bitpix: number, codec: TiledImageToWrite['codec']): Uint8Array {
  const itemsize = Math.abs(bitpix) / 8;
  if (codec === 'GZIP_1') return gzipSync(bytes);
  if (codec === 'GZIP_2') return gzipSync(shuffled(bytes, itemsize));
  const values = storedValues(bytes, 0, bytes.length / itemsize, bitpix);
  if (values instanceof Uint8Array || values instanceof Int16Array || values instanceof Int32Array)
    return riceEncode(values, RICE_BLOCK);
  throw new RangeError('RICE_1 codes integers of up to 32 bits only');
}

function tableCards(
  image: TiledImageToWrite,
  tile: { width: number; height: number },
  rows: number,
  heap: number,
  most: number,
): CardToWrite[] {
  const { bitpix, bzero } = storageOf(image.pixels);
  return [
    { keyword: 'XTENSION', value: 'BINTABLE', comment: 'compressed image' },
    { keyword: 'BITPIX', value: 8 },
    { keyword: 'NAXIS', value: 2 },
    { keyword: 'NAXIS1', value: DESCRIPTOR_BYTES },
    { keyword: 'NAXIS2', value: rows },
    { keyword: 'PCOUNT', value: heap },
    { keyword: 'GCOUNT', value: 1 },
    { keyword: 'TFIELDS', value: 1 },
    { keyword: 'TTYPE1', value: 'COMPRESSED_DATA' },
    { keyword: 'TFORM1', value: `1PB(${most})` },
    { keyword: 'ZIMAGE', value: true },
    { keyword: 'ZCMPTYPE', value: image.codec },
    { keyword: 'ZBITPIX', value: bitpix },
    { keyword: 'ZNAXIS', value: 2 },
    { keyword: 'ZNAXIS1', value: image.width },
    { keyword: 'ZNAXIS2', value: image.height },
    { keyword: 'ZTILE1', value: tile.width },
    { keyword: 'ZTILE2', value: tile.height },
    ...(image.codec === 'RICE_1'
      ? [
          { keyword: 'ZNAME1', value: 'BLOCKSIZE' },
          { keyword: 'ZVAL1', value: RICE_BLOCK },
          { keyword: 'ZNAME2', value: 'BYTEPIX' },
          { keyword: 'ZVAL2', value: bitpix / 8 },
        ]
      : []),
    ...(bitpix < 0 ? [{ keyword: 'ZQUANTIZ', value: 'NONE' }] : []),
    ...(bzero === 0
      ? []
      : [
          { keyword: 'BSCALE', value: 1 },
          { keyword: 'BZERO', value: bzero },
        ]),
    ...image.cards,
  ];
}

/** A FITS file whose first extension holds the image compressed in tiles. */
export function encodeFitsTiled(image: TiledImageToWrite): Uint8Array {
  checkImage(image);
  if (image.planes !== undefined && image.planes !== 1)
    throw new RangeError(`planes is ${image.planes}, tiled images are written with one`);
  const { bitpix } = storageOf(image.pixels);
  const itemsize = Math.abs(bitpix) / 8;
  const stored = new Uint8Array(image.pixels.byteLength);
  writePixels(image.pixels, stored);
  const tile = { width: image.tileWidth ?? image.width, height: image.tileHeight ?? 1 };
  const packed: Uint8Array[] = [];
  for (let y = 0; y < image.height; y += tile.height) {
    for (let x = 0; x < image.width; x += tile.width) {
      const box = { x, y, w: Math.min(tile.width, image.width - x), h: Math.min(tile.height, image.height - y) };
      packed.push(packTile(boxBytes(stored, itemsize, image.width, box), bitpix, image.codec));
    }
  }
  const heap = packed.reduce((sum, each) => sum + each.length, 0);
  const most = packed.reduce((max, each) => Math.max(max, each.length), 0);
  const table = DESCRIPTOR_BYTES * packed.length;
  const data = new Uint8Array(Math.ceil((table + heap) / BLOCK_LENGTH) * BLOCK_LENGTH);
  const view = new DataView(data.buffer);
  let offset = 0;
  packed.forEach((bytes, row) => {
    view.setInt32(DESCRIPTOR_BYTES * row, bytes.length);
    view.setInt32(DESCRIPTOR_BYTES * row + 4, offset);
    data.set(bytes, table + offset);
    offset += bytes.length;
  });
  return joinHdus([encodeEmptyPrimary([]), encodeHeader(tableCards(image, tile, packed.length, heap, most)), data]);
}
