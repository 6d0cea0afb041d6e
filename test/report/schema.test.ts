import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { Ajv2020 } from 'ajv/dist/2020.js';
import formats from 'ajv-formats';
import { describe, expect, it } from 'vitest';
import { runProgram } from '../../src/program.ts';
import { citationText, SOURCES } from '../../src/report/citation.ts';
import { parseReport, reportJsonSchema } from '../../src/report/record.ts';
import { drawSub } from '../support/draw.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { memoryWorld } from '../support/memoryEffects.ts';
import { recordOf } from '../support/record.ts';
import { skipUnless } from '../support/testData.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const OLD = ['version-1-adjust.json', 'version-1-inconclusive.json'];
const oldReport = (name: string): unknown => JSON.parse(readFileSync(`${ROOT}test/fixtures/reports/${name}`, 'utf8'));

/** ajv, the reference validator for JSON Schema in this language, in its strict mode. */
function validator(schema: object): (value: unknown) => string {
  const ajv = new Ajv2020({ strict: true, allowUnionTypes: true, allErrors: true });
  formats.default(ajv);
  expect(ajv.validateSchema(schema)).toBe(true);
  const validate = ajv.compile(schema);
  return (value) => (validate(value) ? '' : ajv.errorsText(validate.errors));
}

describe('the published schema', () => {
  const check = validator(reportJsonSchema());

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

  it('stands in the package under the name it exports, word for word as printed', async (context) => {
    const manifest = JSON.parse(readFileSync(`${ROOT}package.json`, 'utf8')) as {
      exports: Record<string, string>;
      man: string[];
      files: string[];
    };
    expect(manifest.files).toContain('dist');
    const path = `${ROOT}${manifest.exports['./report.schema.json'] ?? ''}`;
    skipUnless(context, existsSync(path), 'dist/report.schema.json is not built (npm run build)');
    const world = memoryWorld();
    expect(await runProgram(['schema'], world.effects)).toBe(0);
    expect(readFileSync(path, 'utf8')).toBe(world.out);
    expect(JSON.parse(world.out)).toEqual(JSON.parse(JSON.stringify(reportJsonSchema())));
    for (const page of manifest.man) expect(readFileSync(`${ROOT}${page}`, 'utf8')).toMatch(/^\.TH STARPLUMB 1/);
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
