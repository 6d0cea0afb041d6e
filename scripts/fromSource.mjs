// Modules of src for scripts that need more than the program: bundled to a temporary file and imported.
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'esbuild';

/** Everything that the named modules (paths below src, without .ts) export. */
export async function fromSource(...modules) {
  const root = fileURLToPath(new URL('..', import.meta.url));
  const folder = mkdtempSync(join(tmpdir(), 'starplumb-source-'));
  const outfile = join(folder, 'source.mjs');
  try {
    await build({
      stdin: { contents: modules.map((name) => `export * from './src/${name}.ts';`).join('\n'), resolveDir: root },
      outfile,
      bundle: true,
      format: 'esm',
      platform: 'node',
      external: ['sharp', 'better-sqlite3'],
      banner: {
        js: "import { createRequire as requireFor } from 'node:module';\nconst require = requireFor(import.meta.url);",
      },
      logLevel: 'warning',
    });
    return await import(pathToFileURL(outfile).href);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
