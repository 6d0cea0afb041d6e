import { join, resolve } from 'node:path';
import { expect, it } from 'vitest';
import type { Effects } from '../../src/effects.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import type { PixelArray } from '../../src/frame/frame.ts';
import { runProgram } from '../../src/program.ts';
import { parseReport, type Report } from '../../src/report/record.ts';
import { drawSub } from '../support/draw.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';

const REPORT_FILES = ['field.png', 'report.html', 'report.json', 'report.txt'];

const [width, height] = [900, 640];
const drawn = drawSub({ width, height, starCount: 150, seed: 7 }).pixels.data;
const blank = new Uint16Array(width * height).map((_, i) => 1000 + ((i * 7919) % 13));

interface Header {
  readonly camera?: string;
  readonly filter?: string;
  readonly rows?: string;
  readonly optics?: boolean;
}

function fits(
  pixels: PixelArray,
  { camera, filter, rows, optics = true }: Header = {},
  size = [width, height],
): Uint8Array {
  const cards = [
    ...(optics
      ? [
          ['FOCALLEN', 800],
          ['APTDIA', 200],
          ['XPIXSZ', 3.76],
        ]
      : []),
    ['EGAIN', 1],
    ['INSTRUME', camera],
    ['FILTER', filter],
    ['ROWORDER', rows],
  ].flatMap(([keyword, value]) => (value === undefined ? [] : [{ keyword: String(keyword), value }]));
  return encodeFits({ pixels, width: size[0] ?? 0, height: size[1] ?? 0, cards });
}

const SUB = fits(drawn, { camera: 'Invented 6', filter: 'L', rows: 'TOP-DOWN' });
const run = (world: MemoryWorld, ...args: string[]): Promise<number> => runProgram(args, world.effects);
const inFolder = (world: MemoryWorld, folder: string): string[] =>
  [...world.files.keys()]
    .filter((name) => name.startsWith(`${resolve(folder)}/`))
    .map((name) => name.slice(resolve(folder).length + 1))
    .sort();

function recordIn(world: MemoryWorld, folder: string): Report {
  return parseReport(JSON.parse(String(world.files.get(resolve(folder, 'report.json')))));
}

it('a readable sub is measured: four files, a summary, exit code 0', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  expect(await run(world, 'check', 'a.fits', '--out', 'r')).toBe(0);
  expect(inFolder(world, 'r')).toEqual(REPORT_FILES);
  expect(world.out).toMatch(/^Zones/m);
  expect(world.out).toMatch(/^Report +r$/m);
  expect(world.err).toBe('');
  expect(Math.max(...world.out.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  const record = recordIn(world, 'r');
  expect(record.frames[0]?.starsFitted).toBeGreaterThan(50);
  expect(record.scale.focalLengthMm).toBe(800);
  expect(record.frames[0]?.sha256).toBe(world.effects.sha256(SUB));
  expect(record.created).toBe('2031-02-12T06:40:12.000Z');
  expect(
    Buffer.from(world.files.get(resolve('r/field.png')) ?? '')
      .subarray(1, 4)
      .toString(),
  ).toBe('PNG');
});

it('without --out the folder is new and named from the time', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  world.now = new Date(2031, 1, 12, 6, 40, 12);
  expect(await run(world, 'check', 'a.fits')).toBe(0);
  expect(await run(world, 'check', 'a.fits')).toBe(0);
  expect(inFolder(world, 'starplumb-2031-02-12-064012')).toEqual(REPORT_FILES);
  expect(inFolder(world, 'starplumb-2031-02-12-064012-2')).toEqual(REPORT_FILES);
});

it('--json prints the record and nothing else, and the folder is still written', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  expect(await run(world, 'check', 'a.fits', '--json', '--out', 'r')).toBe(0);
  expect(world.out).toBe(world.files.get(resolve('r/report.json')));
  expect(parseReport(JSON.parse(world.out)).verdict).toBe(recordIn(world, 'r').verdict);
});

it('the same input twice makes the same bytes but for the time', async () => {
  const worlds = [memoryWorld({ 'a.fits': SUB }), memoryWorld({ 'a.fits': SUB })] as const;
  worlds[1].now = new Date('2032-01-01T00:00:00.000Z');
  for (const world of worlds) await run(world, 'check', 'a.fits', '--out', 'r');
  for (const name of REPORT_FILES) {
    const [one, two] = worlds.map((world) => Buffer.from(world.files.get(resolve('r', name)) ?? '').toString('latin1'));
    expect(two?.replaceAll('2032-01-01T00:00:00.000Z', '2031-02-12T06:40:12.000Z')).toBe(one);
  }
});

