import { expect, it } from 'vitest';
import { checksCsv } from '../../src/history/exportRows.ts';
import { openHistory } from '../../src/history/openHistory.ts';
import { rowOf } from '../../src/history/rowOf.ts';
import { runProgram } from '../../src/program.ts';
import { drawnReport } from '../../src/report/drawnReport.ts';
import type { Report } from '../../src/report/record.ts';
import type { TrendRecord } from '../../src/report/trendRecord.ts';
import { DEMO_SEASON, drawSeason } from '../../src/stability/drawnSeason.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { reportOf } from '../support/historyFolder.ts';
import { type MemoryWorld, memoryWorld } from '../support/memoryEffects.ts';

const run = (world: MemoryWorld, ...args: string[]): Promise<number> => runProgram(['history', ...args], world.effects);
const printed = async (world: MemoryWorld, ...args: string[]): Promise<string> => {
  world.out = '';
  expect(await run(world, ...args), world.err).toBe(0);
  return world.out;
};

async function filled(...reports: Report[]): Promise<MemoryWorld> {
  const world = memoryWorld();
  const history = await openHistory(world.effects);
  for (const report of reports) history.add(report);
  history.close();
  return world;
}

it('list: checks and notes by their times, amounts with errors, within 84 columns', async () => {
  const world = await filled(reportOf(1), reportOf(3, 3, { rig: 'a rig of a long name' }));
  await run(world, 'note', 'moved', 'the', 'pier', '--time', '2031-02-13');
  await run(world, 'note', 'primary by the book', '--adjustment', '--time', '2031-02-13T12');
  const lines = (await printed(world, 'list')).trimEnd().split('\n');
  expect(lines).toHaveLength(5);
  expect(lines[1]).toBe(`    1 2031-02-12 21:03 -          adjust     2.9′ -0.6 +0.8 14±8µm    3.17"   1.08`);
  expect(lines[2]).toBe('   n1 2031-02-13 00:00 moved the pier');
  expect(lines[3]).toBe('   n2 2031-02-13 12:00 adjusted: primary by the book');
  expect(lines[4]).toContain('a rig of …');
  expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(84);
  expect((await printed(world, 'list', '--last', '1')).trimEnd().split('\n')).toHaveLength(2);
  expect(await printed(world, 'list', '--rig', 'roof', '--to', '2031-02-12')).toBe('');
  expect(world.err).toContain('No check of the rig roof is kept; there are checks of (no rig), a rig of a long name');
});

it('show: the whole report; a number that is not there says the last one', async () => {
  const world = await filled(reportOf(1));
  expect(await printed(world, 'show', '1')).toContain(EXAMPLE_REPORTS.miscollimated.headline.slice(0, 40));
  expect(JSON.parse(await printed(world, 'show', '1', '--json'))).toEqual(reportOf(1));
  expect(await run(world, 'show', '7')).toBe(2);
  expect(world.err).toContain('No check 7 in');
  expect(world.err).toContain('the last one is 1');
});

it('an empty history says how it fills', async () => {
  const world = memoryWorld();
  for (const command of ['list', 'trend']) {
    world.err = '';
    expect(await run(world, command)).toBe(0);
    expect(world.err).toContain('No check is kept yet in');
  }
});

