import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { turnFrom } from '../../src/commands/turnArguments.ts';
import { UserError } from '../../src/errors.ts';
import { runProgram } from '../../src/program.ts';
import { ScrewRecord } from '../../src/screws/record.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';

const run = (world: MemoryWorld, ...args: string[]): Promise<number> => {
  world.out = '';
  world.err = '';
  return runProgram(['nudge', ...args], world.effects);
};

const later = (world: MemoryWorld, minutes: number): void => {
  world.now = new Date(world.now.getTime() + 60_000 * minutes);
};

/** A rig with three screws, and the report of a primary that is off. */
async function garden(): Promise<MemoryWorld> {
  const report = { ...EXAMPLE_REPORTS.miscollimated, created: '2031-02-12T06:30:00.000Z' };
  const world = memoryWorld({ 'report/report.json': JSON.stringify(report) });
  const rig = 'rig add garden --aperture 203 --focal 800 --screws 3 --screw-circle 95 --thread M6';
  expect(await runProgram(rig.split(' '), world.effects)).toBe(0);
  return world;
}

describe('a turn in words', () => {
  it.each<[string, string, number]>([
    ['A 1/8 cw', 'A', 1 / 8],
    ['A 1/8 ccw', 'A', -1 / 8],
    ['screw A, 1/8 turn clockwise', 'A', 1 / 8],
    ['b 45deg counter-clockwise', 'b', -1 / 8],
    ['B 0.25cw', 'B', 1 / 4],
    ['2 1 1/4 turns ccw', '2', -1.25],
    ['C ⅛ cw', 'C', 1 / 8],
    ['a 90° anticlockwise', 'a', -1 / 4],
    ['top cw 1/16', 'top', 1 / 16],
  ])('%s', (words, screw, turns) => {
    const found = turnFrom(words.split(' '));
    expect(found.screw).toBe(screw);
    expect(found.turns).toBeCloseTo(turns, 12);
  });

  it.each([
    ['A', 'How far was screw A turned?'],
    ['A 1/8', 'Which way was screw A turned, cw or ccw'],
    ['A 1/8 cw ccw', 'Which way'],
    ['A 1/0 cw', '1/0: expected how far'],
    ['A much cw', 'much: expected how far'],
    ['screw', 'expected screw, turn and sense'],
  ])('%s is refused with what was expected', (words, message) => {
    expect(() => turnFrom(words.split(' '))).toThrow(UserError);
    expect(() => turnFrom(words.split(' '))).toThrow(message);
  });
});

