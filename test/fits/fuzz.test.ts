import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import fc from 'fast-check';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { UserError } from '../../src/errors.ts';
import { inflateFits } from '../../src/fits/gzipFile.ts';
import { readHdus } from '../../src/fits/hdu.ts';
import { valueOf } from '../../src/fits/header.ts';
import { readImage } from '../../src/fits/image.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { imagesOf, largestImage } from '../../src/frame/chooseImage.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { needPython, PYTHON, skipUnless } from '../support/testData.ts';
import { anyDamage, type Damage, damaged, SEEDS } from './damage.ts';

/** 20,000 in ordinary runs; scripts/fuzz-fits.mjs asks for a million. */
const RUNS = Number(process.env['STARPLUMB_FUZZ_RUNS'] ?? 20_000);
const SEED = Number(process.env['STARPLUMB_FUZZ_SEED'] ?? 20261125);
const MINUTES = Math.max(2, RUNS / 5_000);
/** No input of a few kilobytes may keep the reader longer (anchors of issue: 5 s; these inputs are small). */
const SLOWEST_MS = 5_000;
/** Accepted damaged files held against cfitsio. */
const COMPARED = Math.min(20_000, Math.ceil(RUNS / 20));
const SCRIPT = fileURLToPath(new URL('../../scripts/reference/cfitsio_pixels.py', import.meta.url));

const cases = fc.record({
  seed: fc.constantFrom(...SEEDS),
  damages: fc.array(anyDamage, { minLength: 1, maxLength: 3 }),
});

function apply(bytes: Uint8Array, cards: readonly number[], damages: readonly Damage[]): Uint8Array {
  return damages.reduce(
    (all, damage) => damaged(all, cards.filter((card) => card + 80 <= all.length).concat(0), damage),
    bytes,
  );
}

/** What a refusal must name: a byte, a card, or the part of the file. */
const NAMES_A_PLACE =
  /byte|card|row|extension|no two-dimensional image|overlap|fill only|amplifier|inflated|the file has/;

const tally = { accepted: 0, refused: 0, slowestMs: 0, mostBytes: 0 };
/** Accepted damaged files, a spread sample of them. */
const kept: Uint8Array[] = [];

function keep(bytes: Uint8Array): void {
  tally.accepted++;
  if (kept.length < COMPARED) kept.push(bytes);
  // Later ones replace earlier ones now and then, so that the whole run is sampled.
  else if (tally.accepted % 7 === 0) kept[tally.accepted % COMPARED] = bytes;
}

/** Pixels of a frame in bytes, for the limit on memory. */
function frameBytes(frame: ReturnType<typeof frameFromFits>): number {
  return frame.pixels.data.byteLength + (frame.mask?.byteLength ?? 0);
}

it(`${RUNS} damaged files are read or refused in words: no other exception, none slow`, {
  timeout: MINUTES * 60_000,
}, () => {
  fc.assert(
    fc.property(cases, ({ seed, damages }) => {
      const bytes = apply(seed.bytes, seed.cards, damages);
      const started = performance.now();
      try {
        const frame = frameFromFits(bytes.slice(), seed.name);
        tally.mostBytes = Math.max(tally.mostBytes, frameBytes(frame));
        keep(bytes);
      } catch (error) {
        if (!(error instanceof UserError)) throw error;
        if (!NAMES_A_PLACE.test(error.message) && !error.message.includes('not a FITS file'))
          throw new Error(`names no place: ${error.message}`);
        tally.refused++;
      }
      tally.slowestMs = Math.max(tally.slowestMs, performance.now() - started);
      return tally.slowestMs < SLOWEST_MS;
    }),
    { numRuns: RUNS, seed: SEED },
  );
  console.log(
    `fuzz: ${tally.accepted} accepted, ${tally.refused} refused, slowest ${tally.slowestMs.toFixed(1)} ms, largest frame ${tally.mostBytes} bytes`,
  );
  expect(tally.accepted).toBeGreaterThan(RUNS / 20);
  expect(tally.refused).toBeGreaterThan(RUNS / 20);
});

it('damaged .gz files are read or refused in words', { timeout: MINUTES * 60_000 }, async () => {
  const packed = SEEDS.slice(0, 7).map((seed) => ({ seed, bytes: new Uint8Array(gzipSync(seed.bytes)) }));
  await fc.assert(
    fc.asyncProperty(
      fc.constantFrom(...packed),
      fc.array(anyDamage, { minLength: 0, maxLength: 2 }),
      async ({ seed, bytes }, damages) => {
        const file = apply(bytes, [], damages);
        try {
          frameFromFits(await inflateFits(file, seed.name), seed.name);
        } catch (error) {
          if (!(error instanceof UserError)) throw error;
        }
      },
    ),
    { numRuns: Math.ceil(RUNS / 20), seed: SEED },
  );
});

