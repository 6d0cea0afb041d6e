import { resolve } from 'node:path';
import { expect, it } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { runProgram } from '../../src/program.ts';
import { type Finding, parseReport, type Report } from '../../src/report/record.ts';
import { drawSub } from '../support/draw.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';

const [width, height] = [900, 640];
const pixels = drawSub({ width, height, starCount: 150, seed: 7 }).pixels.data;
const sub = (cards: Readonly<Record<string, string | number>>): Uint8Array =>
  encodeFits({ pixels, width, height, cards: Object.entries(cards).map(([keyword, value]) => ({ keyword, value })) });
const run = (world: MemoryWorld, ...args: string[]): Promise<number> => runProgram(args, world.effects);
const RIGS = resolve('config/rigs');
const kept = (world: MemoryWorld, name: string): string => String(world.files.get(`${RIGS}/${name}.toml`));

it('a rig is added by options, listed, shown, put in use and taken out, and nothing is lost', async () => {
  const world = memoryWorld();
  const options = '--aperture 203 --focal 800 --corrector none --pixel 3.76 --screws 3 --screw-circle 95 --thread M6';
  expect(await run(world, 'rig', 'add', 'garden', ...options.split(' '))).toBe(0);
  expect(kept(world, 'garden')).toContain('[screws]\nnumber = 3\ncircleRadiusMm = 95\nthread = "M6"');
  expect(await run(world, 'rig', 'use', 'GARDEN')).toBe(0);
  world.out = '';
  expect(await run(world, 'rig', 'list')).toBe(0);
  expect(world.out).toBe(
    'garden * 203 mm f/3.9, no corrector, 3.76 µm pixels\n* in use where the header does not decide\n',
  );
  world.out = '';
  expect(await run(world, 'rig', 'show', 'garden')).toBe(0);
  // M6 advances 1 mm (ISO 261); 1 mm over 142.5 mm is 24.1 arcminutes; 3.76 um at 800 mm is 0.97 arcseconds.
  expect(world.out).toContain("One turn of one screw tilts the primary by 24'");
  expect(world.out).toContain('One unbinned pixel is 0.97" of sky.');
  const text = kept(world, 'garden');
  expect(await run(world, 'rig', 'remove', 'garden')).toBe(0);
  expect([...world.files.entries()]).toEqual([[`${RIGS}/garden.toml.removed-2031-02-12T064012`, text]]);
  world.out = '';
  await run(world, 'rig', 'list');
  expect(world.out).toContain('No rig is kept yet');
});

it('a name that is taken is refused with the file to change', async () => {
  const world = memoryWorld();
  await run(world, 'rig', 'add', 'garden', '--aperture', '203');
  const before = kept(world, 'garden');
  expect(await run(world, 'rig', 'add', 'Garden', '--aperture', '150')).toBe(2);
  expect(world.err).toContain(`garden is kept already: change it in ${RIGS}/garden.toml`);
  expect(kept(world, 'garden')).toBe(before);
});

it.each([
  [['--aperture', '0.2'], '--aperture: expected an aperture of 20 to 60000 mm, as a plain number, found 0.2'],
  [
    ['--focal', '80cm'],
    '--focal: expected an effective focal length of 20 to 60000 mm, as a plain number, found "80cm"',
  ],
  [['--thread', 'M6'], '--screws: expected how many screws, 2 to 12, found nothing'],
  [['--screws', '3', '--screw-circle', '90', '--screw-angles', '0,x,2'], '--screw-angles: expected an angle'],
  [[], 'Nothing to keep'],
])('rig add %j: %s', async (options, message) => {
  const world = memoryWorld();
  expect(await run(world, 'rig', 'add', 'garden', ...options)).toBe(2);
  expect(world.err).toContain(message);
  expect(world.files.size).toBe(0);
});

it('on a terminal it asks, offers what a header tells, asks again for nonsense and leaves out what is not answered', async () => {
  const answers: Record<string, string[]> = {
    'aperture, mm': ['20cm', '203'],
    'how many collimation screws': ['3'],
    'radius of the circle': ['95'],
  };
  const asked: string[] = [];
  const world = memoryWorld(
    { 'a.fits': sub({ FOCALLEN: 800, XPIXSZ: 7.52, XBINNING: 2, INSTRUME: 'Invented 26C' }) },
    {
      inIsTerminal: true,
      ask: (question) => {
        asked.push(question);
        const key = Object.keys(answers).find((start) => question.startsWith(start)) ?? '';
        return Promise.resolve(answers[key]?.shift() ?? '');
      },
    },
  );
  expect(await run(world, 'rig', 'add', 'garden', '--frame', 'a.fits', '--row-order', 'top-down')).toBe(0);
  const text = kept(world, 'garden');
  for (const line of ['apertureMm = 203', 'focalMm = 800', 'pixelUm = 3.76', 'rowOrder = "top-down"', 'number = 3'])
    expect(text).toContain(line);
  expect(text).not.toContain('primaryFocalMm');
  expect(world.err).toContain('expected an aperture of 20 to 60000 mm');
  expect(asked.filter((question) => question.startsWith('first stored row'))).toEqual([]);
  expect(asked.filter((question) => question.startsWith('what the rotator'))).toEqual([]);
});

