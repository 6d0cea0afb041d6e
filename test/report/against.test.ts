import { resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { seededRandom } from '../../src/numeric/random.ts';
import { runProgram } from '../../src/program.ts';
import { compareReports } from '../../src/report/against.ts';
import type { Against } from '../../src/report/againstRecord.ts';
import { renderHtml } from '../../src/report/html.ts';
import { parseReport, type Report } from '../../src/report/record.ts';
import { renderText } from '../../src/report/text.ts';
import { drawSub } from '../support/draw.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { memoryWorld } from '../support/memoryEffects.ts';
import { recordOf } from '../support/record.ts';

interface Coma {
  readonly deg: number;
  /** Third-order shape and its error. */
  readonly length: number;
  readonly error?: number;
  /** Arcminutes of primary tilt with the interval's halves. */
  readonly tilt: readonly [arcmin: number, minus: number, plus: number];
  readonly status?: Report['findings'][number]['status'];
}

/** An example report whose coma is as told. */
function withComa({ deg, length, error = 0.0004, tilt, status = 'fault' }: Coma, change: Partial<Report> = {}): Report {
  const { good } = EXAMPLE_REPORTS;
  const phi = (deg * Math.PI) / 180;
  const [arcmin, minus, plus] = tilt;
  const coma = {
    ...good.field.coma,
    uniform3: { x: length * Math.cos(phi), y: length * Math.sin(phi), error },
    mirrorTilt: { arcmin, minus, plus },
  };
  return {
    ...good,
    verdict: status === 'fault' ? 'adjust' : 'good',
    field: { ...good.field, coma },
    findings: good.findings.map((f) => (f.cause === 'miscollimation' ? { ...f, status } : f)),
    ...change,
  };
}

const compare = (before: Report, now: Report, turnedDeg: number | null = null): Against =>
  compareReports({ file: 'old/report.json', report: before, turnedDeg }, now);
const changeOf = (against: Against, quantity: string): Against['changes'][number] => {
  const found = against.changes.find((change) => change.quantity === quantity);
  if (found === undefined) throw new Error(`no ${quantity} among the changes`);
  return found;
};

const BAD: Coma = { deg: 215, length: 0.03, tilt: [4.4, 1, 0.8] };
const BETTER: Coma = { deg: 220, length: 0.014, tilt: [2.0, 0.5, 0.4] };

describe('every change', () => {
  const against = compare(withComa(BAD), withComa(BETTER));

  it('has an error that is the root of the summed squares, and its significance is the difference over it', () => {
    const tilt = changeOf(against, 'primary-tilt');
    // Half the intervals: 0.9 and 0.45. Law of cosines for the vectors, 5 degrees apart.
    expect(tilt.change.value).toBeCloseTo(-2.4, 9);
    expect(tilt.change.error).toBeCloseTo(Math.sqrt(0.9 ** 2 + 0.45 ** 2), 9);
    const apart = Math.sqrt(4.4 ** 2 + 2 ** 2 - 2 * 4.4 * 2 * Math.cos((5 * Math.PI) / 180));
    expect(tilt.significance).toBeCloseTo(apart / Math.sqrt(0.9 ** 2 + 0.45 ** 2), 6);
    const coma = changeOf(against, 'coma');
    expect(coma.change.error).toBeCloseTo(0.0004 * Math.SQRT2, 9);
  });

  it('is there for tilt, curvature, trefoil, smear and star size where both sides have them', () => {
    const all = compare(EXAMPLE_REPORTS.tilted, EXAMPLE_REPORTS.good).changes.map(({ quantity }) => quantity);
    expect(all).toEqual(expect.arrayContaining(['sensor-tilt', 'field-curvature', 'smear', 'fwhm']));
    const [first] = EXAMPLE_REPORTS.good.zones;
    const size = changeOf(against, 'fwhm');
    // Nine zones of one error each.
    expect(size.before.error).toBeCloseTo((first?.fwhmArcsec?.error ?? 0) / 3, 9);
    expect(size.significance).toBe(0);
  });

  it('an axis that turned is a change although the amount stayed', () => {
    const tilted = (axisDeg: number): Report => {
      const defocus = {
        ...EXAMPLE_REPORTS.good.field.defocus,
        tiltUm: { value: 80, error: 6 },
        axisDeg,
        axisErrorDeg: 4,
      };
      return { ...EXAMPLE_REPORTS.good, field: { ...EXAMPLE_REPORTS.good.field, defocus } };
    };
    const turned = changeOf(compare(tilted(10), tilted(100)), 'sensor-tilt');
    expect(turned.change.value).toBe(0);
    expect(turned.significance).toBeGreaterThan(5);
    // An axis of 175 degrees is 10 from one of 5.
    expect(changeOf(compare(tilted(175), tilted(5)), 'sensor-tilt').significance).toBeLessThan(3);
  });
});

describe('whether it helped', () => {
  it.each([
    ['less coma', BAD, BETTER, 'better', /^It helped: .*fell by 53 %.*still beyond its tolerance/],
    ['less, and now within', BAD, { ...BETTER, status: 'within-tolerance' }, 'better', /^It helped: .*stop turning/],
    ['more coma', BETTER, BAD, 'worse', /^It got worse: .*grew to 2\.1 times/],
    ['past the middle', BAD, { ...BETTER, deg: 40 }, 'better', /went too far/],
    ['sideways', BAD, { ...BETTER, deg: 130 }, 'better', /went sideways/],
    ['nothing done', BAD, { ...BAD, deg: 215.2 }, 'unchanged', /^No change to be seen/],
    ['turned about', BAD, { ...BAD, deg: 300 }, 'unchanged', /points elsewhere now but is as large/],
    [
      'good and good',
      { ...BETTER, status: 'within-tolerance' },
      { ...BETTER, deg: 230, status: 'not-detected' },
      'unchanged',
      /Within tolerance then and now/,
    ],
    [
      'intervals that overlap',
      BAD,
      { deg: 215, length: 0.024, tilt: [3.5, 0.9, 0.7] },
      'better',
      /^It helped, if seeing and focus were alike/,
    ],
  ] as const)('%s', (_, before, now, outcome, words) => {
    const against = compare(withComa(before), withComa(now));
    expect(against.words).toMatch(words);
    expect(against.outcome).toBe(outcome);
    parseReport({ ...withComa(now), against });
  });

  it('under other seeing only what no seeing explains is claimed', () => {
    const soft = (coma: Coma): Report => {
      const zones = EXAMPLE_REPORTS.good.zones.map((zone) => ({
        ...zone,
        fwhmPx: { value: 4.4, error: 0.02 },
        fwhmArcsec: { value: 4.26, error: 0.02 },
      }));
      return withComa(coma, { zones });
    };
    const apart = compare(withComa(BAD), soft(BETTER));
    expect(apart.outcome).toBe('better');
    expect(apart.words).toMatch(/^It most likely helped/);
    expect(apart.changes.map(({ quantity }) => quantity)).not.toContain('coma');
    const overlapping = compare(withComa(BAD), soft({ deg: 215, length: 0.012, tilt: [3.8, 0.9, 0.7] }));
    expect(overlapping.outcome).toBe('cannot-tell');
    expect(overlapping.caveats.join(' ')).toMatch(/Seeing or focus differ/);
  });

  it('coma widens the stars itself: that is no other seeing', () => {
    const wide = (px: number, widensPx: number, coma: Coma): Report => {
      const report = withComa(coma, {
        zones: EXAMPLE_REPORTS.good.zones.map((zone) => ({ ...zone, fwhmPx: { value: px, error: 0.02 } })),
      });
      return {
        ...report,
        findings: report.findings.map((f) => (f.cause === 'miscollimation' ? { ...f, widensPx } : f)),
      };
    };
    // 3.5 px with 1.8 px of coma in quadrature are 3.0 px.
    expect(compare(wide(3.5, 1.8, BAD), wide(3.02, 0.2, BETTER)).words).toMatch(
      /^It helped: the coma of the stars fell/,
    );
  });

  it('noise alone is hardly ever called a change', () => {
    const random = seededRandom(4);
    const error = 0.0012;
    let claims = 0;
    for (let k = 0; k < 2000; k++) {
      const draw = (): Report => {
        const [x, y] = [0.02 + error * random.normal(), error * random.normal()];
        const length = Math.hypot(x, y);
        return withComa({
          deg: (Math.atan2(y, x) * 180) / Math.PI,
          length,
          error,
          tilt: [150 * length, 30 * length, 30 * length],
        });
      };
      if (compare(draw(), draw()).outcome !== 'unchanged') claims++;
    }
    // Five sigma of the difference: 6e-7 of pairs.
    expect(claims).toBe(0);
  });
});

describe('sides that cannot be held against each other', () => {
  it.each([
    ['too few stars then', EXAMPLE_REPORTS.inconclusive, withComa(BAD), /in the earlier report/],
    ['too few stars now', withComa(BAD), EXAMPLE_REPORTS.inconclusive, /in these subs/],
    ['too few in both', EXAMPLE_REPORTS.inconclusive, EXAMPLE_REPORTS.inconclusive, /in either report/],
    [
      'coma hidden by a smear',
      withComa({ ...BAD, status: 'not-measurable' }),
      withComa(BETTER),
      /in the earlier report/,
    ],
  ])('%s: cannot tell', (_, before, now, words) => {
    const against = compare(before, now);
    expect(against.outcome).toBe('cannot-tell');
    expect(against.words).toMatch(words);
    expect(against.changes.map(({ quantity }) => quantity)).not.toContain('primary-tilt');
  });

  it('another telescope: nothing is compared', () => {
    const other = withComa(BETTER, { scale: { ...EXAMPLE_REPORTS.good.scale, apertureMm: 254 } });
    const against = compare(withComa(BAD), other);
    expect(against).toMatchObject({ comparable: 'nothing', outcome: 'cannot-tell', changes: [] });
    expect(against.words).toMatch(/another telescope: its aperture is 203 mm, here it is 254 mm/);
  });

  it('another camera, filter, reducer or side of the pier is said', () => {
    const frames = EXAMPLE_REPORTS.good.frames.map((f) => ({
      ...f,
      camera: 'Invented 61',
      filter: 'R',
      pierSide: 'west' as const,
    }));
    const old = withComa(BAD, {
      frames: EXAMPLE_REPORTS.good.frames.map((f) => ({ ...f, pierSide: 'east' as const })),
    });
    const scale = { ...EXAMPLE_REPORTS.good.scale, focalLengthMm: 584 };
    const caveats = compare(old, withComa(BETTER, { frames, scale })).caveats.join(' ');
    for (const word of ['cameras', 'filters', 'focal lengths', 'pier']) expect(caveats).toContain(word);
  });
});

describe('a camera that was turned', () => {
  const turnedBy40: Coma = { ...BAD, deg: BAD.deg + 40 };
  const angle = (deg: number, moduloDeg: number): Report['cameraAngle'] => ({
    deg,
    errorDeg: 0.2,
    from: moduloDeg === 360 ? 'rig' : 'spikes',
    moduloDeg,
  });
  const spikes = (angleDeg: number): Partial<Report> => ({
    orientation: { ...EXAMPLE_REPORTS.good.orientation, spikes: { angleDeg, errorDeg: 0.2, periodDeg: 90, stars: 9 } },
  });
  const rotator = (rotatorDeg: number): Partial<Report> => ({
    frames: EXAMPLE_REPORTS.good.frames.map((f) => ({ ...f, rotatorDeg })),
  });

  it('by an angle that was told shows no change of the telescope', () => {
    const against = compare(withComa(BAD), withComa(turnedBy40), 40);
    expect(changeOf(against, 'coma').significance).toBeLessThan(1e-6);
    expect(against).toMatchObject({ comparable: 'directions', turnedDeg: 40, outcome: 'unchanged' });
    expect(changeOf(compare(withComa(BAD), withComa(turnedBy40)), 'coma').significance).toBeGreaterThan(20);
  });

  it('by a known camera angle the same, with that angle’s error', () => {
    const against = compare(
      withComa(BAD, { cameraAngle: angle(350, 360) }),
      withComa(turnedBy40, { cameraAngle: angle(30, 360) }),
    );
    expect(against.turnedDeg).toBe(40);
    expect(changeOf(against, 'coma').significance).toBeLessThan(1);
  });

  it.each([
    [
      'spikes that stand as before, a quarter turn aside',
      { cameraAngle: angle(3, 90) },
      { cameraAngle: angle(93.4, 90) },
      'directions',
      /would look the same/,
    ],
    [
      'spikes that stand elsewhere',
      { cameraAngle: angle(3, 90) },
      { cameraAngle: angle(43, 90) },
      'amounts',
      /camera was turned/,
    ],
    [
      'spikes that contradict the told angle',
      { cameraAngle: angle(10, 360), ...spikes(10) },
      { cameraAngle: angle(10, 360), ...spikes(55) },
      'amounts',
      /contradict/,
    ],
    ['spikes alone, as before', spikes(12), spikes(12.3), 'directions', /would look the same/],
    ['spikes alone, elsewhere', spikes(12), spikes(50), 'amounts', /camera was turned/],
    ['a rotator at its place', rotator(120.2), rotator(120.9), 'directions', null],
    ['a rotator elsewhere', rotator(350), rotator(30), 'amounts', /turned by 40°, its sense is not known/],
    ['no word of it', {}, {}, 'directions', /Nothing tells whether the camera was turned/],
    [
      'rows whose order was assumed',
      { orientation: { rowOrder: 'BOTTOM-UP', assumed: true, spikes: null } },
      {},
      'amounts',
      /only assumed which way up/,
    ],
    [
      'frames stood on end',
      { frames: EXAMPLE_REPORTS.good.frames.map((f) => ({ ...f, width: 4176, height: 6248 })) },
      {},
      'amounts',
      /upright/,
    ],
  ] as const)('%s', (_, before, now, comparable, caveat) => {
    const against = compare(withComa(BAD, before), withComa(BETTER, now));
    expect(against.comparable).toBe(comparable);
    if (caveat === null) expect(against.caveats).toEqual([]);
    else expect(against.caveats.join(' ')).toMatch(caveat);
    for (const { vector } of against.changes) if (comparable === 'amounts') expect(vector).toBeNull();
    expect(against.outcome).toBe('better');
  });
});

describe('in the reports', () => {
  const against = compare(withComa(BAD), withComa(BETTER));
  const report: Report = { ...withComa(BETTER), against };

  it('stands in the words on the screen, in full in report.txt and as a table on the page', () => {
    const short = renderText(report, { width: 80, colour: false });
    expect(short).toMatch(/^Since {5}2031-02-12 06:40: It helped/m);
    expect(short.trimEnd().split('\n').length).toBeLessThanOrEqual(24);
    const full = renderText(report, { width: 80, colour: false, detail: 'full' });
    expect(full).toMatch(/Primary tilt: 4\.4 ± 0\.9′, now 2\.0 ± 0\.5′/);
    const page = renderHtml(report, { pictureJpeg: new Uint8Array(0), evidence: null });
    expect(page).toContain('What changed since 2031-02-12 06:40');
    expect(page).toContain('<th scope="row">Primary tilt</th>');
  });

  it('nothing stands there where nothing was compared', () => {
    const alone = withComa(BETTER);
    expect(renderText(alone, { width: 80, colour: false, detail: 'full' })).not.toMatch(/^Since/m);
    expect(renderHtml(alone, { pictureJpeg: new Uint8Array(0), evidence: null })).not.toContain('What changed');
  });

  it('hostile words of an earlier report stay words', () => {
    const nasty = '<script>alert(1)</script>\u001b[2J\n=1+1';
    const hostile: Report = {
      ...report,
      against: { ...against, file: nasty, headline: nasty, words: nasty, caveats: [nasty], created: nasty },
    };
    expect(renderText(hostile, { width: 80, colour: false, detail: 'full' })).not.toContain('\u001b');
    expect(renderHtml(hostile, { pictureJpeg: new Uint8Array(0), evidence: null })).not.toMatch(/<script|\u001b/);
  });
});

describe('check --against', () => {
  const size = { width: 900, height: 640, starCount: 220, seeingArcsec: 2.2 };
  const sub = (arcmin: number, seed: number): ReturnType<typeof drawSub> =>
    drawSub({ ...size, seed, state: { primaryTiltArcmin: { x: arcmin, y: 0 } } });
  const fits = (frame: ReturnType<typeof drawSub>): Uint8Array =>
    encodeFits({
      pixels: frame.pixels.data,
      width: frame.width,
      height: frame.height,
      cards: [
        { keyword: 'FOCALLEN', value: 800 },
        { keyword: 'APTDIA', value: 200 },
        { keyword: 'XPIXSZ', value: 3.76 },
        { keyword: 'EGAIN', value: 0.8 },
        { keyword: 'ROWORDER', value: 'BOTTOM-UP' },
      ],
    });
  const world = memoryWorld({ 'bad.fits': fits(sub(6, 1)), 'good.fits': fits(sub(2, 2)) });

  it('of drawn subs, the primary turned from 6′ to 2′, says that it helped and by how much', async () => {
    expect(await runProgram(['check', 'bad.fits', '--quick', '--out', 'then'], world.effects)).toBe(0);
    expect(
      await runProgram(['check', 'good.fits', '--quick', '--out', 'now', '--against', 'then'], world.effects),
    ).toBe(0);
    const { against } = parseReport(JSON.parse(String(world.files.get(resolve('now/report.json')))));
    expect(against?.outcome).toBe('better');
    expect(against?.file).toContain('report.json');
    const tilt = against?.changes.find(({ quantity }) => quantity === 'primary-tilt');
    // The truth: 4 arcminutes less, within two of the errors.
    expect(Math.abs((tilt?.change.value ?? 0) + 4)).toBeLessThan(2 * (tilt?.change.error ?? 0));
    expect(world.out).toMatch(/^Since .*It helped/m);
  });

  it('one and the same sub has not changed', () => {
    const record = recordOf([sub(6, 1)]);
    const against = compare(record, record);
    expect(against.outcome).toBe('unchanged');
    for (const { significance } of against.changes) expect(significance).toBe(0);
  });

  it.each([
    ['no such file', 'nowhere.json', {}, /nowhere\.json: there is no such file; expected a report\.json/],
    ['no JSON', 'x.json', { 'x.json': 'junk{' }, /x\.json: not JSON/],
    ['not UTF-8', 'x.json', { 'x.json': Uint8Array.of(0xff, 0xfe, 0x41) }, /x\.json: not JSON/],
    ['other JSON', 'x.json', { 'x.json': '[1]' }, /no Starplumb report/],
    ['null', 'x.json', { 'x.json': 'null' }, /no Starplumb report/],
    [
      'a later version',
      'x.json',
      { 'x.json': JSON.stringify({ ...EXAMPLE_REPORTS.good, version: 9 }) },
      /later version of the program \(record version 9\)/,
    ],
    [
      'a damaged one',
      'x.json',
      { 'x.json': JSON.stringify({ ...EXAMPLE_REPORTS.good, zones: 3, verdict: 'fine' }) },
      /damaged report: .*(zones|verdict)/,
    ],
    ['a folder without one', 'there', { 'there/a.txt': 'x' }, /there[/\\]report\.json: there is no such file/],
  ])('%s is refused before anything is measured', async (_, name, files, message) => {
    const empty = memoryWorld({ ...files, 'good.fits': new Uint8Array(10) });
    expect(await runProgram(['check', 'good.fits', '--against', name, '--out', 'r'], empty.effects)).toBe(3);
    expect(empty.err).toMatch(message);
    expect(empty.err).not.toContain('good.fits');
  });

  it('--turned alone is wrong usage', async () => {
    const empty = memoryWorld({ 'good.fits': new Uint8Array(10) });
    expect(await runProgram(['check', 'good.fits', '--turned', '90'], empty.effects)).toBe(2);
    expect(empty.err).toContain('--against');
  });
});
