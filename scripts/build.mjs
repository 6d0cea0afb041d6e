// Builds dist/ from src/: TypeScript to JavaScript, then the files tsc does not know of.
import { execFileSync } from 'node:child_process';
import { chmodSync, cpSync, existsSync, rmSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
rmSync(`${root}dist`, { recursive: true, force: true });
execFileSync(process.execPath, [`${root}node_modules/typescript/bin/tsc`, '-p', root], { stdio: 'inherit' });
if (existsSync(`${root}src/report/fonts`)) {
  cpSync(`${root}src/report/fonts`, `${root}dist/report/fonts`, { recursive: true });
}
if (existsSync(`${root}dist/cli.js`)) chmodSync(`${root}dist/cli.js`, 0o755);
