import { type Column, ELEMENT_BYTES } from './columns.ts';
import { damaged } from './damage.ts';
import { dequantise } from './dither.ts';
import { gunzipAtMost, unshuffled } from './gzipTile.ts';
import { type RiceArray, riceDecode } from './rice.ts';
import type { StoredArray } from './scaling.ts';
import { storedValues } from './stored.ts';
import type { TileLayout } from './tileLayout.ts';

/**
 * No codec packs tighter: deflate reaches 1032 to 1 (RFC 1951: 258 bytes from 2 bits), and integers may stand for doubles.
 * A header that promises more than this of its compressed bytes lies.
 */
const MAX_RATIO = 2 * 1032;

/** Where a tile's bytes stand in the file, and how they are to be read. */
interface Packed {
  readonly start: number;
  readonly length: number;
  readonly form: 'compressed' | 'gzip' | 'plain';
  readonly column: Column;
}

/** A tile in the plane asked for: its row in the table and its box. */
interface Tile {
  readonly row: number;
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  /** Values in the whole tile, which may reach over several planes, and where ours begin in it. */
  readonly values: number;
  readonly skip: number;
}

function emptyArray(bitpix: number, length: number): StoredArray {
  if (bitpix === 8) return new Uint8Array(length);
  if (bitpix === 16) return new Int16Array(length);
  if (bitpix === 32) return new Int32Array(length);
  if (bitpix === 64) return new BigInt64Array(length);
  return bitpix === -32 ? new Float32Array(length) : new Float64Array(length);
}

/** Place of a plane among the tiles along the third and further axes. */
function planePlace(layout: TileLayout, plane: number): { row: number; depth: number; skip: number } {
  const { axes, tile, tiles } = layout;
  let rest = plane;
  let row = 0;
  let rowStride = tiles[0] * tiles[1];
  let depth = 1;
  let skip = 0;
  for (let axis = 2; axis < axes.length; axis++) {
    const index = rest % axes[axis];
    rest = Math.floor(rest / axes[axis]);
    const tileIndex = Math.floor(index / tile[axis]);
    skip += (index - tileIndex * tile[axis]) * depth;
    depth *= Math.min(tile[axis], axes[axis] - tileIndex * tile[axis]);
    row += tileIndex * rowStride;
    rowStride *= tiles[axis];
  }
  return { row, depth, skip };
}

function tilesOfPlane(layout: TileLayout, plane: number): Tile[] {
  const { axes, tile, tiles } = layout;
  const place = planePlace(layout, plane);
  const list: Tile[] = [];
  for (let ty = 0; ty < tiles[1]; ty++) {
    for (let tx = 0; tx < tiles[0]; tx++) {
      const x = tx * tile[0];
      const y = ty * tile[1];
      const width = Math.min(tile[0], axes[0] - x);
      const height = Math.min(tile[1], axes[1] - y);
      const row = place.row + ty * tiles[0] + tx;
      list.push({ row, x, y, width, height, values: width * height * place.depth, skip: width * height * place.skip });
    }
  }
  return list;
}

/** Reads the compressed tiles of one plane. */
class TileReader {
  readonly bytes: Uint8Array;
  readonly view: DataView;
  readonly layout: TileLayout;
  readonly name: string;

  constructor(bytes: Uint8Array, layout: TileLayout, name: string) {
    this.bytes = bytes;
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    this.layout = layout;
    this.name = name;
  }

  rowStart(row: number): number {
    return this.layout.hdu.dataOffset + row * this.layout.hdu.axes[0];
  }

  wrong(tile: Tile, what: string): Error {
    return damaged(
      this.name,
      `compressed tile ${tile.row + 1} (rows ${tile.y} to ${tile.y + tile.height - 1}, table row at byte ${this.rowStart(tile.row)}): ${what}`,
    );
  }

