import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { encodeEmptyPrimary, encodeExtension, encodeFits, joinHdus } from '../../src/fits/encode.ts';
import { encodeFitsTiled } from '../../src/fits/encodeTiles.ts';
import { readHdus } from '../../src/fits/hdu.ts';
import { noise, starLike } from './samplePixels.ts';

/** Sound small files, and ways to damage them. */

export interface Seed {
  readonly name: string;
  readonly bytes: Uint8Array;
  /** Bytes where header cards begin. */
  readonly cards: readonly number[];
}

const W = 19;
const H = 11;
const N = W * H;
const FIXTURES = fileURLToPath(new URL('../fixtures/fits/', import.meta.url));

function seed(name: string, bytes: Uint8Array): Seed {
  const cards = readHdus(bytes, name).hdus.flatMap(({ header }) =>
    Array.from({ length: (header.end - header.offset) / 80 }, (_, i) => header.offset + 80 * i),
  );
  return { name, bytes, cards };
}

const u16 = starLike(new Uint16Array(N), W);
const i16 = starLike(new Int16Array(N), W);
const gaps = starLike(new Float32Array(N), W).map((value, i) => (i % 9 === 0 ? NaN : value));
const image = (
  pixels: Uint16Array | Int16Array,
): { pixels: Uint16Array | Int16Array; width: number; height: number } => ({ pixels, width: W, height: H });

export const SEEDS: readonly Seed[] = [
  seed(
    'u16',
    encodeFits({
      ...image(u16),
      cards: [
        { keyword: 'FOCALLEN', value: 800 },
        { keyword: 'OBJECT', value: "Bel's field / n" },
      ],
    }),
  ),
  seed(
    'i16-scaled',
    encodeFits({
      ...image(i16),
      cards: [
        { keyword: 'BLANK', value: 1000 },
        { keyword: 'DATASEC', value: '[2:18,1:11]' },
      ],
    }),
  ),
  seed('f32', encodeFits({ pixels: gaps, width: W, height: H, cards: [] })),
  seed(
    'i32',
    encodeFits({ pixels: noise(new Int32Array(N), -2147483648, 2147483647), width: W, height: H, cards: [] }),
  ),
  seed('f64', encodeFits({ pixels: noise(new Float64Array(N), -1e9, 1e9), width: W, height: H, cards: [] })),
  seed(
    'cube',
    encodeFits({ pixels: noise(new Uint16Array(3 * N), 0, 65535), width: W, height: H, planes: 3, cards: [] }),
  ),
  seed(
    'several',
    joinHdus([
      encodeEmptyPrimary([]),
      encodeExtension({ ...image(u16), cards: [] }),
      encodeExtension({ ...image(i16), cards: [] }),
    ]),
  ),
  ...(['RICE_1', 'GZIP_1', 'GZIP_2'] as const).flatMap((codec) => [
    seed(`u16-${codec}`, encodeFitsTiled({ ...image(u16), codec, cards: [] })),
    seed(`i16-${codec}`, encodeFitsTiled({ ...image(i16), codec, tileWidth: 8, tileHeight: 4, cards: [] })),
  ]),
  seed('f32-GZIP_2', encodeFitsTiled({ pixels: gaps, width: W, height: H, codec: 'GZIP_2', cards: [] })),
  ...readdirSync(FIXTURES)
    .filter((name) => name.endsWith('.fz'))
    .map((name) => seed(name, new Uint8Array(readFileSync(FIXTURES + name)))),
];

const VALUES = [
  '-1',
  '0',
  '1',
  '2',
  '3',
  '8',
  '16',
  '-32',
  '-64',
  '64',
  '17',
  '1.5',
  '999999999',
  '2147483647',
  '2147483648',
  '4294967296',
  '9007199254740993',
  '-9223372036854775808',
  '1E308',
  '1E999',
  "'16'",
  "'x'",
  "'open",
  'T',
  'F',
  'NaN',
  '',
  '/',
  '32768,0',
  '3.2768D4',
  "'RICE_1'",
  "'GZIP_2'",
  "'[1:5,1:5]'",
  "'&'",
];
const KEYWORDS = [
  'NAXIS',
  'NAXIS1',
  'NAXIS2',
  'NAXIS3',
  'BITPIX',
  'PCOUNT',
  'GCOUNT',
  'TFIELDS',
  'TFORM1',
  'ZNAXIS1',
  'ZTILE1',
  'ZTILE2',
  'ZBITPIX',
  'ZCMPTYPE',
  'ZVAL1',
  'ZVAL2',
  'ZBLANK',
  'ZSCALE',
  'ZQUANTIZ',
  'ZDITHER0',
  'THEAP',
  'BZERO',
  'BSCALE',
  'BLANK',
  'END',
  'CONTINUE',
  'COMMENT',
  'SIMPLE',
  'GROUPS',
  'DATASEC',
  'DETSEC',
  'toString',
  'HIERARCH',
];

