// Reads a million damaged FITS files (or as many as told) and holds every accepted one against cfitsio.
// usage: node scripts/fuzz-fits.mjs [RUNS] [SEED]     (about 30 minutes a million; needs Debian's python3 and libcfitsio10).
// STARPLUMB_KEEP=FOLDER keeps the files that differ silently.
import { spawnSync } from 'node:child_process';

const [runs = '1000000', seed = '1'] = process.argv.slice(2);
/** One part after another, each from a seed of its own: figures come as it goes, and a part can be repeated alone. */
const PART = 50_000;
const VITEST = ['node_modules/vitest/vitest.mjs', 'run', '--config', 'test/vitest.config.ts', 'test/fits/fuzz.test.ts'];

let failed = false;
for (let done = 0, part = Number(seed); done < Number(runs); done += PART, part++) {
  const count = Math.min(PART, Number(runs) - done);
  console.log(`part of seed ${part}: ${count} files`);
  const env = { ...process.env, STARPLUMB_FUZZ_RUNS: String(count), STARPLUMB_FUZZ_SEED: String(part) };
  failed = spawnSync(process.execPath, VITEST, { env, stdio: 'inherit' }).status !== 0 || failed;
}
process.exitCode = failed ? 1 : 0;