  /** Count and byte offset in the file of a variable-length cell. */
  cell(column: Column, tile: Tile): Omit<Packed, 'form'> {
    const at = this.rowStart(tile.row) + column.offset;
    const elementBytes = ELEMENT_BYTES[column.type] ?? 1;
    if (column.variable === null) return { start: at, length: column.repeat * elementBytes, column };
    const wide = column.variable === 'Q';
    const count = wide ? Number(this.view.getBigInt64(at)) : this.view.getInt32(at);
    const offset = wide ? Number(this.view.getBigInt64(at + 8)) : this.view.getInt32(at + 4);
    const length = count * elementBytes;
    const start = this.layout.heap + offset;
    const end = start + length;
    if (count < 0 || offset < 0 || !(end <= this.layout.heapEnd))
      throw this.wrong(
        tile,
        `its descriptor points to bytes ${start} to ${end}, outside the heap that ends at byte ${this.layout.heapEnd}`,
      );
    if (count > 0 && end > this.bytes.length)
      throw this.wrong(
        tile,
        `the file ends at byte ${this.bytes.length}, before the tile's data: still being written, or cut short?`,
      );
    return { start, length, column };
  }

  locate(tile: Tile): Packed {
    const { compressed, gzip, uncompressed } = this.layout.columns;
    for (const [form, column] of [
      ['compressed', compressed],
      ['gzip', gzip],
      ['plain', uncompressed],
    ] as const) {
      const cell = column === undefined ? null : this.cell(column, tile);
      if (cell !== null && cell.length > 0) return { ...cell, form };
    }
    throw this.wrong(tile, 'no column holds data for it');
  }

  number(column: Column | undefined, tile: Tile): number | undefined {
    if (column === undefined) return undefined;
    const at = this.rowStart(tile.row) + column.offset;
    if (column.type === 'D') return this.view.getFloat64(at);
    if (column.type === 'E') return this.view.getFloat32(at);
    if (column.type === 'K') return Number(this.view.getBigInt64(at));
    if (column.type === 'J') return this.view.getInt32(at);
    if (column.type === 'I') return this.view.getInt16(at);
    if (column.type === 'B') return this.view.getUint8(at);
    throw this.wrong(tile, `column ${column.name} has the format ${column.type}, expected a number`);
  }

  /** Big-endian values of a tile turned to native ones; their width follows from the length. */
  values(tile: Tile, raw: Uint8Array, asFloat: boolean, shuffle: boolean): StoredArray {
    const itemsize = raw.length / tile.values;
    const { bitpix } = this.layout;
    // Writers store 16-bit pixels as 32-bit integers too; of 64-bit pixels, narrower values are another image's.
    const exact = asFloat || bitpix === 64;
    if (![1, 2, 4, 8].includes(itemsize) || (exact && itemsize * 8 !== Math.abs(bitpix)))
      throw this.wrong(
        tile,
        `inflates to ${raw.length} bytes, which its ${tile.values} pixels of ${bitpix} bits (ZBITPIX) cannot be`,
      );
    const bytes = shuffle && itemsize > 1 ? unshuffled(raw, itemsize) : raw;
    return storedValues(bytes, 0, tile.values, asFloat ? this.layout.bitpix : 8 * itemsize);
  }

  unpackRice(tile: Tile, source: Uint8Array): RiceArray {
    const { riceBytes, riceBlock } = this.layout;
    const n = tile.values;
    const out = riceBytes === 1 ? new Uint8Array(n) : riceBytes === 2 ? new Int16Array(n) : new Int32Array(n);
    const problem = riceDecode(source, out, riceBlock);
    if (problem !== null) throw this.wrong(tile, `Rice decoding failed: ${problem}`);
    return out;
  }

