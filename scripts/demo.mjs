// Draws three subs of an invented night and checks them, then an invented season of checks and trends it: `npm run demo`, or
// `node scripts/demo.mjs` after a build.
// With --live: the same telescope being adjusted, on the live page.
import { spawn } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { buildSync } from 'esbuild';

if (process.argv.includes('--live')) {
  await import('./demo-live.mjs');
  process.exit();
}

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

/** Twelve weeks of checks, drawn, put into a history of their own and trended. */
async function season() {
  const history = join(folder, 'season.sqlite');
  const probe = await tell(['history', 'list', '--history', history]);
  if (probe.code !== 0) {
    console.log(`\nThe season across weeks is left out: ${probe.err.trim()}`);
    return;
  }
  const { drawSeason, drawnReport, DEMO_SEASON } = await drawing();
  const { checks, events } = drawSeason(DEMO_SEASON);
  console.log(
    `\nDrawing a season: ${checks.length} checks in ${DEMO_SEASON.weeks} weeks of autumn, kept in ${history}.`,
  );
  const [knock] = DEMO_SEASON.knocks;
  const perDegree = Math.hypot(DEMO_SEASON.perDegree.x, DEMO_SEASON.perDegree.y);
  console.log(
    `  The truth: a jump of ${Math.hypot(knock.step.x, knock.step.y).toFixed(2)} arcmin on a drive, and ${perDegree.toFixed(3)} arcmin a degree as the nights get colder.`,
  );
  for (const check of checks) {
    const place = join(folder, 'season', String(check.id));
    mkdirSync(place, { recursive: true });
    writeFileSync(join(place, 'report.json'), JSON.stringify(drawnReport(check)));
  }
  await starplumb(['history', 'import', join(folder, 'season'), '--history', history], true);
  for (const { time, text } of events)
    await starplumb(['history', 'note', text, '--time', time.slice(0, 19), '--history', history], true);
  const page = join(folder, 'season.html');
  console.log(`Does it hold? starplumb history trend --history ${history} --out ${page}\n`);
  await starplumb(['history', 'trend', '--history', history, '--out', page]);
}

/** The program's own drawing of seasons, which no command needs. */
async function drawing() {
  const { outputFiles } = buildSync({
    stdin: {
      contents: `export { drawSeason, DEMO_SEASON } from './src/stability/drawnSeason.ts';
export { drawnReport } from './src/report/drawnReport.ts';`,
      resolveDir: root,
    },
    bundle: true,
    write: false,
    format: 'esm',
    platform: 'node',
  });
  return import(`data:text/javascript;base64,${Buffer.from(outputFiles[0].contents).toString('base64')}`);
}

/** Runs the program and keeps what it says. */
function tell(args) {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [cli, ...args], { stdio: ['ignore', 'ignore', 'pipe'] });
    let err = '';
    child.stderr.on('data', (text) => {
      err += text;
    });
    child.on('error', reject);
    child.on('exit', (code) => resolve({ code, err }));
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
  await season();
  console.log(`Done in ${((Date.now() - started) / 1000).toFixed(1)} s.`);
} catch (error) {
  console.error(error instanceof Error ? error.message : error);
  process.exitCode = 1;
}
