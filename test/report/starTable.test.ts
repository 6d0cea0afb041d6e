import { spawnSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { measure } from '../../src/measure.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { runProgram } from '../../src/program.ts';
import { leftOutTable, starTable } from '../../src/report/starTable.ts';
import { csvText, ecsvText, type Table } from '../../src/report/tableText.ts';
import { measureStar, windowRadius } from '../../src/shapes/measureStar.ts';
import { drawSub, drawSubWithTruth } from '../support/draw.ts';
import { memoryWorld } from '../support/memoryEffects.ts';
import { meanAndSpread } from '../support/naive.ts';
import { drawStamp, gaussian, withNoise } from '../support/profiles.ts';
import { needPython, PYTHON } from '../support/testData.ts';

const TOOL = { tool: { name: 'starplumb', version: '1.2.3' } };
/** What a hostile header or file name may hold. */
const HOSTILE = [
  '=HYPERLINK("http://example.invalid","x")',
  '+1+1',
  '-2+3',
  '@SUM(A1)',
  ' \t=1+1',
  '＝1+1',
  'a"b,c;d',
  'x\r\n=1+1',
  '\u001b[2Jred\u001b[0m',
  '# %ECSV 1.0',
  "{evil: [1, 'two']}: &x",
  '<script>alert(1)</script>',
  'Großer Löwe 星',
];

/** The table as astropy reads it: what it holds as JSON. */
function readByAstropy(
  text: string,
  format: string,
): { columns: string[]; units: (string | null)[]; rows: unknown[][]; meta: Record<string, string> } {
  const path = join(mkdtempSync(join(tmpdir(), 'starplumb-table-')), 'table.txt');
  writeFileSync(path, text);
  const script = `
import json, sys, warnings
warnings.simplefilter('error')
from astropy.table import Table
t = Table.read(sys.argv[1], format=sys.argv[2])
print(json.dumps({'columns': t.colnames, 'units': [None if t[c].unit is None else str(t[c].unit) for c in t.colnames],
  'rows': [[v.item() if hasattr(v, 'item') else str(v) for v in row] for row in t], 'meta': dict(t.meta)}))`;
  const run = spawnSync(PYTHON, ['-c', script, path, format], { encoding: 'utf8', maxBuffer: 1 << 26 });
  expect(run.stderr).toBe('');
  return JSON.parse(run.stdout) as ReturnType<typeof readByAstropy>;
}

describe('the star table', () => {
  const { frame, drawn } = drawSubWithTruth({
    width: 900,
    height: 640,
    starCount: 150,
    seed: 7,
    name: 'night, 1/sub "a".fits',
  });
  const measurement = measure([frame, drawSub({ width: 900, height: 640, starCount: 150, seed: 7, noiseSeed: 8 })]);
  const table = starTable(measurement, TOOL);
  const at = (name: string): number => table.columns.findIndex((column) => column.name === name);

  it('has a row for each star of each sub, with an error beside every measured number', () => {
    const names = table.columns.map(({ name }) => name);
    expect(table.rows.length).toBe(measurement.frames.reduce((sum, { stars }) => sum + stars.shapes.length, 0));
    for (const name of [
      'positionErrorPx',
      'fwhmErrorPx',
      'elongationError',
      'axisErrorDeg',
      'eError',
      'coma3Error',
      'trefoil3Error',
      'fluxErrorAdu',
      'peakErrorAdu',
    ]) {
      expect(names).toContain(name);
      for (const row of table.rows) expect(table.columns[at(name)]?.value(row)).toBeGreaterThan(0);
    }
  });

  it('gives the places the stars were drawn at: 0-based, an integer is a centre, x the column, y the stored row', () => {
    const value = (name: string, row: (typeof table.rows)[number]): number =>
      Number(table.columns[at(name)]?.value(row));
    const misses = measurement.frames[0]?.stars.shapes.length ?? 0;
    let near = 0;
    for (const row of table.rows.slice(0, misses)) {
      const [x, y] = [value('xPx', row), value('yPx', row)];
      const miss = Math.min(...drawn.stars.map((star) => Math.hypot(star.x - x, star.y - y)));
      if (miss < 0.1) near++;
    }
    expect(near / misses).toBeGreaterThan(0.97);
  });

  it('is read by astropy with units, values and the origin of pixels', (context) => {
    needPython(context, 'astropy');
    const read = readByAstropy(ecsvText(table), 'ascii.ecsv');
    expect(read.columns).toEqual(table.columns.map(({ name }) => name));
    expect(read.units).toEqual(table.columns.map(({ unit }) => unit));
    expect(read.rows.length).toBe(table.rows.length);
    read.rows.forEach((row, i) => {
      table.columns.forEach(({ value }, j) => {
        const ours = value(table.rows[i]);
        if (typeof ours === 'number')
          expect(Math.abs(Number(row[j]) - ours)).toBeLessThanOrEqual(1e-7 * Math.abs(ours));
        else expect(row[j]).toBe(ours);
      });
    });
    expect(read.meta['pixels']).toMatch(/count from 0.*centre of a pixel.*STORED row/);
    expect(read.meta['rowOrder']).toMatch(/^BOTTOM-UP/);
    const plain = readByAstropy(csvText(table), 'ascii.csv');
    expect(plain.columns).toEqual(read.columns);
    expect(plain.rows).toEqual(read.rows);
  });

  it('tells of what was left out, as often as the record counts it', (context) => {
    const left = leftOutTable(measurement, TOOL);
    const counts = measurement.frames.flatMap(({ leftOut }) => Object.values(leftOut));
    expect(left.rows.length).toBe(counts.reduce((a, b) => a + b, 0));
    expect(left.rows.length).toBeGreaterThan(0);
    needPython(context, 'astropy');
    const read = readByAstropy(ecsvText(left), 'ascii.ecsv');
    expect(read.rows.length).toBe(left.rows.length);
    // Each reason is explained in the table's own header.
    for (const row of read.rows) expect(read.meta[String(row[3])], String(row[3])).toMatch(/\w+ \w+/);
  });
});

describe('text from outside', () => {
  const table: Table<string> = {
    columns: [
      { name: 'text', unit: null, description: 'a "quoted": [description]', type: 'text', value: (text) => text },
      { name: 'number', unit: 'pix', description: 'minus', type: 'number', value: () => -1.5 },
      { name: 'missing', unit: null, description: 'none', type: 'number', value: () => Number.NaN },
    ],
    rows: HOSTILE,
    about: { 'what: {}': HOSTILE.join(' | ') },
  };

  it('is no formula to a spreadsheet, no escape to a terminal and no line of its own', () => {
    for (const text of [csvText(table), ecsvText(table)]) {
      expect(text.split('\n').filter((line) => line !== '' && !line.startsWith('#')).length).toBe(HOSTILE.length + 1);
      expect(text.replaceAll('\r\n', '\n')).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f]/);
      for (const line of text.split('\n')) expect(line).not.toMatch(/(^|,)"?\s*[=+@＝]/);
    }
    // Numbers stay numbers.
    expect(csvText(table)).toContain(',-1.5,');
  });

  it('comes back from astropy as it was but for the guard and what cannot be printed', (context) => {
    needPython(context, 'astropy');
    const read = readByAstropy(ecsvText(table), 'ascii.ecsv');
    // astropy strips blanks at the ends of a cell.
    const guarded = HOSTILE.map((text) => text.replace(/[\r\n\t\u001b]+/g, ' ').replace(/^ (?=\[)/, '')).map((text) =>
      /^\s*[=+\-@＝]/.test(text) ? `'${text}` : text,
    );
    expect(read.rows.map(([text]) => text)).toEqual(guarded);
    expect(read.rows.map((row) => row[1])).toEqual(HOSTILE.map(() => -1.5));
    expect(Object.keys(read.meta)).toEqual(['what: {}']);
  });
});

it('check --stars writes the tables beside the report, and a hostile file name is harmless in all of its files', async () => {
  const { pixels, width, height } = drawSub({ width: 900, height: 640, starCount: 150, seed: 7 });
  const name = '=cmd|calc<script>alert(1)\u001b[2J\n,"x.fits';
  const cards = [
    { keyword: 'INSTRUME', value: '=1+1 <script>' },
    { keyword: 'FILTER', value: '=L' },
    { keyword: 'EGAIN', value: 1 },
  ];
  const world = memoryWorld({ [name]: encodeFits({ pixels: pixels.data, width, height, cards }) });
  expect(await runProgram(['check', name, '--stars', '--out', 'r'], world.effects)).toBe(0);
  const file = (part: string): string => String(world.files.get(resolve('r', part)));
  for (const part of ['stars.csv', 'stars.ecsv', 'left-out.csv', 'left-out.ecsv', 'report.txt']) {
    expect(file(part).length, part).toBeGreaterThan(100);
    expect(file(part), part).not.toContain('\u001b');
    expect(file(part), part).not.toMatch(/(^|,)"?=/m);
  }
  expect(file('report.html')).not.toMatch(/<script|\u001b/);
  expect(world.out).not.toContain('\u001b');
  const record = JSON.parse(file('report.json')) as { frames: { file: string; camera: string }[] };
  expect(record.frames[0]).toMatchObject({ file: name, camera: '=1+1 <script>' });
  expect(file('report.json')).not.toContain('\u001b');
  expect(file('stars.csv').split('\r\n').length).toBe(Number(/(\d+) stars fitted/.exec(world.out)?.[1]) + 2);
});

it('flux is the volume under the star, and its error is the scatter', () => {
  const random = seededRandom(20310211);
  const noise = { sky: 800, sigma: 12, gainEPerAdu: 1.5 };
  const pulls: number[] = [];
  for (let k = 0; k < 400; k++) {
    const fwhm = 2.5 + 4 * random.uniform();
    const [dx, dy] = [random.uniform() - 0.5, random.uniform() - 0.5];
    const half = Math.ceil(2.4 * fwhm) + 3;
    const width = 2 * half + 1;
    const peak = 400 + 8000 * random.uniform();
    const stamp = drawStamp(gaussian, { fwhm, e: 0.3 * random.uniform(), theta: 3 * random.uniform() }, half, dx, dy);
    const data = withNoise(stamp, peak, noise, random);
    const star = measureStar(
      { data, width, height: width, mask: null, greenParity: null },
      { x: half + dx, y: half + dy, fwhm, peak, sky: noise.sky, noise: noise.sigma, gainEPerAdu: noise.gainEPerAdu },
      windowRadius(fwhm),
    );
    if (star.status === 'rejected') continue;
    // A Gaussian of FWHM w and peak p holds p w^2 pi / (4 ln 2), whatever its elongation at the same geometric mean.
    const truth = (peak * fwhm ** 2 * Math.PI) / (4 * Math.LN2);
    pulls.push((star.shape.flux - truth) / star.shape.fluxError);
  }
  const { mean, spread } = meanAndSpread(pulls);
  expect(pulls.length).toBeGreaterThan(390);
  // 400 stars: the mean is known to 0.05, the spread to 0.035.
  expect(Math.abs(mean)).toBeLessThan(0.2);
  expect(spread).toBeGreaterThan(0.89);
  expect(spread).toBeLessThan(1.11);
});