it('options win over the header, and the record says where each value came from', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  const options = [
    '--focal',
    '760',
    '--aperture',
    '203',
    '--pixel',
    '4.63',
    '--primary-focal',
    '800',
    '--row-order',
    'bottom-up',
  ];
  expect(await run(world, 'check', 'a.fits', '--out', 'r', ...options)).toBe(0);
  const { scale, orientation, settings } = recordIn(world, 'r');
  expect(scale).toMatchObject({ focalLengthMm: 760, apertureMm: 203, pixelUm: 4.63, primaryFocalLengthMm: 800 });
  expect(scale.from).toMatchObject({
    focalLengthMm: 'option',
    apertureMm: 'option',
    pixelUm: 'option',
    primaryFocalLengthMm: 'option',
  });
  expect(orientation).toEqual({ rowOrder: 'BOTTOM-UP', assumed: false, spikes: null });
  expect(settings).toMatchObject({ focalMm: 760, rowOrder: 'BOTTOM-UP' });
});

it('without focal length, aperture and pixel size everything is measured in pixels, and the options are named', async () => {
  const world = memoryWorld({ 'a.fits': fits(drawn, { optics: false }) });
  expect(await run(world, 'check', 'a.fits', '--out', 'r')).toBe(0);
  const record = recordIn(world, 'r');
  expect(record.zones[4]?.fwhmPx).not.toBeNull();
  expect(record.zones[4]?.fwhmArcsec).toBeNull();
  expect(record.field.coma.mirrorTilt).toBeNull();
  for (const option of ['--focal', '--aperture', '--pixel']) expect(world.out).toContain(option);
});

it('an unreadable sub among others is said, left out and recorded', async () => {
  const world = memoryWorld({ 'a.fits': SUB, 'b.fits': 'no frame at all', 'c.fits': SUB });
  expect(await run(world, 'check', 'a.fits', 'b.fits', 'c.fits', 'gone.fits', '--out', 'r')).toBe(0);
  expect(world.err).toMatch(/b\.fits/);
  expect(world.err).toMatch(/gone\.fits: no such file/);
  const { frames } = recordIn(world, 'r');
  expect(frames.map((frame) => [frame.file, frame.used])).toEqual([
    ['a.fits', true],
    ['c.fits', true],
    ['b.fits', false],
    ['gone.fits', false],
  ]);
  expect(frames[3]?.whyNot).toBe('no such file');
  expect(world.out).toContain('Left out: b.fits');
});

it('exit code 3 and one message when the only input cannot be read', async () => {
  const world = memoryWorld();
  expect(await run(world, 'check', 'gone.fits')).toBe(3);
  expect(world.err).toBe('gone.fits: no such file\n');
  expect(world.files.size).toBe(0);
});

it('exit code 3 when none of several inputs can be read', async () => {
  const world = memoryWorld({ 'a.fits': 'nothing', 'b.fits': '' });
  expect(await run(world, 'check', 'a.fits', 'b.fits', '--out', 'r')).toBe(3);
  expect(world.err).toMatch(/None of the 2 frames could be read/);
  expect(inFolder(world, 'r')).toEqual([]);
});

it('exit code 4 when no star can be fitted at all', async () => {
  const world = memoryWorld({ 'flat.fits': fits(blank) });
  expect(await run(world, 'check', 'flat.fits', '--out', 'r')).toBe(4);
  expect(world.err).toMatch(/flat\.fits: no star could be fitted/);
  expect(inFolder(world, 'r')).toEqual([]);
});

it.each([
  ['size', fits(new Uint16Array(300 * 200).fill(9), {}, [300, 200]), /300 x 200/],
  ['camera', fits(drawn, { camera: 'Another 9' }), /Another 9/],
  ['row order', fits(drawn, { camera: 'Invented 6', rows: 'BOTTOM-UP' }), /BOTTOM-UP/],
])('frames of a different %s are a usage error that names them', async (what, other, value) => {
  const world = memoryWorld({ 'a.fits': SUB, 'odd.fits': other });
  expect(await run(world, 'check', 'a.fits', 'odd.fits', '--out', 'r')).toBe(2);
  for (const part of [what, 'a.fits', 'odd.fits', value]) expect(world.err).toMatch(part);
  expect(inFolder(world, 'r')).toEqual([]);
});