describe('starplumb nudge', () => {
  it('notes a turn, takes it back, lists what is left, and loses nothing', async () => {
    const world = await garden();
    expect(await run(world, 'a', '1/8', 'cw')).toBe(0);
    expect(world.out).toContain('Noted: screw A 1/8 turn clockwise.');
    expect(world.out).toContain('keep nothing above an open mirror');
    later(world, 1);
    expect(await run(world, 'B', '1/4', 'ccw')).toBe(0);
    expect(await run(world, '--undo')).toBe(0);
    expect(world.out).toContain('Taken back: screw B 1/4 turn counter-clockwise.');
    await run(world, '--list');
    expect(world.out).toBe('2031-02-12 06:40 UTC  screw A 1/8 turn clockwise\n');
    const folder = resolve('data/screws/rig-garden');
    const names = [...world.files.keys()]
      .filter((path) => path.startsWith(folder))
      .map((path) => path.slice(folder.length + 1));
    expect(names.filter((name) => name.startsWith('undone-turn-'))).toHaveLength(1);
    await run(world, '--undo');
    await run(world, '--undo');
    expect(world.out).toContain('No turn is noted.');
  });

  it('learns from reports: tries a screw, then knows what it did', async () => {
    const world = await garden();
    expect(await run(world, '--look', 'report')).toBe(0);
    expect(world.out).toMatch(/^Turn screw [ABC] 1\/\d+ turn (counter-)?clockwise/);
    expect(world.out).toMatch(/What (this screw does|these screws do) is not known yet/);
    later(world, 5);
    await run(world, 'A', '1/8', 'cw');
    await run(world);
    expect(world.out).toContain('Take a sub first.');
    later(world, 5);
    // The same telescope with 0.3 arcminutes left: the eighth turn nearly nulled it.
    const good = { ...EXAMPLE_REPORTS.good, created: world.now.toISOString() };
    world.files.set(resolve('good.json'), JSON.stringify(good));
    expect(await run(world, '--look', 'good.json', '--json')).toBe(0);
    const told = JSON.parse(world.out) as {
      screws: string[];
      turns: object[];
      next: { status: string; moves: object[] };
    };
    expect(told.screws).toEqual(['A', 'B', 'C']);
    expect(told.turns).toEqual([{ screw: 'A', turns: 0.125, at: '2031-02-12T06:45:12.000Z' }]);
    expect(told.next).toMatchObject({ status: 'done', moves: [] });
  });

  it('says where a report is older than the turn', async () => {
    const world = await garden();
    await run(world, 'A', '1/8', 'cw');
    await run(world, '--look', 'report');
    expect(world.out).toContain('The report is older than screw A 1/8 turn clockwise');
  });

  it.each([
    [['D', '1/8', 'cw'], 2, 'No screw D: there are A, B, C.'],
    [['A', '3', 'cw'], 2, 'expected at most 2 at once'],
    [['A', '0', 'cw'], 2, 'not nothing'],
    [['A', '1/8', 'cw', '--undo'], 2, 'One at a time'],
    [['--look', 'absent.json'], 3, 'there is no such file'],
    [['--folder', 'absent'], 2, 'no such folder'],
    [['--rig', 'roof'], 2, 'No rig is named roof'],
  ])('%j ends with %d and says why; nothing is noted', async (args, code, message) => {
    const world = await garden();
    expect(await run(world, ...args)).toBe(code);
    expect(world.err).toContain(message);
    expect([...world.files.keys()].filter((path) => path.includes('turn-'))).toEqual([]);
  });

  it('without rig and folder it asks for one of them, and remembers the last', async () => {
    const world = memoryWorld({ 'subs/a.fits': '' });
    expect(await run(world, 'A', '1/8', 'cw')).toBe(2);
    expect(world.err).toContain('Which telescope?');
    expect(await run(world, 'A', '1/8', 'cw', '--folder', 'subs')).toBe(0);
    expect(await run(world, 'B', '1/8', 'cw')).toBe(0);
    await run(world, '--list');
    expect(world.out.trim().split('\n')).toHaveLength(2);
  });

  it('names of one’s own are taken as they come, and stay', async () => {
    const world = await garden();
    for (const screw of ['top', 'left', 'right']) expect(await run(world, screw, '1/8', 'cw')).toBe(0);
    expect(await run(world, 'TOP', '1/8', 'ccw')).toBe(0);
    expect(await run(world, 'lock', '1/8', 'ccw')).toBe(2);
    expect(world.err).toContain('No screw lock: there are top, left, right. If it is one more, --new takes it.');
    expect(await run(world, 'lock', '1/8', 'ccw', '--new')).toBe(0);
    await run(world, '--json');
    expect((JSON.parse(world.out) as { screws: string[] }).screws).toEqual(['top', 'left', 'right', 'lock']);
  });
});

describe('the record', () => {
  it('keeps every turn that two programs write at the same time', async () => {
    const world = memoryWorld();
    const folder = resolve('data/screws/rig-x');
    const writers = [1, 2].map((processId) => new ScrewRecord(folder, { ...world.effects, processId }));
    const at = world.now.toISOString();
    for (let i = 0; i < 5; i++)
      await Promise.all(writers.map((writer) => writer.addTurn({ screw: 'A', turns: 0.125, at })));
    expect(await writers[0]?.turns()).toHaveLength(10);
    expect(await writers[1]?.turns()).toHaveLength(10);
  });

  it('a file of another kind or a torn one costs that entry only; a full disk leaves the turn out whole', async () => {
    const world = memoryWorld();
    const record = new ScrewRecord(resolve('r'), world.effects);
    await record.addTurn({ screw: 'A', turns: 0.125, at: world.now.toISOString() });
    world.files.set(join(resolve('r'), 'turn-20310101T000000000Z-1-0.json'), '{"screw":"A","tur');
    expect(await record.turns()).toHaveLength(1);
    world.beforeWrite = () => {
      throw Object.assign(new Error('ENOSPC'), { code: 'ENOSPC' });
    };
    await expect(record.addTurn({ screw: 'B', turns: 1, at: world.now.toISOString() })).rejects.toThrow(
      'cannot be written',
    );
    expect(await record.turns()).toHaveLength(1);
  });
});