it('check takes the rig that the header fits: its values say so, options are stronger, the history knows it', async () => {
  const world = memoryWorld({ 'a.fits': sub({ INSTRUME: 'Invented 6', XPIXSZ: 3.76, EGAIN: 1 }) });
  await run(world, 'rig', 'add', 'roof', ...'--camera x --aperture 250 --focal 1000'.split(' '));
  await run(
    world,
    ...['rig', 'add', 'garden', '--camera', 'Invented 6', '--row-order', 'top-down', '--camera-angle', '12'],
    ...'--aperture 203 --focal 800 --corrector none --obstruction 70'.split(' '),
  );
  world.out = '';
  expect(await run(world, 'check', 'a.fits', '--out', 'r', '--json', '--focal', '810')).toBe(0);
  const report = parseReport(JSON.parse(world.out));
  expect(report.rig).toBe('garden');
  expect(report.scale).toMatchObject({
    apertureMm: 203,
    focalLengthMm: 810,
    pixelUm: 3.76,
    from: { apertureMm: 'rig', focalLengthMm: 'option', pixelUm: 'header' },
  });
  expect(report.orientation).toEqual({ rowOrder: 'TOP-DOWN', assumed: false, spikes: null });
  expect(report.cameraAngle).toMatchObject({ deg: 12, from: 'rig' });
  expect(report.notes).toContain('Telescope and camera from the rig garden (its camera as in the header).');
  expect(report.notes).toContain('Central obstruction 70 mm, by the rig.');
  expect(world.err).toBe('');
});

it('the tolerances of a rig weigh the amounts, and the report says whose they are', async () => {
  // 3 arcminutes of primary tilt are beyond the trade tolerance of 1.4' and within the 6' that this owner puts up with.
  const drawn = drawSub({
    width: 1500,
    height: 1000,
    starCount: 300,
    seed: 3,
    state: { primaryTiltArcmin: { x: 3, y: 0 } },
  });
  const cards = { XPIXSZ: 3.76, EGAIN: 1, FOCALLEN: 800, APTDIA: 200 };
  const world = memoryWorld({
    'a.fits': encodeFits({
      pixels: drawn.pixels.data,
      width: 1500,
      height: 1000,
      cards: Object.entries(cards).map(([keyword, value]) => ({ keyword, value })),
    }),
  });
  const checked = async (rig: string): Promise<Report> => {
    world.out = '';
    expect(await run(world, ...`check a.fits --out r --json --quick --no-history --rig ${rig}`.split(' '))).toBe(0);
    return parseReport(JSON.parse(world.out));
  };
  await run(world, 'rig', 'add', 'usual', '--aperture', '200');
  await run(world, 'rig', 'add', 'mild', ...'--mirror-tilt-tolerance 6 --sensor-tilt-tolerance 400'.split(' '));
  const usual = await checked('usual');
  const mild = await checked('mild');
  const of = (report: Report, cause: string): Finding | undefined =>
    report.findings.find((finding) => finding.cause === cause);
  // What is said of an amount and how it is drawn against its tolerance agree.
  for (const { cause, status, toleranceShare: share } of [...usual.findings, ...mild.findings])
    if (status !== 'not-measurable' && cause !== 'dispersion') {
      expect(share, cause).not.toBeNull();
      expect((share?.value ?? 0) > 1, cause).toBe(status === 'fault');
    }
  expect(usual.verdict).toBe('adjust');
  expect(of(usual, 'miscollimation')).toMatchObject({
    status: 'fault',
    tolerance: 'primary axis within 0.005 N^3 mm of the centre, here 1.4′ (trade tolerance)',
  });
  expect(mild.verdict).toBe('good');
  expect(mild.headline).toContain('tolerance 6.0′');
  expect(of(mild, 'miscollimation')).toMatchObject({
    status: 'within-tolerance',
    tolerance: 'primary tilt within 6.0′, your rig’s own wish (the trade tolerance would be 1.4′)',
  });
  expect(of(mild, 'sensor-tilt')?.tolerance).toMatch(
    /within 400 µm, your rig’s own wish \(the seeing-limited .* is \d+ µm\)/,
  );
  const [before, after] = [usual, mild].map(
    (report) => of(report, 'miscollimation')?.toleranceShare?.value ?? Number.NaN,
  );
  // 0.32 mm at the focus of an 800 mm mirror (0.005 x 4^3) is 1.375 arcminutes.
  expect(before / after).toBeCloseTo(6 / 1.375, 2);
});

it('without focal length the wishes of a rig cannot be applied, which is said', async () => {
  const world = memoryWorld({ 'a.fits': sub({ EGAIN: 1 }) });
  await run(world, 'rig', 'add', 'mild', '--mirror-tilt-tolerance', '6');
  world.out = '';
  await run(world, ...'check a.fits --out r --json --quick --no-history --rig mild'.split(' '));
  const { notes, findings } = parseReport(JSON.parse(world.out));
  expect(notes).toContain(
    'The tolerances of your rig need focal length, aperture and pixel size: the usual ones were taken.',
  );
  expect(findings.find(({ cause }) => cause === 'miscollimation')?.tolerance).toContain('trade tolerance');
});

it('--rig that is unknown or broken stops the check at once and says where', async () => {
  const world = memoryWorld({ 'a.fits': sub({}), [`${RIGS}/bent.toml`]: 'apertureMm = 203\nfocalMn = 800\n' });
  expect(await run(world, 'check', 'a.fits', '--rig', 'roof')).toBe(2);
  expect(world.err).toContain('No rig is named roof: there are bent.');
  world.err = '';
  expect(await run(world, 'check', 'a.fits', '--rig', 'bent')).toBe(2);
  expect(world.err).toContain(`${RIGS}/bent.toml:2:1: unknown key "focalMn"; there are: telescope,`);
  world.err = '';
  // Not named it is only said.
  expect(await run(world, 'check', 'a.fits', '--out', 'r', '--no-history')).toBe(0);
  expect(world.err).toContain(`${RIGS}/bent.toml:2:1`);
});