it('frames of different filters are taken together, and that is said', async () => {
  const world = memoryWorld({
    'a.fits': SUB,
    'b.fits': fits(drawn, { camera: 'Invented 6', filter: 'R', rows: 'TOP-DOWN' }),
  });
  expect(await run(world, 'check', 'a.fits', 'b.fits', '--out', 'r')).toBe(0);
  expect(recordIn(world, 'r').notes.join(' ')).toContain('different filters are taken together: L, R');
});

it.each([
  [['check'], /missing required argument 'frame'/],
  [['check', 'a.fits', '--focal', '80cm'], /--focal .*'80cm' is invalid\. Expected a length of 20 to 60000 mm/],
  [['check', 'a.fits', '--focal', ''], /Expected a length/],
  [['check', 'a.fits', '--aperture', '-200'], /--aperture/],
  [['check', 'a.fits', '--pixel', '3760'], /Expected a pixel size of 0\.3 to 100 µm/],
  [['check', 'a.fits', '--corrector', 'yes'], /Expected 'none', or its magnification/],
  [['check', 'a.fits', '--row-order', 'sideways'], /Allowed choices are top-down, bottom-up/],
  [['check', 'a.fits', '--colour'], /unknown option '--colour'/],
  [['check', 'a.fits', '--out', 'a.fits'], /--out a\.fits: this is a file/],
  [['chek', 'a.fits'], /unknown command 'chek'\n\(Did you mean check\?\)/],
  [[], /Usage: starplumb/],
])('%j is wrong usage: exit code 2 and a plain message', async (args, message) => {
  const world = memoryWorld({ 'a.fits': SUB });
  expect(await run(world, ...args)).toBe(2);
  expect(world.err).toMatch(message);
  expect(world.err).not.toMatch(/at .*\.ts:\d/);
  expect([...world.files.keys()]).toEqual([resolve('a.fits')]);
});

it.each([
  ['none', { present: false, magnification: 1 }],
  ['0.95', { present: true, magnification: 0.95 }],
])('--corrector %s is taken', async (value, corrector) => {
  const world = memoryWorld({ 'a.fits': SUB });
  expect(await run(world, 'check', 'a.fits', '--out', 'r', '--corrector', value)).toBe(0);
  expect(recordIn(world, 'r').scale.corrector).toEqual(corrector);
});

it('--quick writes the picture and the record only, without the refinement', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  expect(await run(world, 'check', 'a.fits', '--out', 'r', '--json', '--no-history', '--quick')).toBe(0);
  expect(world.err).toBe('');
  expect(inFolder(world, 'r')).toEqual(['field.png', 'report.json']);
  expect(() => parseReport(JSON.parse(world.out))).not.toThrow();
});

it('an existing report is replaced and other files in its folder are not touched', async () => {
  const world = memoryWorld({
    'a.fits': SUB,
    'r/report.json': 'old',
    'r/notes.txt': 'mine',
    'r/deep/er.txt': 'mine too',
  });
  expect(await run(world, 'check', 'a.fits', '--out', 'r')).toBe(0);
  expect(inFolder(world, 'r')).toEqual([
    'deep/er.txt',
    ...REPORT_FILES.slice(0, 1),
    'notes.txt',
    ...REPORT_FILES.slice(1),
  ]);
  expect(world.files.get(resolve('r/notes.txt'))).toBe('mine');
  expect(recordIn(world, 'r').version).toBe(1);
});

it.each(['field.png', 'report.html', 'report.txt', 'report.json'])(
  'when the disk fails at %s the old report stays whole and nothing is left lying about',
  async (name) => {
    const old = Object.fromEntries(REPORT_FILES.map((file) => [join('r', file), `old ${file}`]));
    const world = memoryWorld({ 'a.fits': SUB, ...old });
    world.beforeWrite = (path) => {
      if (path.endsWith(name)) throw Object.assign(new Error('disk full'), { code: 'ENOSPC' });
    };
    expect(await run(world, 'check', 'a.fits', '--out', 'r')).toBe(2);
    expect(world.err).toMatch(/^r: the report cannot be written there \(ENOSPC\)$/m);
    for (const file of REPORT_FILES) expect(world.files.get(resolve('r', file))).toBe(`old ${file}`);
    expect([...world.files.keys()].filter((path) => path.includes('.part'))).toEqual([]);
  },
);

