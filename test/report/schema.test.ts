import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { runProgram } from '../../src/program.ts';
import { citationText, SOURCES } from '../../src/report/citation.ts';
import { parseReport, reportJsonSchema } from '../../src/report/record.ts';
import { sweepJsonSchema } from '../../src/report/sweepRecord.ts';
import { composeTrend } from '../../src/report/trendCompose.ts';
import { trendJsonSchema } from '../../src/report/trendRecord.ts';
import { DEMO_SEASON, drawSeason, QUIET_SEASON, type SeasonPlan } from '../../src/stability/drawnSeason.ts';
import { trendOf } from '../../src/stability/trend.ts';
import { drawSub } from '../support/draw.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { schemaValidator } from '../support/jsonSchema.ts';
import { memoryWorld } from '../support/memoryEffects.ts';
import { recordOf } from '../support/record.ts';
import { skipUnless } from '../support/testData.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const MANIFEST = JSON.parse(readFileSync(`${ROOT}package.json`, 'utf8')) as {
  exports: Record<string, string>;
  man: string[];
  files: string[];
};
const OLD = ['version-1-adjust.json', 'version-1-inconclusive.json'];
const oldReport = (name: string): unknown => JSON.parse(readFileSync(`${ROOT}test/fixtures/reports/${name}`, 'utf8'));

describe('the published schema', () => {
  const check = schemaValidator(reportJsonSchema());

  it('accepts a report of drawn subs and every example', () => {
    expect(check(JSON.parse(JSON.stringify(recordOf([drawSub({ width: 900, height: 640, starCount: 120 })]))))).toBe(
      '',
    );
    for (const report of Object.values(EXAMPLE_REPORTS)) expect(check(report)).toBe('');
  });

  it.each(OLD)('accepts %s, a report written by the first version, and the program reads it', (name) => {
    expect(check(oldReport(name))).toBe('');
    const read = parseReport(oldReport(name));
    expect(read.version).toBe(1);
    expect(read.findings.length).toBe(8);
  });

  it.each([
    ['verdict', 'perfect'],
    ['zones', []],
    ['created', 'yesterday'],
    ['frames', 'none'],
    ['version', 2],
  ])('refuses a report whose %s is %j', (field, value) => {
    expect(check({ ...EXAMPLE_REPORTS.good, [field]: value })).toContain(field);
  });

  it('refuses what is missing, and allows what a later version may add', () => {
    const without = Object.entries(EXAMPLE_REPORTS.good).filter(([name]) => name !== 'verdict');
    expect(check(Object.fromEntries(without))).toContain('verdict');
    expect(check({ ...EXAMPLE_REPORTS.good, somethingNew: 1 })).toBe('');
  });

  it.for([
    ['report', reportJsonSchema],
    ['sweep', sweepJsonSchema],
    ['trend', trendJsonSchema],
  ] as const)('of the %s stands in the package as it is printed', async ([record, schema], context) => {
    const world = memoryWorld();
    expect(await runProgram(['schema', record], world.effects)).toBe(0);
    expect(JSON.parse(world.out)).toEqual(JSON.parse(JSON.stringify(schema())));
    expect(JSON.parse(world.out)).toMatchObject({ $id: `urn:starplumb:${record}:1` });
    schemaValidator(schema());
    skipUnless(context, existsSync(`${ROOT}dist`), 'dist is not built (npm run build)');
    const path = `${ROOT}${MANIFEST.exports[`./${record}.schema.json`] ?? `no export for ${record}`}`;
    expect(readFileSync(path, 'utf8')).toBe(world.out);
  });

  it('is that of the report where none is named, and another is refused by the names of those there are', async () => {
    const world = memoryWorld();
    expect(await runProgram(['schema'], world.effects)).toBe(0);
    expect(JSON.parse(world.out)).toEqual(JSON.parse(JSON.stringify(reportJsonSchema())));
    expect(await runProgram(['schema', 'frames'], world.effects)).toBe(2);
    expect(world.err).toContain('report, sweep, trend');
  });

  it('goes into the package together with the man page', (context) => {
    expect(MANIFEST.files).toContain('dist');
    skipUnless(context, existsSync(`${ROOT}dist`), 'dist is not built (npm run build)');
    for (const page of MANIFEST.man) expect(readFileSync(`${ROOT}${page}`, 'utf8')).toMatch(/^\.TH STARPLUMB 1/);
  });
});

describe('the schema of a trend', () => {
  const check = schemaValidator(trendJsonSchema());
  const context = { created: '2031-12-01T08:00:00.000Z', tool: { name: 'starplumb', version: 'test' } };
  const seasons: Record<string, SeasonPlan> = {
    'with a knock and adjustments': DEMO_SEASON,
    'of one week': { ...QUIET_SEASON, weeks: 1 },
    'that drifts out of tolerance': { ...QUIET_SEASON, driftPerWeek: { x: 0.05, y: 0.02 }, temperature: [10, 9] },
    'with the camera turned untold': { ...QUIET_SEASON, cameraTurns: [{ week: 6, deg: 33, told: false }] },
  };

  it.each(Object.keys(seasons))('accepts that of a season %s', (name) => {
    const { checks, events } = drawSeason(seasons[name] ?? QUIET_SEASON);
    const record = composeTrend(trendOf(checks, events), context);
    expect(check(JSON.parse(JSON.stringify(record)))).toBe('');
    expect(record.checks).toHaveLength(checks.length);
    expect(check({ ...record, state: 'fine' })).toContain('state');
  });

  it('accepts that of no check at all', () => {
    expect(check(composeTrend(trendOf([], []), context))).toBe('');
  });
});

describe('--cite', () => {
  it('prints the program with its version and every source as BibTeX', async () => {
    const world = memoryWorld();
    expect(await runProgram(['--cite'], world.effects)).toBe(0);
    const { version } = JSON.parse(readFileSync(`${ROOT}package.json`, 'utf8')) as { version: string };
    expect(world.out).toContain(`version ${version}`);
    const keys = [...world.out.matchAll(/^@\w+\{(\w+),$/gm)].map((match) => match[1]);
    expect(keys).toEqual(['starplumb', ...SOURCES.map(({ key }) => key)]);
    expect(new Set(keys).size).toBe(keys.length);
  });

  it('is BibTeX whose braces close, entry by entry', () => {
    const entries = citationText({ name: 'starplumb', version: '1' })
      .split(/^(?=@)/m)
      .slice(1);
    expect(entries.length).toBe(SOURCES.length + 1);
    for (const entry of entries) {
      const body = entry.replace(/^%.*$/gm, '');
      expect(body.split('{').length, entry).toBe(body.split('}').length);
      expect(entry).toMatch(/^ {2}author = \{.+\},$/m);
    }
  });

  it('names every work that the README builds the method on', () => {
    const readme = readFileSync(`${ROOT}README.md`, 'utf8');
    const method = readme.slice(readme.indexOf('## Method'), readme.indexOf('## Cautions'));
    const authors = [
      ...method.matchAll(/([A-Z][a-z]+)(?: & ([A-Z][a-z]+))?(?: et al\.?)?,? ?\(?(?:19|20)\d\d/g),
    ].flatMap((m) => [m[1], m[2]]);
    const cited = SOURCES.map(({ fields }) => fields['author']).join(' ');
    const missing = authors.filter((name) => name !== undefined && name !== 'August' && !cited.includes(name));
    expect(authors.length).toBeGreaterThan(8);
    expect(missing).toEqual([]);
  });
});