  unpack(tile: Tile, packed: Packed): StoredArray {
    const { layout } = this;
    const source = this.bytes.subarray(packed.start, packed.start + packed.length);
    const lossless = packed.form !== 'compressed' || !layout.quantised;
    const asFloat = layout.bitpix < 0 && lossless;
    // Copied: values are turned to native order in place, and two descriptors may share their bytes.
    if (packed.form === 'plain' || layout.codec === 'NOCOMPRESS')
      return this.values(tile, source.slice(), asFloat, false);
    if (packed.form === 'compressed' && layout.codec === 'RICE') {
      if (asFloat)
        throw this.wrong(
          tile,
          'Rice coding holds integers only, but no ZSCALE says how they become floating-point pixels',
        );
      return this.unpackRice(tile, source);
    }
    const raw = gunzipAtMost(source, 8 * tile.values);
    if (raw === null)
      throw this.wrong(tile, `gzip data at byte ${packed.start} are damaged or hold more than the tile's pixels`);
    return this.values(tile, raw, asFloat, packed.form === 'compressed' && layout.codec === 'GZIP_2');
  }

  /** Values of a tile as the compressed image stored them (ZBITPIX), dequantised where need be. */
  decode(tile: Tile): StoredArray {
    const { layout } = this;
    const packed = this.locate(tile);
    const values = this.unpack(tile, packed);
    if (!layout.quantised || packed.form !== 'compressed') return values;
    const scale = this.number(layout.columns.scale, tile) ?? layout.scale ?? 1;
    const zero = this.number(layout.columns.zero, tile) ?? layout.zero ?? 0;
    if (values instanceof BigInt64Array)
      throw this.wrong(tile, 'holds 64-bit integers, expected at most 32-bit ones for scaled pixels');
    const target = layout.bitpix === -32 ? new Float32Array(tile.values) : new Float64Array(tile.values);
    const row = tile.row + layout.ditherSeed - 1;
    const blank = this.number(layout.columns.blank, tile) ?? layout.quantisedBlank;
    dequantise(values, target, { scale, zero, blank, dithering: layout.dithering, row });
    return target;
  }
}

/** Copies a tile into its box. False when a value does not fit the image's integer type. */
function place(values: StoredArray, tile: Tile, out: StoredArray, imageWidth: number): boolean {
  const sameType = values.constructor === out.constructor;
  let fits = true;
  for (let row = 0; row < tile.height; row++) {
    const from = tile.skip + row * tile.width;
    const to = (tile.y + row) * imageWidth + tile.x;
    if (sameType) {
      // Same element type on both sides, which the union cannot express.
      (out as Int32Array).set((values as Int32Array).subarray(from, from + tile.width), to);
      continue;
    }
    for (let i = 0; i < tile.width; i++) {
      const value = values[from + i];
      if (out instanceof BigInt64Array) out[to + i] = BigInt(value);
      else {
        out[to + i] = Number(value);
        fits &&= out[to + i] === Number(value);
      }
    }
  }
  return fits;
}

/** One plane of a tile-compressed image in its stored (ZBITPIX) type. */
export function readTiles(bytes: Uint8Array, layout: TileLayout, plane: number, name: string): StoredArray {
  const [width, height] = layout.axes;
  const reader = new TileReader(bytes, layout, name);
  const tableEnd = layout.hdu.dataOffset + layout.hdu.axes[0] * layout.hdu.axes[1];
  if (tableEnd > bytes.length)
    throw damaged(
      name,
      `file ends at byte ${bytes.length} inside the table of compressed tiles (to byte ${tableEnd}): still being written, or cut short?`,
    );
  const tiles = tilesOfPlane(layout, plane);
  // Tiles may share bytes, but hardly: the file's own length bounds what they hold.
  const packedBytes = Math.min(
    bytes.length,
    tiles.reduce((sum, tile) => sum + reader.locate(tile).length, 0),
  );
  const values = tiles.reduce((sum, tile) => sum + tile.values, 0);
  const promised = (values * Math.abs(layout.bitpix)) / 8;
  if (promised > packedBytes * MAX_RATIO)
    throw damaged(
      name,
      `header promises ${promised} bytes of pixels, more than its ${packedBytes} compressed bytes can hold`,
    );
  const out = emptyArray(layout.bitpix, width * height);
  for (const tile of tiles) {
    const decoded = reader.decode(tile);
    if (!place(decoded, tile, out, width))
      throw reader.wrong(tile, `holds values beyond the ${layout.bitpix}-bit integers that ZBITPIX promises`);
  }
  return out;
}
