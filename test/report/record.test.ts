import { expect, it } from 'vitest';
import { parseReport, reportJsonSchema } from '../../src/report/record.ts';
import { recordText } from '../../src/report/reportFormat.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const examples = Object.entries(EXAMPLE_REPORTS);
const good = (): Record<string, unknown> => JSON.parse(JSON.stringify(EXAMPLE_REPORTS.good)) as Record<string, unknown>;

it.each(examples)('the %s record comes back unchanged from JSON', (_, report) => {
  expect(parseReport(JSON.parse(JSON.stringify(report)))).toEqual(report);
});

it('a record written before later fields were added is readable, with their defaults', () => {
  const without = (names: readonly string[], from: object): object =>
    Object.fromEntries(Object.entries(from).filter(([name]) => !names.includes(name)));
  const old = {
    ...without(['tool', 'notes', 'settings'], good()),
    frames: EXAMPLE_REPORTS.good.frames.map((frame) =>
      without(['camera', 'focusPosition', 'altitudeDeg', 'sha256', 'notes'], frame),
    ),
  };
  const read = parseReport(old);
  expect(read.tool).toBeNull();
  expect(read.notes).toEqual([]);
  expect(read.frames[0]?.sha256).toBeNull();
});

it('fields of a later version are left aside, not refused', () => {
  const later = { ...good(), somethingNew: { of: 'later' } };
  expect(parseReport(later)).toEqual(EXAMPLE_REPORTS.good);
});

it.each([
  ['another format', { format: 'something-else' }, 'format'],
  ['a later version', { version: 2 }, 'version'],
  ['an unknown verdict', { verdict: 'perfect' }, 'verdict'],
  ['no headline', { headline: '' }, 'headline'],
  ['eight zones', { zones: EXAMPLE_REPORTS.good.zones.slice(1) }, 'zones'],
  ['no frame', { frames: [] }, 'frames'],
  ['a time without a zone', { created: '2031-02-12 06:40' }, 'created'],
])('%s is refused, naming the place', (_, change, place) => {
  expect(() => parseReport({ ...good(), ...change })).toThrow(place);
});

it.each([Number.NaN, Infinity])('%f is no number in a record: a missing value is null', (value) => {
  const report = structuredClone(EXAMPLE_REPORTS.good);
  const zones = report.zones.map((zone) => ({ ...zone, fwhmPx: { value, error: 0.1 } }));
  expect(() => parseReport({ ...report, zones })).toThrow('fwhmPx');
});

it('an axis beyond 180 degrees is refused, and a direction up to 360 is not', () => {
  const findings = (change: object): unknown => ({
    ...good(),
    findings: [{ ...EXAMPLE_REPORTS.good.findings[0], ...change }],
  });
  expect(() => parseReport(findings({ axisDeg: 181 }))).toThrow('axisDeg');
  expect(parseReport(findings({ directionDeg: 359 })).findings[0]?.directionDeg).toBe(359);
});

it('the JSON Schema names the draft and requires what the contract requires', () => {
  const schema = reportJsonSchema() as { $schema: string; required: string[]; properties: Record<string, unknown> };
  expect(schema.$schema).toContain('2020-12');
  const contract = [
    'format',
    'version',
    'created',
    'verdict',
    'headline',
    'needs',
    'frames',
    'scale',
    'orientation',
    'zones',
    'field',
    'findings',
  ];
  expect(schema.required).toEqual(expect.arrayContaining(contract));
});

it('a number that is none is never written, where JSON would make null of it', () => {
  expect(JSON.parse(recordText(EXAMPLE_REPORTS.good))).toEqual(good());
  for (const none of [Number.NaN, Number.POSITIVE_INFINITY])
    expect(() => recordText({ field: { tiltUm: { value: none } } })).toThrow(/value of the record is/);
});
