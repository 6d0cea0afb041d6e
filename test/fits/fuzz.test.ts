import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import fc from 'fast-check';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { UserError } from '../../src/errors.ts';
import { inflateFits } from '../../src/fits/gzipFile.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { skipUnless } from '../support/testData.ts';
import { compareWithCfitsio, hasCfitsio, type Verdict } from './cfitsio.ts';
import { anyDamage, type Damage, damaged, SEEDS } from './damage.ts';

/** 20,000 in ordinary runs; scripts/fuzz-fits.mjs asks for a million. */
const RUNS = Number(process.env['STARPLUMB_FUZZ_RUNS'] ?? 20_000);
const SEED = Number(process.env['STARPLUMB_FUZZ_SEED'] ?? 20261125);
const MINUTES = Math.max(2, RUNS / 5_000);
/** No input of a few kilobytes may keep the reader longer. */
const SLOWEST_MS = 5_000;
/** Memory one of them may take: scratch of a dozen gzip streams, never what a damaged header promises. */
const MOST_MEMORY = 4e6;
/** Accepted damaged files held against cfitsio at once. */
const BATCH = 4_000;

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

let folder = '';
let withCfitsio = false;
beforeAll(() => {
  withCfitsio = hasCfitsio();
  folder = mkdtempSync(join(tmpdir(), 'starplumb-fuzz-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const tally = { accepted: 0, refused: 0, slowestMs: 0, mostBytes: 0, mostMemory: 0 };
const verdicts = new Map<Verdict, number>();
let batch: Uint8Array[] = [];

/** Holds the accepted files of the batch against cfitsio; the first that differ silently are kept for a look. */
function compareBatch(): void {
  if (batch.length === 0) return;
  compareWithCfitsio(batch, folder).forEach((verdict, i) => {
    verdicts.set(verdict, (verdicts.get(verdict) ?? 0) + 1);
    const kept = process.env['STARPLUMB_KEEP'];
    if (verdict === 'different, silent' && kept !== undefined)
      writeFileSync(join(kept, `${Date.now()}-${i}.fits`), batch[i]);
  });
  batch = [];
}

function keep(bytes: Uint8Array): void {
  tally.accepted++;
  if (!withCfitsio) return;
  batch.push(bytes);
  if (batch.length === BATCH) compareBatch();
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
      const held = process.memoryUsage().arrayBuffers;
      const started = performance.now();
      let accepted = false;
      try {
        const frame = frameFromFits(bytes.slice(), seed.name);
        tally.mostBytes = Math.max(tally.mostBytes, frameBytes(frame));
        accepted = true;
      } catch (error) {
        if (!(error instanceof UserError)) throw error;
        if (!NAMES_A_PLACE.test(error.message) && !error.message.includes('not a FITS file'))
          throw new Error(`names no place: ${error.message}`);
        tally.refused++;
      }
      tally.slowestMs = Math.max(tally.slowestMs, performance.now() - started);
      tally.mostMemory = Math.max(tally.mostMemory, process.memoryUsage().arrayBuffers - held);
      if (accepted) keep(bytes);
      return tally.slowestMs < SLOWEST_MS && tally.mostMemory < MOST_MEMORY;
    }),
    { numRuns: RUNS, seed: SEED },
  );
  console.log(
    `fuzz: ${tally.accepted} accepted, ${tally.refused} refused, slowest ${tally.slowestMs.toFixed(1)} ms, largest frame ${tally.mostBytes} bytes, most memory for one ${tally.mostMemory} bytes`,
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

it('no accepted damaged file differs silently from what cfitsio reads', { timeout: MINUTES * 60_000 }, (context) => {
  skipUnless(context, withCfitsio, 'the cfitsio library could not be loaded');
  compareBatch();
  console.log('against cfitsio:', JSON.stringify(Object.fromEntries(verdicts)));
  expect(verdicts.get('different, silent') ?? 0).toBe(0);
  expect(verdicts.get('same')).toBeGreaterThan(tally.accepted / 2);
});
