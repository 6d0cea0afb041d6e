import { type Column, tableColumns } from './columns.ts';
import { damaged, shown } from './damage.ts';
import { DITHERINGS, type Dithering } from './dither.ts';
import type { Hdu } from './hdu.ts';
import { type Header, valueOf } from './header.ts';
import { RICE_BYTES } from './rice.ts';
import { integerCard, numberCard, safeProduct, textCard } from './structure.ts';

/** Tiled image compression as the header describes it: FITS 4.0, section 10.1. */

export type TileCodec = 'RICE' | 'GZIP_1' | 'GZIP_2' | 'NOCOMPRESS';

export interface TileLayout {
  readonly hdu: Hdu;
  /** Of the image that was compressed: ZBITPIX. */
  readonly bitpix: number;
  readonly axes: readonly number[];
  readonly tile: readonly number[];
  /** Tiles along each axis. */
  readonly tiles: readonly number[];
  readonly codec: TileCodec;
  readonly riceBytes: number;
  readonly riceBlock: number;
  readonly columns: {
    readonly compressed: Column | undefined;
    readonly gzip: Column | undefined;
    readonly uncompressed: Column | undefined;
    readonly scale: Column | undefined;
    readonly zero: Column | undefined;
    readonly blank: Column | undefined;
  };
  /** ZSCALE and ZZERO where they are cards rather than columns. */
  readonly scale: number | undefined;
  readonly zero: number | undefined;
  /** True where tiles of a floating-point image hold integers to be scaled. */
  readonly quantised: boolean;
  readonly dithering: Dithering;
  /** ZDITHER0. */
  readonly ditherSeed: number;
  /** The card that names the integer without value in an integer image: ZBLANK, else BLANK. */
  readonly blankKeyword: string;
  /** ZBLANK of quantised floating-point tiles: the integer that stands for NaN. */
  readonly quantisedBlank: number | undefined;
  /** Byte in the file where the table's heap begins, and where it ends. */
  readonly heap: number;
  readonly heapEnd: number;
  readonly notes: readonly string[];
}

const CODECS: Record<string, TileCodec> = {
  RICE_1: 'RICE',
  RICE_ONE: 'RICE',
  GZIP_1: 'GZIP_1',
  GZIP_2: 'GZIP_2',
  NOCOMPRESS: 'NOCOMPRESS',
};
const BITPIX = [8, 16, 32, 64, -32, -64];
/** FITS 4.0, table 37. */
const RICE_BLOCKS = [16, 32];
/** Cards whose absence means something, so that one without value must be told. */
const OPTIONAL_CARDS = [
  'ZSCALE',
  'ZZERO',
  'ZBLANK',
  'ZQUANTIZ',
  'ZDITHER0',
  'ZTILE1',
  'ZTILE2',
  'ZTILE3',
  'ZVAL1',
  'ZVAL2',
  'THEAP',
];
const ANY = Number.MAX_SAFE_INTEGER;

function codecOf(header: Header, name: string): TileCodec {
  const type = textCard(header, 'ZCMPTYPE');
  const codec = type === undefined ? undefined : CODECS[type];
  if (codec !== undefined) return codec;
  const at = header.cards.get('ZCMPTYPE')?.offset;
  const short = shown(type).replaceAll("'", '');
  if (type === undefined) throw damaged(name, `header at byte ${header.offset} has no ZCMPTYPE card`);
  throw damaged(
    name,
    `the image is compressed with ${short} (card ZCMPTYPE, byte ${at}), which is not read here; unpack it first, e.g. 'funpack FILE'`,
  );
}

/** Far more parameters than any coding has. */
const MAX_PARAMETERS = 9;

/** Parameters of the coding: ZNAMEn says which, ZVALn how much. */
function parameter(header: Header, wanted: string, absent: number, allowed: readonly number[], name: string): number {
  for (let i = 1; i <= MAX_PARAMETERS; i++) {
    if (textCard(header, `ZNAME${i}`) !== wanted) continue;
    const value = integerCard(header, `ZVAL${i}`, { from: 0, to: ANY }, name);
    if (allowed.includes(value)) return value;
    throw damaged(
      name,
      `card ZVAL${i} (byte ${header.cards.get(`ZVAL${i}`)?.offset}): ${wanted} is ${value}, expected ${allowed.join(' or ')}`,
    );
  }
  return absent;
}

function ditheringOf(header: Header, name: string): Dithering {
  const method = textCard(header, 'ZQUANTIZ') ?? 'NO_DITHER';
  const known = DITHERINGS.find((each) => each === method);
  if (known !== undefined) return known;
  if (method === 'NONE') return 'NO_DITHER';
  throw damaged(
    name,
    `card ZQUANTIZ (byte ${header.cards.get('ZQUANTIZ')?.offset}) holds ${shown(method)}, expected ${DITHERINGS.join(', ')}`,
  );
}

