// Draws three subs of an invented night and checks them: `npm run demo`, or `node scripts/demo.mjs` after a build.
import { spawn } from 'node:child_process';
import { readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const cli = join(root, 'dist', 'cli.js');
const scenarioFile = join(root, 'samples', 'scenarios', 'demo-night.json');
const folder = 'demo-night';
const report = join(folder, 'report');

/** Runs the program and waits; its own output goes where ours goes unless `quiet`. */
function starplumb(args, quiet = false) {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [cli, ...args], {
      stdio: ['ignore', quiet ? 'ignore' : 'inherit', 'inherit'],
    });
    child.on('error', reject);
    child.on('exit', (code) => {
      if (code === 0) resolve();
      else reject(new Error(`starplumb ${args[0]} ended with exit code ${code}`));
    });
  });
}

try {
  const started = Date.now();
  const scenario = JSON.parse(readFileSync(scenarioFile, 'utf8'));
  console.log(`Drawing ${scenario.subs.length} subs of an invented night into ${folder}/ (a few seconds) ...`);
  console.log(`  ${scenario.sentence}`);
  rmSync(folder, { recursive: true, force: true });
  await starplumb(['synth', scenarioFile, '--out', folder], true);

  const { subs } = JSON.parse(readFileSync(join(folder, 'truth.json'), 'utf8'));
  const { coma } = subs[0];
  console.log('\nWhat was drawn (the truth, which the check does not see):');
  console.log(
    `  primary tilted by ${coma.mirrorTiltArcmin.toFixed(1)} arcmin; coma tails point to ${Math.round(coma.tailDirectionDeg)} degrees`,
  );
  console.log(
    `  the cure moves every star ${Math.round(coma.starShiftPx.length)} px towards ${Math.round(coma.starShiftPx.directionDeg)} degrees`,
  );
  console.log(`  (degrees counter-clockwise from right, as the frame is shown)\n`);

  const frames = subs.map((sub) => join(folder, sub.file));
  console.log(`Checking them: starplumb check ${frames.join(' ')} --no-history --out ${report}\n`);
  await starplumb(['check', ...frames, '--no-history', '--out', report]);
  console.log(
    `\nThe report is in ${report}/: open ${join(report, 'report.html')}, or look at ${join(report, 'field.png')}.`,
  );
  console.log(`Done in ${((Date.now() - started) / 1000).toFixed(1)} s.`);
} catch (error) {
  console.error(error instanceof Error ? error.message : error);
  process.exitCode = 1;
}