interface OurReading {
  readonly hdu: number;
  readonly pixels: PixelArray;
  readonly mask: Uint8Array | null;
  readonly width: number;
  readonly height: number;
  /** Size of BZERO: rounding happens before it is added. */
  readonly zero: number;
  /** Whether anything odd was said. */
  readonly reported: boolean;
}

/** First plane of the image that the frame would be made of; null where only parts or sections of it would be. */
function ourReading(bytes: Uint8Array): OurReading | null {
  const list = readHdus(bytes, 'x');
  const { image, notes } = largestImage(list, imagesOf(list, 'x'), 'x');
  const data = readImage(bytes, image.hdu, 0, 'x');
  const said = [
    ...list.notes,
    ...notes.filter((note) => !note.includes('can be named as')),
    ...image.hdu.header.notes,
    ...data.notes,
  ];
  const zero = Math.abs(Number(valueOf(image.hdu.header, 'BZERO') ?? 0)) || 0;
  return { ...data, zero, hdu: image.hdu.index, reported: said.length > 0 };
}

/** Largest difference relative to the value, of pixels that both call good; Infinity where only one does. */
function difference(ours: OurReading, theirs: Float64Array): number {
  let worst = 0;
  // Read as doubles, but a single-precision image cannot hold more.
  const single = ours.pixels instanceof Float32Array;
  for (let i = 0; i < theirs.length; i++) {
    const [a, b] = [ours.mask?.[i] === 1 ? NaN : ours.pixels[i], single ? Math.fround(theirs[i]) : theirs[i]];
    // cfitsio calls infinities NaN where it looks for values without meaning.
    if (a === b || (!Number.isFinite(a) && !Number.isFinite(b))) continue;
    const relative = Math.abs(a - b) / Math.max(Math.abs(b), ours.zero, 1e-30);
    if (!(relative <= worst)) worst = Number.isNaN(relative) ? Infinity : relative;
  }
  return worst;
}

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-fuzz-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('no accepted damaged file differs silently from what cfitsio reads', { timeout: MINUTES * 60_000 }, (context) => {
  needPython(context, 'ctypes');
  skipUnless(context, kept.length > 0, 'the fuzzing before it left no accepted files');
  const readings = kept.map((bytes) => ourReading(bytes.slice()));
  const list = kept.map((bytes, i) => {
    const path = join(folder, `${i}.fits`);
    writeFileSync(path, bytes);
    return `${path}\t${readings[i]?.hdu}\t${path}.pixels`;
  });
  writeFileSync(join(folder, 'list'), list.join('\n'));
  const run = spawnSync(PYTHON, [SCRIPT, join(folder, 'list')], { encoding: 'utf8', maxBuffer: 1 << 26 });
  expect(run.status).toBe(0);
  const verdicts = run.stdout.trim().split('\n');
  expect(verdicts.length).toBe(kept.length);
  const counts: Record<string, number> = {};
  const silent: string[] = [];
  verdicts.forEach((verdict, i) => {
    const ours = readings[i];
    let word = verdict;
    if (verdict === 'ok' && ours !== null) {
      const bytes = readFileSync(join(folder, `${i}.fits.pixels`));
      const [width, height] = [Number(bytes.readBigInt64LE(0)), Number(bytes.readBigInt64LE(8))];
      const theirs = new Float64Array(bytes.buffer.slice(bytes.byteOffset + 16, bytes.byteOffset + bytes.length));
      // Single precision where 8- and 16-bit integers are scaled: two roundings.
      const same = width === ours.width && height === ours.height && difference(ours, theirs) < 4e-7;
      word = same ? 'same' : ours.reported ? 'different, reported' : 'different, silent';
      if (word === 'different, silent') silent.push(join(folder, `${i}.fits`));
    }
    counts[word] = (counts[word] ?? 0) + 1;
  });
  console.log('against cfitsio:', JSON.stringify(counts));
  if (silent.length > 0 && process.env['STARPLUMB_KEEP'] !== undefined)
    spawnSync('cp', [...silent, process.env['STARPLUMB_KEEP']]);
  expect(silent).toEqual([]);
  expect(counts['same']).toBeGreaterThan(kept.length / 4);
});
