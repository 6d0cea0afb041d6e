// Star shapes on a bench frame, ours beside general-purpose programs: prints the table of the README.
// usage: node scripts/shapes-table.mjs FRAME.fits TRUTH.csv CATALOGUE.cat
// FRAME and TRUTH as drawn by the bench's make_frame.py; CATALOGUE is source-extractor's on that frame.
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { fileURLToPath } from 'node:url';
import { fromSource } from './fromSource.mjs';

const { frameFromFits, measureFrame, median, robustSigma } = await fromSource(
  'frame/fromFits',
  'measure',
  'numeric/statistics',
);

const [framePath, truthPath, cataloguePath] = process.argv.slice(2);
if (!cataloguePath) throw new Error('usage: shapes-table.mjs FRAME.fits TRUTH.csv CATALOGUE.cat');

const truth = readFileSync(truthPath, 'utf8')
  .trim()
  .split('\n')
  .filter((line) => /^[\d.]/.test(line))
  .map((line) => line.split(',').map(Number))
  .map(([x, y, flux, fwhm, elongation, thetaDeg, peak]) => ({ x, y, flux, fwhm, elongation, thetaDeg, peak }));
const CELL = 32;
const cells = new Map();
for (const star of truth) {
  const key = `${Math.floor(star.x / CELL)},${Math.floor(star.y / CELL)}`;
  cells.set(key, [...(cells.get(key) ?? []), star]);
}
function around(x, y) {
  const i = Math.floor(x / CELL);
  const j = Math.floor(y / CELL);
  return [-1, 0, 1].flatMap((v) => [-1, 0, 1].flatMap((u) => cells.get(`${i + u},${j + v}`) ?? []));
}
const nearest = (x, y) =>
  around(x, y).reduce(
    (best, s) => (Math.hypot(s.x - x, s.y - y) < (best ? Math.hypot(best.x - x, best.y - y) : 3) ? s : best),
    null,
  );
// Isolated: no other drawn star within 25 px; peak 500 to 45,000 ADU.
const isolated = (star) =>
  star.peak > 500 &&
  star.peak < 45_000 &&
  around(star.x, star.y).every((o) => o === star || Math.hypot(o.x - star.x, o.y - star.y) > 25);

const frame = frameFromFits(new Uint8Array(readFileSync(framePath)), framePath);
const shapes = measureFrame(frame).stars.shapes;
const wanted = shapes.filter((s) => {
  const star = nearest(s.x, s.y);
  return star !== null && isolated(star) && s.x > 40 && s.y > 40 && s.x < frame.width - 40 && s.y < frame.height - 40;
});
const script = fileURLToPath(new URL('reference/shapes_table.py', import.meta.url));
const others = JSON.parse(
  execFileSync('/usr/bin/python3', [script, framePath, cataloguePath], {
    input: JSON.stringify(wanted.map((s) => ({ x: s.x, y: s.y, half: 7 }))),
    maxBuffer: 1 << 28,
  }),
);
const ours = shapes.map((s) => [s.x, s.y, s.fwhm, s.sigmaMajor / s.sigmaMinor, (s.theta * 180) / Math.PI]);

function row(name, list) {
  const matched = list.map((r) => ({ r, star: nearest(r[0], r[1]) }));
  const strangers = matched.filter((m) => m.star === null).length / list.length;
  const used = matched.filter(
    (m) => m.star !== null && isolated(m.star) && wanted.some((s) => Math.hypot(s.x - m.star.x, s.y - m.star.y) < 3),
  );
  const ratio = used.map((m) => m.r[2] / m.star.fwhm);
  const middle = median(ratio);
  const x = used.map((m) => m.star.elongation - 1);
  const y = used.map((m) => m.r[3] - 1);
  const mx = x.reduce((a, b) => a + b, 0) / x.length;
  const my = y.reduce((a, b) => a + b, 0) / y.length;
  const sxx = x.reduce((sum, v) => sum + (v - mx) ** 2, 0);
  const slope = x.reduce((sum, v, i) => sum + (v - mx) * (y[i] - my), 0) / sxx;
  const rest = y.reduce((sum, v, i) => sum + (v - my - slope * (x[i] - mx)) ** 2, 0);
  const error = Math.sqrt(rest / (x.length - 2) / sxx);
  const vector = (q, deg) => {
    const e = (q * q - 1) / (q * q + 1);
    const t = (2 * deg * Math.PI) / 180;
    return [e * Math.cos(t), e * Math.sin(t)];
  };
  const away = used.flatMap((m) => {
    const a = vector(m.r[3], m.r[4]);
    const b = vector(m.star.elongation, m.star.thetaDeg);
    return [a[0] - b[0], a[1] - b[1]];
  });
  return `| ${name} | ${used.length} | ${middle.toFixed(3)} | ${((100 * robustSigma(ratio, middle)) / middle).toFixed(1)} % | ${slope.toFixed(2)} ± ${error.toFixed(2)} | ${robustSigma(away).toFixed(3)} | ${(100 * strangers).toFixed(1)} % |`;
}

console.log(
  '| program | stars | FWHM / true | scatter | slope of (elongation - 1) | scatter of e | list entries that are no star |',
);
console.log('|---|---|---|---|---|---|---|');
console.log(row('**Starplumb**', ours));
for (const name of ['source-extractor', 'sep', 'photutils moments', 'scipy']) console.log(row(name, others[name]));
console.log(`\n${cpus()[0]?.model ?? ''}, Node ${process.version}; ${JSON.stringify(others.versions)}`);