export type Damage =
  | { readonly kind: 'byte'; readonly at: number; readonly value: number }
  | { readonly kind: 'bit'; readonly at: number; readonly value: number }
  | { readonly kind: 'int'; readonly at: number; readonly value: number }
  | { readonly kind: 'cardValue'; readonly at: number; readonly value: string }
  | { readonly kind: 'cardKeyword'; readonly at: number; readonly value: string }
  | { readonly kind: 'cardText'; readonly at: number; readonly value: string }
  | { readonly kind: 'swap'; readonly at: number; readonly value: number }
  | { readonly kind: 'cut'; readonly at: number }
  | { readonly kind: 'remove'; readonly at: number; readonly value: number }
  | { readonly kind: 'insert'; readonly at: number; readonly value: number };

/** A place as a share of what there is, so that it holds for every seed. */
const at = fc.noBias(fc.nat(999_999)).map((part) => part / 1_000_000);
const tick = (kind: Damage['kind'], value?: fc.Arbitrary<unknown>): fc.Arbitrary<Damage> =>
  fc.record({ kind: fc.constant(kind), at, ...(value && { value }) }) as fc.Arbitrary<Damage>;

export const anyDamage: fc.Arbitrary<Damage> = fc.oneof(
  { weight: 4, arbitrary: tick('byte', fc.nat(255)) },
  { weight: 4, arbitrary: tick('bit', fc.nat(7)) },
  { weight: 2, arbitrary: tick('int', fc.oneof(fc.integer(), fc.constantFrom(-1, 0, 1, 0x7fffffff))) },
  { weight: 8, arbitrary: tick('cardValue', fc.oneof(fc.constantFrom(...VALUES), fc.string({ maxLength: 20 }))) },
  { weight: 3, arbitrary: tick('cardKeyword', fc.constantFrom(...KEYWORDS)) },
  { weight: 1, arbitrary: tick('cardText', fc.string({ maxLength: 80, unit: 'binary' })) },
  { weight: 1, arbitrary: tick('swap', at) },
  { weight: 2, arbitrary: tick('cut') },
  { weight: 1, arbitrary: tick('remove', fc.constantFrom(1, 2, 80, 2880)) },
  { weight: 1, arbitrary: tick('insert', fc.constantFrom(1, 2, 80, 2880)) },
);

function write(bytes: Uint8Array, offset: number, text: string, length: number): void {
  const padded = text.padEnd(length).slice(0, length);
  for (let i = 0; i < length && offset + i < bytes.length; i++) bytes[offset + i] = padded.charCodeAt(i) & 0xff;
}

/** One damage done to a copy. */
export function damaged(bytes: Uint8Array, cards: readonly number[], damage: Damage): Uint8Array {
  const out = bytes.slice();
  const place = Math.floor(damage.at * out.length);
  const card = cards[Math.floor(damage.at * cards.length)];
  switch (damage.kind) {
    case 'byte':
      out[place] = damage.value;
      return out;
    case 'bit':
      out[place] ^= 1 << damage.value;
      return out;
    case 'int':
      if (place + 4 <= out.length) new DataView(out.buffer).setInt32(place & ~3, damage.value);
      return out;
    case 'cardValue':
      write(out, card + 8, `= ${damage.value}`, 72);
      return out;
    case 'cardKeyword':
      write(out, card, damage.value, 8);
      return out;
    case 'cardText':
      write(out, card, damage.value, 80);
      return out;
    case 'swap': {
      const other = cards[Math.floor(damage.value * cards.length)];
      const kept = out.slice(card, card + 80);
      out.copyWithin(card, other, other + 80);
      out.set(kept, other);
      return out;
    }
    case 'cut':
      return out.slice(0, place);
    case 'remove': {
      const from = damage.value >= 80 ? place - (place % 80) : place;
      const shorter = new Uint8Array(Math.max(0, out.length - damage.value));
      shorter.set(out.subarray(0, Math.min(from, shorter.length)));
      if (from < shorter.length) shorter.set(out.subarray(from + damage.value), from);
      return shorter;
    }
    case 'insert': {
      const from = damage.value >= 80 ? place - (place % 80) : place;
      const longer = new Uint8Array(out.length + damage.value);
      longer.set(out.subarray(0, from));
      longer.set(out.subarray(from), from + damage.value);
      return longer;
    }
  }
}
