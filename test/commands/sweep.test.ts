import { describe, expect, it } from 'vitest';
import { sweep } from '../../src/commands/sweep.ts';
import type { SweepOptions } from '../../src/commands/sweepOptions.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import { runProgram } from '../../src/program.ts';
import { sweepKnowledge } from '../../src/report/sweepKnowledge.ts';
import { parseSweep, type SweepRecord, sweepJsonSchema } from '../../src/report/sweepRecord.ts';
import { defocusUmAt } from '../../src/sweep/knowledge.ts';
import { drawSub } from '../support/draw.ts';
import { schemaValidator } from '../support/jsonSchema.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';
import { htmlFaults } from '../support/validHtml.ts';

const TOOL = { name: 'starplumb', version: 'test' };
const PIXEL_UM = 3.76;
const [WIDTH, HEIGHT] = [1100, 800];
/** The sensor's upper right stands 90 um nearer the mirror than its lower left, edge to edge along 30 degrees. */
const TRUTH = { acrossUm: 90, directionDeg: 30, inFocus: 5000, umPerStep: 2 };

/** Change of focus over the frame, and its side nearest the mirror as a direction on the screen. */
interface Tilt {
  readonly umPerMm: number;
  readonly directionDeg: number;
}

interface Run {
  readonly tilts: readonly Tilt[];
  readonly cards?: Readonly<Record<string, number>>;
  readonly fieldCurvatureUmPerMm2?: number;
  readonly starCount?: number;
  readonly seed?: number;
}

/** Five small subs through focus; readings grow as the camera moves out. */
function drawRun(folder: string, { tilts, cards: more = {}, ...state }: Run): Record<string, Uint8Array> {
  const { starCount = 90, seed = 40, fieldCurvatureUmPerMm2 = 0 } = state;
  const sensorTiltArcmin = tilts.reduce(
    (sum, { umPerMm, directionDeg }) => {
      const turn = (directionDeg * Math.PI) / 180;
      const arcmin = ((umPerMm / 1000) * 10800) / Math.PI;
      return { x: sum.x + arcmin * Math.cos(turn), y: sum.y + arcmin * Math.sin(turn) };
    },
    { x: 0, y: 0 },
  );
  return Object.fromEntries(
    [150, 75, 0, -75, -150].map((focusUm, i) => {
      const frame = drawSub({
        width: WIDTH,
        height: HEIGHT,
        seed: seed + i,
        fieldSeed: seed,
        seeingArcsec: 2.2,
        state: { focusUm, sensorTiltArcmin, fieldCurvatureUmPerMm2 },
        stars: { count: starCount, minSeparationPx: 30, faintestE: 20_000 },
      });
      const cards = [
        { keyword: 'FOCALLEN', value: 800 },
        { keyword: 'APTDIA', value: 200 },
        { keyword: 'XPIXSZ', value: PIXEL_UM },
        { keyword: 'EGAIN', value: 0.8 },
        { keyword: 'ROWORDER', value: 'BOTTOM-UP' },
        { keyword: 'FOCUSPOS', value: TRUTH.inFocus - focusUm / TRUTH.umPerStep },
        { keyword: 'DATE-OBS', value: `2031-02-11T21:0${i}:00` },
        ...Object.entries(more).map(([keyword, value]) => ({ keyword, value })),
      ];
      const pixels = frame.pixels.data as Uint16Array;
      return [`${folder}/f${i}.fits`, encodeFits({ pixels, width: WIDTH, height: HEIGHT, cards })];
    }),
  );
}

function extentMm(directionDeg: number): number {
  const turn = (directionDeg * Math.PI) / 180;
  return ((WIDTH * Math.abs(Math.cos(turn)) + HEIGHT * Math.abs(Math.sin(turn))) * PIXEL_UM) / 1000;
}

let drawn: Record<string, Uint8Array> | null = null;
const tilted = (): Record<string, Uint8Array> =>
  (drawn ??= drawRun('run', { tilts: [{ ...TRUTH, umPerMm: TRUTH.acrossUm / extentMm(TRUTH.directionDeg) }] }));
const world = (more: Record<string, string> = {}): MemoryWorld => memoryWorld({ ...tilted(), ...more });

async function run(
  options: Partial<SweepOptions>,
  given = world(),
): Promise<{ record: SweepRecord; world: MemoryWorld }> {
  await sweep(['run'], { turned: [], calibration: [], history: false, out: 'report', ...options }, TOOL, given.effects);
  const path = [...given.files.keys()].find((name) => name.endsWith('report/sweep.json')) ?? '';
  return { record: parseSweep(JSON.parse(String(given.files.get(path)))), world: given };
}