it('no file of the report is seen half written: each is written elsewhere and renamed', async () => {
  const world = memoryWorld({ 'a.fits': SUB });
  const written: string[] = [];
  world.beforeWrite = (path) => written.push(path);
  await run(world, 'check', 'a.fits', '--out', 'r');
  expect(written).toHaveLength(4);
  for (const path of written) expect(path.startsWith(`${resolve('r')}/`)).toBe(false);
});

it('Ctrl-C before the writing: exit code 130, nothing written', async () => {
  const world = memoryWorld({ 'a.fits': SUB, 'b.fits': SUB });
  let reads = 0;
  const inner = world.effects;
  const effects: Effects = {
    ...inner,
    readFile: (path) => {
      reads++;
      world.interrupted = true;
      return inner.readFile(path);
    },
  };
  expect(await runProgram(['check', 'a.fits', 'b.fits', '--out', 'r'], effects)).toBe(130);
  expect(reads).toBe(1);
  expect(inFolder(world, 'r')).toEqual([]);
});

it('progress goes to a terminal only, on standard error, and leaves the line clean', async () => {
  const world = memoryWorld({ 'a.fits': SUB }, { errIsTerminal: true, columns: 60 });
  await run(world, 'check', 'a.fits', '--out', 'r');
  expect(world.err).toContain('measuring a.fits (1 of 1)');
  expect(world.err.endsWith('\r\u001b[K')).toBe(true);
  expect(world.out).not.toContain('\u001b');
});

it.each([
  [{}, false, false],
  [{}, true, true],
  [{ NO_COLOR: '1' }, true, false],
  [{ NO_COLOR: '' }, true, true],
  [{ FORCE_COLOR: '1' }, false, true],
  [{ FORCE_COLOR: '0' }, true, false],
  [{ NO_COLOR: '1', FORCE_COLOR: '1' }, true, false],
  [{ TERM: 'dumb' }, true, false],
  [{ CI: 'true' }, false, false],
])('with %j and a terminal: %s, colour: %s', async (env, outIsTerminal, coloured) => {
  const { wantsColour } = await import('../../src/effects.ts');
  expect(wantsColour({ env, outIsTerminal })).toBe(coloured);
});

it('a fault of the program is told from one of the user: exit code 1, with a hint, a stack only when asked', async () => {
  const broken = (): MemoryWorld =>
    memoryWorld({ 'a.fits': SUB }, { readFile: () => Promise.reject(new TypeError('x is not a \u001b[31mfunction')) });
  const world = broken();
  expect(await run(world, 'check', 'a.fits')).toBe(1);
  expect(world.err).toMatch(/fault of the program.*x is not a/);
  expect(world.err).toMatch(/--debug/);
  expect(world.err).not.toMatch(/at .*\.ts:\d/);
  expect(world.err).not.toContain('\u001b');
  const debugged = broken();
  expect(await run(debugged, 'check', 'a.fits', '--debug')).toBe(1);
  expect(debugged.err).toMatch(/at .*\.ts:\d/);
});

it('a hostile file name reaches neither terminal nor page as anything but text', async () => {
  const name = 'a\u001b[2J<script>alert(1)<\uFF0Fscript>.fits';
  const world = memoryWorld({ [name]: SUB, 'b\u001b[2J.fits': 'junk' });
  expect(await run(world, 'check', name, 'b\u001b[2J.fits', '--out', 'r')).toBe(0);
  for (const text of [world.out, world.err, String(world.files.get(resolve('r/report.txt')))])
    expect(text).not.toContain('\u001b');
  const html = String(world.files.get(resolve('r/report.html')));
  expect(html).not.toMatch(/<script|\u001b/);
  expect(recordIn(world, 'r').frames[0]?.file).toBe(name);
});

it('the version is the package’s, and help names every option that is relied on', async () => {
  const world = memoryWorld();
  expect(await run(world, '--version')).toBe(0);
  expect(world.out).toMatch(/^\d+\.\d+\.\d+\n$/);
  expect(await run(world, 'check', '--help')).toBe(0);
  const options = [
    '--out',
    '--json',
    '--focal',
    '--aperture',
    '--pixel',
    '--primary-focal',
    '--corrector',
    '--row-order',
    '--rig',
    '--no-history',
    '--quick',
  ];
  for (const option of options) expect(world.out).toContain(`${option} `.trimEnd());
});