it('export: JSON holds every row and note, CSV every leaf of a row and no cell that a spreadsheet computes', async () => {
  const hostile = reportOf(1, 1, { rig: '=HYPERLINK("http://x")' });
  const frames = hostile.frames.map((frame) => ({ ...frame, camera: '\t+1+1"', filter: '@SUM(A1)' }));
  const report: Report = {
    ...hostile,
    frames,
    orientation: { ...hostile.orientation, spikes: { angleDeg: 30, errorDeg: 0.2, periodDeg: 90, stars: 9 } },
    cameraAngle: { deg: 30, errorDeg: 0, from: 'rig', moduloDeg: 360 },
    field: { ...hostile.field, defocus: EXAMPLE_REPORTS.tilted.field.defocus },
  };
  const world = await filled(report);
  const json = JSON.parse(await printed(world, 'export')) as { checks: unknown[]; events: unknown[] };
  expect(json).toMatchObject({ format: 'starplumb-history', version: 1, events: [] });
  expect(json.checks).toEqual([{ id: 1, ...rowOf(report) }]);
  expect(await printed(world, 'export', '--csv', '--out', 'h.csv')).toBe('1 checks in h.csv\n');
  const csv = String([...world.files.entries()].find(([name]) => name.endsWith('h.csv'))?.[1]);
  expect(csv).toBe(checksCsv([{ id: 1, ...rowOf(report) }]));
  const [head = '', row = ''] = csv.split('\r\n');
  const names = head.split(',');
  // Every leaf of the row has a column: as many as a walk through it finds.
  const leaves = (value: unknown): number =>
    typeof value === 'object' && value !== null && !Array.isArray(value)
      ? Object.values(value).reduce((sum: number, inner) => sum + leaves(inner), 0)
      : 1;
  expect(names).toHaveLength(leaves({ id: 1, ...rowOf(report) }));
  expect(new Set(names).size).toBe(names.length);
  expect(names).toEqual(expect.arrayContaining(['sensorTiltUmError', 'mirrorTiltArcmin', 'cameraAngleDeg', 'comaUmX']));
  expect(row).toContain(`"'=HYPERLINK(""http://x"")"`);
  expect(row).toContain(`"'@SUM(A1)"`);
  expect(row).not.toMatch(/(^|,)"?[=+@]/);
});

it('import: reports at any depth, an older one replaces nothing, a broken one is named and passed over', async () => {
  const newer = { ...reportOf(2), created: '2031-06-01T00:00:00.000Z', verdict: 'good' as const };
  const world = await filled(newer);
  const put = (path: string, content: string): unknown => world.files.set(`${process.cwd()}/${path}`, content);
  put('old/a/report.json', JSON.stringify(reportOf(1)));
  put('old/a/deeper/report.json', JSON.stringify(reportOf(2)));
  put('old/b/report.json', '{"format": "starplumb-report"');
  put('old/c/report.json', JSON.stringify({ ...reportOf(4), verdict: 'lovely' }));
  put('old/c/notes.json', 'not looked at');
  expect(await printed(world, 'import', 'old', '--rig', 'garden')).toBe(
    '1 new; 1 were there already, or are older than what is kept of the same subs; 2 could not be read.\n',
  );
  expect(world.err).toMatch(/old\/b\/report\.json: not JSON: /);
  expect(world.err).toContain('old/c/report.json: not a report: verdict:');
  const rows = (JSON.parse(await printed(world, 'list', '--json')) as { checks: { rig: string; verdict: string }[] })
    .checks;
  expect(rows.map(({ rig, verdict }) => [rig, verdict])).toEqual([
    ['garden', 'adjust'],
    [null, 'good'],
  ]);
  expect(await printed(world, 'import', 'old/a')).toContain('0 new; 2 were there already');
  expect(await run(world, 'import', 'nowhere')).toBe(3);
});

it('trend --json: the record for programs; without checks it says so; a rig may wish for a tolerance of its own', async () => {
  const nothing = JSON.parse(await printed(memoryWorld(), 'trend', '--json')) as TrendRecord;
  expect(nothing).toMatchObject({ format: 'starplumb-trend', version: 1, state: 'open', headline: 'No checks yet.' });
  const { checks, events } = drawSeason(DEMO_SEASON);
  const world = await filled(...checks.map((check) => drawnReport({ ...check, rig: 'garden' })));
  for (const { kind, text, time } of events)
    await run(world, 'note', text, '--time', time.slice(0, 19), ...(kind === 'adjustment' ? ['--adjustment'] : []));
  const trend = JSON.parse(await printed(world, 'trend', '--json', '--out', 'trend.html')) as TrendRecord;
  expect(trend.checks).toHaveLength(checks.length);
  expect(trend.events.map(({ text }) => text)).toEqual(events.map(({ text }) => text));
  expect(trend).toMatchObject({ rig: 'garden', state: 'moved', coma: { unit: 'arcmin', toleranceFrom: 'trade' } });
  // The same numbers as in the terminal, where they are words.
  const told = await printed(world, 'trend');
  expect(told.replace(/\s+/g, ' ')).toContain(trend.headline);
  const [jump] = trend.eras[0]?.fit?.jumps ?? [];
  expect(told).toContain(jump?.step.length.toFixed(2));
  expect([...world.files.keys()].some((name) => name.endsWith('trend.html'))).toBe(true);
  await runProgram(['rig', 'add', 'garden', '--mirror-tilt-tolerance', '0.8'], world.effects);
  expect(JSON.parse(await printed(world, 'trend', '--json'))).toMatchObject({
    coma: { tolerance: 0.8, toleranceFrom: 'rig' },
  });
  expect((await printed(world, 'trend')).replace(/\s+/g, ' ')).toContain('tolerance 0.80′ by your rig’s own wish');
});

it('prune: says what would go, removes it only with --yes, and a note of all rigs is not one rig’s', async () => {
  const world = await filled(reportOf(1, 1, { rig: 'garden' }), reportOf(2), reportOf(5, 5, { rig: 'garden' }));
  await run(world, 'note', 'moved the pier', '--time', '2031-02-01');
  const dry = await printed(world, 'prune', '--before', '2031-02-14', '--rig', 'garden');
  expect(dry).toContain('1 checks and 0 notes would be removed for good; nothing was.');
  expect((await printed(world, 'list')).trimEnd().split('\n')).toHaveLength(5);
  expect(await printed(world, 'prune', '--before', '2031-02-14', '--rig', 'garden', '--yes')).toContain(
    '1 checks and 0 notes removed.',
  );
  expect(await printed(world, 'prune', '--ids', '2,n1', '--yes')).toContain('1 checks and 1 notes removed.');
  expect((await printed(world, 'list')).trimEnd().split('\n')).toHaveLength(2);
  expect(await run(world, 'prune')).toBe(2);
  expect(await run(world, 'prune', '--ids', 'all')).toBe(2);
});

it.each([
  ['list', '--from', 'yesterday'],
  ['list', '--last', '0'],
  ['show', 'x'],
  ['note', ' '],
  ['note', 'x', '--time', '2031-13-40'],
])('history %s %s %s is wrong usage', async (...args) => {
  expect(await run(memoryWorld(), ...args)).toBe(2);
});

it('hostile words of a note reach the terminal as text', async () => {
  const world = memoryWorld();
  expect(await printed(world, 'note', 'a\u001b[31mred\nline', '--time', '2031-02-13')).toBe(
    'Note n1 of 2031-02-13 00:00 UTC: a [31mred line\n',
  );
  expect(await printed(world, 'list')).toContain('a [31mred line');
});