describe('sweep', () => {
  it('finds best focus, tilt and its side, and says so in 24 lines of 80 columns', async () => {
    const { record, world: after } = await run({ umPerStep: TRUTH.umPerStep, largerReadings: 'out' });
    expect(record.status).toBe('measured');
    const { tilt, focus, focuser } = record;
    expect(Math.abs((focus?.middleReading.value ?? 0) - TRUTH.inFocus)).toBeLessThan(5 / TRUTH.umPerStep + 2);
    expect(Math.abs((tilt?.umAcross?.value ?? 0) / TRUTH.acrossUm - 1)).toBeLessThan(0.1);
    expect(Math.abs((tilt?.nearMirrorDeg ?? 0) - TRUTH.directionDeg)).toBeLessThan(5);
    expect(tilt?.largerDeg).toBe(tilt?.nearMirrorDeg);
    // The growth of the stars knows how long a step is.
    expect(Math.abs((focuser.umPerStepByStars?.value ?? 0) / TRUTH.umPerStep - 1)).toBeLessThan(0.05);
    expect(record.headline).toContain('upper right of the picture stands too near the mirror');
    const lines = after.out.trimEnd().split('\n');
    expect(lines.length).toBeLessThanOrEqual(25);
    expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(80);
    expect([...after.files.keys()].filter((name) => name.includes('/report/')).length).toBe(3);

    const knowledge = sweepKnowledge(record);
    // 100 um out of focus outwards is outside: negative.
    expect(defocusUmAt(knowledge, TRUTH.inFocus + 50)?.value).toBeGreaterThan(-110);
    expect(defocusUmAt(knowledge, TRUTH.inFocus + 50)?.value).toBeLessThan(-90);
    expect(knowledge.tilt?.x).toBeGreaterThan(0);
    expect(knowledge.signKnown).toBe(true);
  }, 120_000);

  it('turns the side over where larger readings move the camera in, and names none where that was not told', async () => {
    const { record } = await run({ umPerStep: TRUTH.umPerStep, largerReadings: 'in' });
    expect(Math.abs((record.tilt?.nearMirrorDeg ?? 0) - TRUTH.directionDeg - 180)).toBeLessThan(5);
    const untold = (await run({})).record;
    expect(untold.tilt?.nearMirrorDeg).toBeNull();
    expect(untold.headline).toContain('reaches focus at larger readings');
    expect(untold.focuser.umPerStepFrom).toBe('stars');
    expect(Math.abs((untold.tilt?.umAcross?.value ?? 0) / TRUTH.acrossUm - 1)).toBeLessThan(0.1);
  });

  it('numbers frames by --step, compares with an earlier run, and moves the plate', async () => {
    const first = await run({ stepUm: 75, largerReadings: 'out' });
    const earlier = JSON.stringify(first.record);
    const { record, world: after } = await run(
      {
        stepUm: 75,
        largerReadings: 'out',
        against: 'old/sweep.json',
        plate: { radiusMm: 40, pitchMm: 0.5, screws: 3, firstDeg: 30 },
      },
      world({ 'old/sweep.json': earlier }),
    );
    expect(record.against?.tiltChangeSigma).toBeCloseTo(0, 6);
    expect(after.out).toMatch(/no sure\s+change/);
    const [screw] = record.plate?.screws ?? [];
    const slope = Math.hypot(record.tilt?.gradient?.x ?? 0, record.tilt?.gradient?.y ?? 0);
    expect(screw?.travelUm.value).toBeGreaterThan(0.99 * 40 * slope);
    expect(screw?.turns).toBeCloseTo((screw?.travelUm.value ?? 0) / 500, 9);
  });

  it('refuses what makes no series, naming what was expected', async () => {
    const oneFrame = memoryWorld({ 'run/f2.fits': tilted()['run/f2.fits'] ?? '' });
    await expect(run({}, oneFrame)).rejects.toThrow('one focuser position');
    await expect(run({ against: 'run/f2.fits' })).rejects.toThrow(/not the record of a sweep|cannot be read/);
    const two = memoryWorld(Object.fromEntries(Object.entries(tilted()).slice(0, 3)));
    const { record } = await run({}, two);
    expect(record.status).toBe('inconclusive');
    expect(record.needs).toContain('at least 4');
  });

  it('writes a record that the published schema takes and a page that is valid HTML', async () => {
    const { record, world: after } = await run({
      umPerStep: TRUTH.umPerStep,
      largerReadings: 'out',
      plate: { radiusMm: 45, pitchMm: 0.5, screws: 3, firstDeg: 90 },
    });
    const check = schemaValidator(sweepJsonSchema());
    expect(check(JSON.parse(JSON.stringify(record)))).toBe('');
    expect(check({ ...record, tilt: 'none' })).toContain('tilt');
    const path = [...after.files.keys()].find((name) => name.endsWith('report/report.html')) ?? '';
    const page = String(after.files.get(path));
    expect(await htmlFaults(page)).toEqual([]);
    expect(page).not.toMatch(/https?:|url\(|@import|<script|<iframe|<link|<image|\son[a-z]+=|NaN|Infinity|undefined/i);
  });
});

/** The program itself, from the arguments on. */
async function program(given: MemoryWorld, command: string): Promise<SweepRecord> {
  given.out = '';
  expect(await runProgram(['sweep', ...command.split(' '), '--json', '--no-history'], given.effects), given.err).toBe(
    0,
  );
  return parseSweep(JSON.parse(given.out));
}

const TOLD = `--um-per-step ${TRUTH.umPerStep} --larger-readings out`;

describe('sweep of a camera turned in the tube', () => {
  // The camera's own tilt stays on the screen; that of the tube turns clockwise as the camera turns counter-clockwise.
  const CAMERA = { umPerMm: 16, directionDeg: 20 };
  const TUBE = { umPerMm: 14, directionDeg: 110 };
  const turned = Object.fromEntries(
    [0, 70, 200].map((angle) => {
      const tube = { ...TUBE, directionDeg: TUBE.directionDeg - angle };
      return [angle, { tilts: [CAMERA, tube], cards: { ROTATANG: angle }, starCount: 60, seed: 60 + angle }] as const;
    }),
  );
  const offDeg = (a: number, b: number): number => Math.abs(((((a - b) % 360) + 540) % 360) - 180);

  it('splits the tilt at three angles, and says with two that nothing checks it', { timeout: 120_000 }, async () => {
    const world = memoryWorld(
      Object.fromEntries(Object.entries(turned).flatMap(([angle, run]) => Object.entries(drawRun(`at${angle}`, run)))),
    );
    await program(world, `at0 --out r0 ${TOLD}`);
    await program(world, `at70 --out r70 ${TOLD}`);
    const three = await program(world, `at200 --out r200 ${TOLD} --turned r0 r70`);
    expect(three.turned).toMatchObject({ angles: 3, sense: 'counter-clockwise', senseSeen: true, widened: false });
    for (const [part, truth] of [
      [three.turned?.camera, CAMERA],
      [three.turned?.tube, TUBE],
    ] as const) {
      const acrossUm = truth.umPerMm * extentMm(truth.directionDeg);
      const { umAcross = 0, error = 0 } = part ?? {};
      expect(Math.abs(umAcross - acrossUm)).toBeLessThan(3 * error);
      const sigmaDeg = (error / acrossUm) * (180 / Math.PI);
      expect(sigmaDeg).toBeLessThan(4);
      expect(offDeg(part?.directionDeg ?? 180, truth.directionDeg)).toBeLessThan(3 * sigmaDeg);
    }
    expect(world.files.get([...world.files.keys()].find((name) => name.endsWith('r200/report.txt')) ?? '')).toMatch(
      /Turned {4}/,
    );
    const two = await program(world, `at200 --out two ${TOLD} --turned r0`);
    expect(two.turned).toMatchObject({ angles: 2, widened: true, misfitSigma: null });
    expect(two.turned?.camera.error).toBeGreaterThan(1.5 * (three.turned?.camera.error ?? 1));
    expect(Math.abs((two.turned?.camera.umAcross ?? 0) - CAMERA.umPerMm * extentMm(CAMERA.directionDeg))).toBeLessThan(
      3 * (two.turned?.camera.error ?? 0),
    );
    expect(three.turned?.misfitSigma).toBeLessThan(3);
    // A wrong name costs no measuring.
    expect(await runProgram(`sweep at0 --out r9 --turned r1`.split(' '), world.effects)).toBe(3);
    expect(world.err).toContain('--turned r1: cannot be read; expected the sweep.json of a sweep');
  });
});

describe('sweep of a corrector at known spacings', () => {
  // An invented corrector that bends the small field by 12 um from middle to corner a millimetre, flat at 55.5 mm.
  const UM_PER_MM = -12;
  const FLAT_MM = 55.5;
  const cornerMm2 = (((WIDTH - 1) ** 2 + (HEIGHT - 1) ** 2) / 4) * (PIXEL_UM / 1000) ** 2;
  /** Sensor inside focus off the middle: best focus of the corners lies at larger readings, farther out. */
  const at = (spacingMm: number): Run => ({
    tilts: [],
    fieldCurvatureUmPerMm2: (UM_PER_MM * (spacingMm - FLAT_MM)) / cornerMm2,
    starCount: 60,
    seed: Math.round(10 * spacingMm),
  });

  it('tells by how much to change it, and with one spacing that it cannot', { timeout: 120_000 }, async () => {
    const world = memoryWorld({ ...drawRun('near', at(53)), ...drawRun('far', at(58.5)) });
    const alone = await program(world, `near --out r53 ${TOLD} --spacing 53`);
    expect(alone.spacing).toEqual({ status: 'relative', umPerMm: null, changeMm: null });
    const both = await program(world, `far --out r58 ${TOLD} --spacing 58.5 --calibration r53`);
    const { status, umPerMm, changeMm } = both.spacing ?? {};
    expect(status).toBe('calibrated');
    expect(Math.abs((umPerMm?.value ?? 0) - UM_PER_MM)).toBeLessThan(3 * (umPerMm?.error ?? 0));
    expect(umPerMm?.error).toBeLessThan(4);
    expect(Math.abs((changeMm?.value ?? 0) - (FLAT_MM - 58.5))).toBeLessThan(3 * (changeMm?.error ?? 0));
    expect(changeMm?.value).toBeLessThan(0);
    const text = String(world.files.get([...world.files.keys()].find((name) => name.endsWith('r58/report.txt')) ?? ''));
    expect(text.replace(/\s+/g, ' ')).toMatch(/calibrated on known spacings: take out [\d.]+ ± [\d.]+ mm/);
  });
});
