import { describe, expect, it } from 'vitest';
import { sweep } from '../../src/commands/sweep.ts';
import type { SweepOptions } from '../../src/commands/sweepOptions.ts';
import { encodeFits } from '../../src/fits/encode.ts';
import { sweepKnowledge } from '../../src/report/sweepKnowledge.ts';
import { parseSweep, type SweepRecord } from '../../src/report/sweepRecord.ts';
import { defocusUmAt } from '../../src/sweep/knowledge.ts';
import { drawSub } from '../support/draw.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';

const TOOL = { name: 'starplumb', version: 'test' };
const PIXEL_UM = 3.76;
const [WIDTH, HEIGHT] = [1100, 800];
/** The sensor's upper right stands 90 um nearer the mirror than its lower left, edge to edge along 30 degrees. */
const TRUTH = { acrossUm: 90, directionDeg: 30, inFocus: 5000, umPerStep: 2 };

/** Five small subs through focus; readings grow as the camera moves out. */
function drawRun(): Record<string, Uint8Array> {
  const turn = (TRUTH.directionDeg * Math.PI) / 180;
  const extentMm = ((WIDTH * Math.cos(turn) + HEIGHT * Math.sin(turn)) * PIXEL_UM) / 1000;
  const arcmin = ((TRUTH.acrossUm / 1000 / extentMm) * 10800) / Math.PI;
  return Object.fromEntries(
    [150, 75, 0, -75, -150].map((focusUm, i) => {
      const frame = drawSub({
        width: WIDTH,
        height: HEIGHT,
        starCount: 90,
        seed: 40 + i,
        fieldSeed: 40,
        seeingArcsec: 2.2,
        state: { focusUm, sensorTiltArcmin: { x: arcmin * Math.cos(turn), y: arcmin * Math.sin(turn) } },
        stars: { count: 90, minSeparationPx: 30, faintestE: 20_000 },
      });
      const cards = [
        { keyword: 'FOCALLEN', value: 800 },
        { keyword: 'APTDIA', value: 200 },
        { keyword: 'XPIXSZ', value: PIXEL_UM },
        { keyword: 'EGAIN', value: 0.8 },
        { keyword: 'ROWORDER', value: 'BOTTOM-UP' },
        { keyword: 'FOCUSPOS', value: TRUTH.inFocus - focusUm / TRUTH.umPerStep },
        { keyword: 'DATE-OBS', value: `2031-02-11T21:0${i}:00` },
      ];
      const pixels = frame.pixels.data as Uint16Array;
      return [`run/f${i}.fits`, encodeFits({ pixels, width: WIDTH, height: HEIGHT, cards })];
    }),
  );
}

let drawn: Record<string, Uint8Array> | null = null;
const world = (more: Record<string, string> = {}): MemoryWorld => memoryWorld({ ...(drawn ??= drawRun()), ...more });

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
    const oneFrame = memoryWorld({ 'run/f2.fits': (drawn ??= drawRun())['run/f2.fits'] ?? '' });
    await expect(run({}, oneFrame)).rejects.toThrow('one focuser position');
    await expect(run({ against: 'run/f2.fits' })).rejects.toThrow(/not the record of a sweep|cannot be read/);
    const two = memoryWorld(Object.fromEntries(Object.entries(drawn ?? {}).slice(0, 3)));
    const { record } = await run({}, two);
    expect(record.status).toBe('inconclusive');
    expect(record.needs).toContain('at least 4');
  });
});
