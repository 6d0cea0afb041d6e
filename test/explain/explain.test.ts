import { resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { CAUSES, type Cause } from '../../src/diagnosis/finding.ts';
import { DRAWN_FAULTS, NO_FAULT, SENSOR_MM } from '../../src/explain/drawnFaults.ts';
import { EXPLANATIONS } from '../../src/explain/explanations.ts';
import { faultPicture } from '../../src/explain/faultPicture.ts';
import { type Portrait, portraitOf } from '../../src/explain/portrait.ts';
import { terminalStars } from '../../src/explain/terminalStars.ts';
import { runProgram } from '../../src/program.ts';
import { canLetter } from '../../src/report/lettering.ts';
import { memoryWorld } from '../support/memoryEffects.ts';

const CAUSE_NAMES = Object.keys(CAUSES) as Cause[];
const corner = { x: 0.42 * SENSOR_MM.width, y: 0.4 * SENSOR_MM.height };
const opposite = { x: -corner.x, y: -corner.y };

/** Moments of the drawn light within 22 um: um^2 for the second, um^3 for the third; independent of the measuring side. */
function moments(star: Portrait): {
  size: number;
  e1: number;
  e2: number;
  thirdX: number;
  thirdY: number;
  three: number;
} {
  const step = 0.5;
  const reach = 22;
  const light: [number, number, number][] = [];
  for (let y = -reach; y <= reach; y += step)
    for (let x = -reach; x <= reach; x += step) if (Math.hypot(x, y) <= reach) light.push([x, y, star.at(x, y)]);
  const mean = (of: (x: number, y: number) => number): number =>
    light.reduce((sum, [x, y, w]) => sum + w * of(x, y), 0) / light.reduce((sum, [, , w]) => sum + w, 0);
  const [cx, cy] = [mean((x) => x), mean((_, y) => y)];
  const xx = mean((x) => (x - cx) ** 2);
  const yy = mean((_, y) => (y - cy) ** 2);
  const xy = mean((x, y) => (x - cx) * (y - cy));
  return {
    size: Math.sqrt(xx + yy),
    e1: (xx - yy) / (xx + yy),
    e2: (2 * xy) / (xx + yy),
    thirdX: mean((x, y) => (x - cx) * ((x - cx) ** 2 + (y - cy) ** 2)),
    thirdY: mean((x, y) => (y - cy) * ((x - cx) ** 2 + (y - cy) ** 2)),
    three: Math.hypot(
      mean((x, y) => (x - cx) ** 3 - 3 * (x - cx) * (y - cy) ** 2),
      mean((x, y) => 3 * (x - cx) ** 2 * (y - cy) - (y - cy) ** 3),
    ),
  };
}

const of = (cause: Cause, z = { x: 0, y: 0 }): ReturnType<typeof moments> =>
  moments(portraitOf(DRAWN_FAULTS[cause], z));
const elongated = ({ e1, e2 }: { e1: number; e2: number }): number => Math.hypot(e1, e2);

describe('what is drawn shows what the text says', () => {
  const round = moments(portraitOf(NO_FAULT));

  it('nothing wrong: round and the smallest of all', () => {
    expect(elongated(round)).toBeLessThan(0.01);
    for (const cause of CAUSE_NAMES) {
      const worst = Math.max(of(cause, corner).size, of(cause).size);
      expect(worst, cause).toBeGreaterThan(1.1 * round.size);
    }
  });

  it('miscollimation: a tail to one side, the same all over the field', () => {
    const places = [of('miscollimation'), of('miscollimation', corner), of('miscollimation', opposite)];
    for (const { thirdX, thirdY } of places) {
      // The primary's axis leans to 25 degrees: the tail points away from it.
      expect((Math.atan2(thirdY, thirdX) * 180) / Math.PI).toBeGreaterThan(-155 - 20);
      expect((Math.atan2(thirdY, thirdX) * 180) / Math.PI).toBeLessThan(-155 + 20);
      expect(Math.hypot(thirdX, thirdY)).toBeGreaterThan(20 * Math.hypot(round.thirdX, round.thirdY));
    }
  });

  it('sensor tilt: sharp in the middle, soft on both sides, drawn out at right angles there', () => {
    const [middle, one, other] = [of('sensor-tilt'), of('sensor-tilt', corner), of('sensor-tilt', opposite)];
    expect(one.size).toBeGreaterThan(1.2 * middle.size);
    expect(other.size).toBeGreaterThan(1.2 * middle.size);
    expect(one.e1 * other.e1 + one.e2 * other.e2).toBeLessThan(-0.5 * elongated(one) * elongated(other));
  });

  it('corrector spacing: sharp in the middle, opposite corners alike', () => {
    const [middle, one, other] = [
      of('corrector-spacing'),
      of('corrector-spacing', corner),
      of('corrector-spacing', opposite),
    ];
    expect(one.size).toBeGreaterThan(1.15 * middle.size);
    expect(one.size).toBeCloseTo(other.size, 1);
    expect(one.e1).toBeCloseTo(other.e1, 2);
    expect(elongated(one)).toBeGreaterThan(5 * elongated(middle));
  });

  it('pinched optics: triangular, without a tail', () => {
    const { three, thirdX, thirdY } = of('pinched-optics');
    expect(three).toBeGreaterThan(10 * Math.hypot(thirdX, thirdY));
  });

  it.each(['tracking', 'astigmatism', 'dispersion'] as const)(
    '%s: drawn out along one line, in the corner as in the middle',
    (cause) => {
      const [middle, there] = [of(cause), of(cause, corner)];
      expect(elongated(middle)).toBeGreaterThan(0.1);
      expect(Math.abs(Math.atan2(middle.e2, middle.e1) - Math.atan2(there.e2, there.e1))).toBeLessThan(0.35);
    },
  );

  it('defocus: large and round', () => {
    expect(of('defocus').size).toBeGreaterThan(1.5 * round.size);
    expect(elongated(of('defocus'))).toBeLessThan(0.02);
  });
});

it.each(CAUSE_NAMES)('%s: every part is there, and the stars fit a terminal', (cause) => {
  const { is, looks, cure, confusedWith } = EXPLANATIONS[cause];
  for (const text of [is, looks, ...cure]) expect(text).toMatch(/[.)]$/);
  expect(cure.length).toBeGreaterThanOrEqual(3);
  expect(confusedWith.length).toBeGreaterThanOrEqual(2);
  const lines = terminalStars(DRAWN_FAULTS[cause]);
  expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(80);
  expect(lines.join('')).toMatch(/^[\x20-\x7e]+$/);
  expect(lines.join('\n')).toContain('@');
});

