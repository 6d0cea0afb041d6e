// How fast a check is: `npm run bench` (after a build; about five minutes, on a quiet machine).
// The whole process of `check --no-history --quick` beside source-extractor in the same run, one command after the other; stage
// times; growth with pixels, stars and subs. Prints the tables, and puts them into README.md and the plot into samples/speed.svg.
// STARPLUMB_BENCH_FRAMES names a folder with f26.fits and f61.fits; without it frames like them are drawn.
// STARPLUMB_BENCH_ROUNDS: rounds of the comparison (9).
import { spawnSync } from 'node:child_process';
import { existsSync, linkSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { drawFrame, sizeOf } from './frames.mjs';
import { exponent, growthPlot } from './plot.mjs';
import { inTurn, median, middleOf, run } from './run.mjs';

const root = fileURLToPath(new URL('../..', import.meta.url));
const rounds = Number(process.env.STARPLUMB_BENCH_ROUNDS ?? 9);
const folder = mkdtempSync(join(tmpdir(), 'starplumb-bench-'));
process.on('exit', () => rmSync(folder, { recursive: true, force: true }));
process.on('SIGINT', () => process.exit(130));
const say = (text) => process.stderr.write(`${text}\n`);

const check = (frames, ...more) => [
  ...[process.execPath, join(root, 'dist', 'cli.js'), 'check', ...frames],
  ...['--no-history', '--out', join(folder, 'report'), ...more],
];
const quick = (frames) => check(frames, '--quick');

let drawn = 0;
function draw(megapixels, stars) {
  const { width, height } = sizeOf(megapixels);
  const path = join(folder, `drawn-${++drawn}.fits`);
  drawFrame(path, { width, height, stars, seed: 20260101 });
  return path;
}

/** The frame under so many names: one file, so that 30 subs need no more disk than one. */
function copies(path, count) {
  const names = [path];
  while (names.length < count) {
    const name = join(folder, `sub-${++drawn}.fits`);
    try {
      linkSync(path, name);
    } catch {
      writeFileSync(name, readFileSync(path));
    }
    names.push(name);
  }
  return names;
}

function benchFrame(name, megapixels, stars) {
  const given = join(process.env.STARPLUMB_BENCH_FRAMES ?? folder, name);
  return existsSync(given) ? given : draw(megapixels, stars);
}

/** The anchor with its usual settings: 3 sigma, 5x5 filter, deblending, one thread. */
function anchorCommand(frame) {
  const [list, settings] = ['columns.param', 'settings.conf'].map((name) => join(folder, name));
  const shared = '/usr/share/source-extractor';
  const columns = ['NUMBER', 'X_IMAGE', 'Y_IMAGE', 'FWHM_IMAGE', 'ELONGATION', 'THETA_IMAGE', 'FLUX_AUTO', 'FLAGS'];
  writeFileSync(list, `${columns.join('\n')}\n`);
  writeFileSync(
    settings,
    [
      ...['CATALOG_NAME /dev/null', 'CATALOG_TYPE ASCII_HEAD', `PARAMETERS_NAME ${list}`, 'DETECT_MINAREA 5'],
      ...['DETECT_THRESH 3', 'ANALYSIS_THRESH 3', 'FILTER Y', `FILTER_NAME ${shared}/gauss_2.5_5x5.conv`],
      ...['DEBLEND_NTHRESH 32', 'DEBLEND_MINCONT 0.005', 'CLEAN Y', 'CLEAN_PARAM 1', 'MASK_TYPE CORRECT'],
      ...['PHOT_AUTOPARAMS 2.5, 3.5', 'SATUR_LEVEL 60000', 'PIXEL_SCALE 1.46', 'SEEING_FWHM 4', 'BACK_SIZE 64'],
      ...['BACK_FILTERSIZE 3', 'BACKPHOTO_TYPE GLOBAL', 'CHECKIMAGE_TYPE NONE', 'MEMORY_PIXSTACK 1000000'],
      ...[`STARNNW_NAME ${shared}/default.nnw`, 'VERBOSE_TYPE QUIET', 'WRITE_XML N', 'NTHREADS 1\n'],
    ].join('\n'),
  );
  return ['source-extractor', frame, '-c', settings];
}

const anchor = spawnSync('source-extractor', ['--version']).status === 0;
if (!anchor) say('source-extractor is not installed: no comparison, only our own times.');

say('drawing frames ...');
const f26 = benchFrame('f26.fits', 26, 3000);
const f61 = benchFrame('f61.fits', 61, 12_000);

say(`26 and 61 megapixels, ${rounds} rounds each ...`);
const of26 = inTurn(
  {
    ...(anchor && { 'source-extractor': anchorCommand(f26) }),
    'one sub': quick([f26]),
    'three subs': quick(copies(f26, 3)),
  },
  rounds,
);
const of61 = inTurn({ ...(anchor && { 'source-extractor': anchorCommand(f61) }), 'one sub': quick([f61]) }, rounds);
say('the full report of three subs ...');
const full = run(check(copies(f26, 3)));

say('stages ...');
const stageRuns = Array.from({ length: 5 }, () => {
  const { stdout } = spawnSync(process.execPath, [join(root, 'scripts', 'bench', 'stages.mjs'), f26], {
    encoding: 'utf8',
  });
  return JSON.parse(stdout);
});
const stages = Object.keys(stageRuns[0]).map((name) => [name, median(stageRuns.map((times) => times[name]))]);
const start = median(Array.from({ length: 5 }, () => run([process.execPath, '-e', '0']).wallMs));

function grow(what, sizes, framesOf) {
  return sizes.map((size) => {
    say(`growth: ${size} ${what} ...`);
    const frames = framesOf(size);
    const runs = Array.from({ length: 3 }, () => run(quick(frames)));
    for (const frame of frames) if (frame.startsWith(folder) && frame !== f26 && frame !== f61) rmSync(frame);
    return { size, ...middleOf(runs) };
  });
}

const growth = {
  pixels: grow('megapixels', [6, 26, 61, 102], (size) => [draw(size, 3000)]),
  stars: grow('stars', [300, 1000, 3000, 10_000, 40_000], (size) => [draw(26, size)]),
  subs: grow('subs', [1, 3, 10, 30], (size) => copies(f26, size)),
};
writeFileSync(
  join(root, 'samples', 'speed.svg'),
  growthPlot([
    { title: 'Pixels (3000 stars)', unit: 'megapixels', points: growth.pixels },
    { title: 'Stars (26 megapixels)', unit: 'stars drawn', points: growth.stars },
    { title: 'Subs (26 megapixels)', unit: 'subs', points: growth.subs },
  ]),
);

const ms = (value) => value.toFixed(0);
const row = (what, name, { wallMs, cpuMs, rssMb, wallRatio, cpuRatio }) =>
  `| ${what} | ${name} | ${ms(wallMs)} | ${ms(cpuMs)} | ${anchor ? wallRatio.toFixed(2) : '-'} | ${anchor ? cpuRatio.toFixed(2) : '-'} | ${ms(rssMb)} |`;
const rowsOf = (what, results) => Object.entries(results).map(([name, result]) => row(what, name, result));
const text = [
  '| frame | program | wall ms | CPU ms | wall ratio | CPU ratio | peak MB |',
  '|---|---|---|---|---|---|---|',
  ...rowsOf('26 MP', of26),
  ...rowsOf('61 MP', of61),
  '',
  `The full report of three 26-megapixel subs, whole-field fit and page included, takes ${(full.wallMs / 1000).toFixed(1)} s and ${ms(full.rssMb)} MB.`,
  `Times grow as pixels^${exponent(growth.pixels).toFixed(2)}, stars^${exponent(growth.stars).toFixed(2)}, subs^${exponent(growth.subs).toFixed(2)}.`,
  `One 26-megapixel sub, ms: start of Node ${ms(start)}, ${stages.map(([name, time]) => `${name} ${ms(time)}`).join(', ')}`,
  '(stages one after another in one thread, all code compiled as it first runs; the program keeps compiled code).',
  'Variables that make Node itself do more at its start (NODE_EXTRA_CA_CERTS and such) are left out; STARPLUMB_BENCH_NODE=own keeps them.',
  `Medians of ${rounds} rounds in turn; ${cpus()[0]?.model.trim() ?? 'unknown processor'}, ${cpus().length} processors, Node ${process.version}.`,
].join('\n');
console.log(text);

const readme = join(root, 'README.md');
const before = readFileSync(readme, 'utf8');
const between = /(<!-- speed: written by npm run bench -->\n)[\s\S]*?(\n<!-- end of speed -->)/;
if (between.test(before))
  writeFileSync(
    readme,
    before.replace(
      between,
      (_, open, close) =>
        `${open}\n${text}\n\n![Time of a quick check against pixels, stars and subs](samples/speed.svg)\n${close}`,
    ),
  );
