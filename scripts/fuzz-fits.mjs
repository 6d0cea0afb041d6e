// Reads a million damaged FITS files (or as many as told) and holds every accepted one against cfitsio.
// usage: node scripts/fuzz-fits.mjs [RUNS] [SEED]     (about 10 minutes a million; needs Debian's python3 and libcfitsio10).
// STARPLUMB_KEEP=FOLDER keeps the files that differ silently.
import { spawnSync } from 'node:child_process';

const [runs = '1000000', seed = '1'] = process.argv.slice(2);
const env = { ...process.env, STARPLUMB_FUZZ_RUNS: runs, STARPLUMB_FUZZ_SEED: seed };
const run = spawnSync('npx', ['vitest', 'run', '--config', 'test/vitest.config.ts', 'test/fits/fuzz.test.ts'], {
  env,
  stdio: 'inherit',
});
process.exitCode = run.status ?? 1;