it('the list names every cause, and each explanation stands within 80 columns with the cautions', async () => {
  const list = memoryWorld();
  expect(await runProgram(['explain'], list.effects)).toBe(0);
  for (const cause of CAUSE_NAMES) {
    expect(list.out).toMatch(new RegExp(`^  ${cause} +\\w`, 'm'));
    const world = memoryWorld();
    expect(await runProgram(['explain', cause], world.effects)).toBe(0);
    expect(Math.max(...world.out.split('\n').map((line) => Array.from(line).length))).toBeLessThanOrEqual(80);
    for (const part of ['In the stars', 'How it is put right', 'what settles it', 'The Sun', '60825-1'])
      expect(world.out).toContain(part);
    expect(world.out).not.toContain('\u001b');
  }
});

it('a picture is written whole, at its own name, and drawn with our own lettering', async () => {
  const world = memoryWorld();
  expect(await runProgram(['explain', 'sensor-tilt', '--picture', 'tilt.png'], world.effects)).toBe(0);
  expect([...world.files.keys()]).toEqual([resolve('tilt.png')]);
  expect(
    Buffer.from(world.files.get(resolve('tilt.png')) ?? '')
      .subarray(1, 4)
      .toString(),
  ).toBe('PNG');
  for (const cause of CAUSE_NAMES)
    for (const letter of `${EXPLANATIONS[cause].title}${DRAWN_FAULTS[cause].amount}`)
      expect(canLetter(letter), `${cause}: ${letter}`).toBe(true);
});

it('a defocused field lights more of the picture than a sharp one', () => {
  const lit = (cause: Cause): number => {
    const { rgb, width, height } = faultPicture(EXPLANATIONS[cause].title, DRAWN_FAULTS[cause]);
    let bright = 0;
    for (let y = 140; y < height - 120; y++)
      for (let x = 40; x < width - 40; x++) if (rgb[3 * (y * width + x)] > 180) bright++;
    return bright;
  };
  expect(lit('defocus')).toBeGreaterThan(1.5 * lit('dispersion'));
});

it.each([
  ['no such fault', ['explain', 'bad-luck'], 'pinched-optics'],
  ['a picture of nothing', ['explain', '--picture', 'x.png'], 'of which fault'],
  ['a picture onto a folder', ['explain', 'tracking', '--picture', 'there'], 'this is a folder'],
])('%s is refused with what was expected', async (_, args, words) => {
  const world = memoryWorld();
  world.folders.add(resolve('there'));
  expect(await runProgram(args, world.effects)).toBe(2);
  expect(world.err).toContain(words);
  expect(world.files.size).toBe(0);
});

it('a full disk leaves nothing behind', async () => {
  const world = memoryWorld();
  world.beforeWrite = () => {
    throw Object.assign(new Error('ENOSPC: no space left'), { code: 'ENOSPC' });
  };
  expect(await runProgram(['explain', 'tracking', '--picture', 'x.png'], world.effects)).toBe(2);
  expect(world.err).toContain('x.png: cannot be written: ENOSPC');
  expect(world.files.size).toBe(0);
});