function readAxes(header: Header, name: string): { axes: number[]; tile: number[]; tiles: number[] } {
  const naxis = integerCard(header, 'ZNAXIS', { from: 0, to: 999 }, name);
  const each = (keyword: string, from: number, absent?: (axis: number) => number): number[] =>
    Array.from({ length: naxis }, (_, axis) =>
      integerCard(header, `${keyword}${axis + 1}`, { from, to: ANY, ...(absent && { absent: absent(axis) }) }, name),
    );
  const axes = each('ZNAXIS', 0);
  // Without ZTILEn a tile is a row.
  const tile = each('ZTILE', 1, (axis) => (axis === 0 ? Math.max(1, axes[0]) : 1));
  return { axes, tile, tiles: axes.map((length, axis) => Math.ceil(length / tile[axis])) };
}

const optional = (value: number | bigint | undefined): number | undefined =>
  value === undefined ? undefined : Number(value);

/** Reads and checks what the header of a tile-compressed image says. */
export function tiledLayout(hdu: Hdu, name: string): TileLayout {
  const { header } = hdu;
  const bitpix = integerCard(header, 'ZBITPIX', { from: -64, to: 64 }, name);
  if (!BITPIX.includes(bitpix))
    throw damaged(
      name,
      `card ZBITPIX (byte ${header.cards.get('ZBITPIX')?.offset}) holds ${bitpix}, expected one of ${BITPIX.join(', ')}`,
    );
  const { axes, tile, tiles } = readAxes(header, name);
  const count = safeProduct(tiles, `extension ${hdu.index}`, name);
  if (hdu.axes.length !== 2)
    throw damaged(name, `extension ${hdu.index} is a table of ${hdu.axes.length} axes, expected 2`);
  if (hdu.axes[1] < count)
    throw damaged(name, `extension ${hdu.index} has ${hdu.axes[1]} rows of compressed data, its tiles need ${count}`);
  const codec = codecOf(header, name);
  const all = tableColumns(hdu, name);
  const column = (wanted: string): Column | undefined => all.find((each) => each.name === wanted && each.repeat > 0);
  const scale = numberCard(header, 'ZSCALE', name);
  const zero = numberCard(header, 'ZZERO', name);
  const columns = {
    compressed: column('COMPRESSED_DATA'),
    gzip: column('GZIP_COMPRESSED_DATA'),
    uncompressed: column('UNCOMPRESSED_DATA'),
    scale: column('ZSCALE'),
    zero: column('ZZERO'),
    blank: column('ZBLANK'),
  };
  const tableBytes = hdu.axes[0] * hdu.axes[1];
  const theap = integerCard(header, 'THEAP', { from: tableBytes, to: ANY, absent: tableBytes }, name);
  const [hasScale, hasZero] = [
    columns.scale !== undefined || scale !== undefined,
    columns.zero !== undefined || zero !== undefined,
  ];
  const dithering = bitpix < 0 ? ditheringOf(header, name) : 'NO_DITHER';
  if (bitpix < 0 && (hasScale !== hasZero || (dithering !== 'NO_DITHER' && !hasScale)))
    throw damaged(
      name,
      `extension ${hdu.index} holds scaled floating-point tiles, but its ${hasScale ? 'ZZERO' : 'ZSCALE'} is missing`,
    );
  const empty = OPTIONAL_CARDS.filter((keyword) => header.cards.get(keyword)?.value === null);
  const nameless = Array.from({ length: MAX_PARAMETERS }, (_, i) => i + 1).filter(
    (i) => valueOf(header, `ZVAL${i}`) !== undefined && valueOf(header, `ZNAME${i}`) === undefined,
  );
  const notes = [
    ...nameless.map((i) => `card ZVAL${i} has no ZNAME${i} that says what it is, and was ignored`),
    ...empty.map(
      (keyword) => `card ${keyword} (byte ${header.cards.get(keyword)?.offset}) has no value and was taken as absent`,
    ),
    ...(valueOf(header, 'ZMASKCMP') !== undefined
      ? ['pixels without value, kept in a compressed mask (ZMASKCMP), are not marked']
      : []),
    ...(bitpix > 0 && (hasScale || hasZero)
      ? ['ZSCALE and ZZERO mean nothing for integer pixels and were ignored']
      : []),
  ];
  return {
    hdu,
    bitpix,
    axes,
    tile,
    tiles,
    codec,
    riceBytes: codec === 'RICE' ? parameter(header, 'BYTEPIX', 4, RICE_BYTES, name) : 4,
    riceBlock: codec === 'RICE' ? parameter(header, 'BLOCKSIZE', 32, RICE_BLOCKS, name) : 32,
    columns,
    scale: optional(scale),
    zero: optional(zero),
    quantised: bitpix < 0 && hasScale,
    dithering,
    ditherSeed: integerCard(header, 'ZDITHER0', { from: 1, to: 10_000, absent: 1 }, name),
    blankKeyword: valueOf(header, 'ZBLANK') !== undefined && bitpix > 0 ? 'ZBLANK' : 'BLANK',
    quantisedBlank: bitpix < 0 ? optional(numberCard(header, 'ZBLANK', name)) : undefined,
    heap: hdu.dataOffset + theap,
    heapEnd: hdu.dataOffset + hdu.dataLength,
    notes,
  };
}
