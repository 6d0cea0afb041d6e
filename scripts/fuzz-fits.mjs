// Reads a million damaged FITS files (or as many as told) and holds a sample of the accepted ones against cfitsio.
// usage: node scripts/fuzz-fits.mjs [RUNS] [SEED]     (about 4 minutes a million; needs Debian's python3 and libcfitsio10)
import { spawnSync } from 'node:child_process';

const [runs = '1000000', seed = '1'] = process.argv.slice(2);
const env = { ...process.env, STARPLUMB_FUZZ_RUNS: runs, STARPLUMB_FUZZ_SEED: seed };
const run = spawnSync('npx', ['vitest', 'run', '--config', 'test/vitest.config.ts', 'test/fits/fuzz.test.ts'], {
  env,
  stdio: 'inherit',
});
process.exitCode = run.status ?? 1;
