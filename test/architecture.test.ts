import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';

const SRC = fileURLToPath(new URL('../src', import.meta.url));

/** What each folder may import of the others: data flows frame -> stars -> shapes -> field -> diagnosis -> report. */
const MAY_IMPORT: Record<string, readonly string[]> = {
  numeric: ['kernels'],
  kernels: [],
  fits: ['numeric', 'kernels'],
  frame: ['fits', 'numeric'],
  stars: ['frame', 'shapes', 'numeric', 'kernels'],
  shapes: ['frame', 'numeric', 'kernels'],
  field: ['shapes', 'stars', 'numeric', 'kernels'],
  optics: ['numeric', 'kernels'],
  retrieval: ['field', 'optics', 'shapes', 'numeric', 'kernels'],
  diagnosis: ['kernels', 'frame', 'field', 'retrieval', 'optics', 'shapes', 'numeric'],
  stability: ['diagnosis', 'numeric'],
  sweep: ['frame', 'stars', 'shapes', 'optics', 'numeric'],
  report: ['sweep', 'diagnosis', 'stability', 'field', 'shapes', 'stars', 'frame', 'numeric', 'kernels'],
  explain: ['diagnosis', 'optics', 'report', 'numeric'],
  live: ['report', 'diagnosis', 'field', 'shapes', 'frame', 'fits', 'numeric'],
  adjust: ['live', 'report', 'diagnosis', 'rig', 'field', 'numeric'],
  page: ['live', 'report'],
  shell: [],
  rig: ['frame'],
  'measure.ts': ['frame', 'stars', 'shapes', 'field', 'diagnosis', 'optics', 'numeric'],
};

/** Single imports beyond the table, each with its reason. */
const EXCEPTIONS: Record<string, string> = {
  'stability -> history': 'what is kept of a check is what is trended (types only)',
  'report -> history': 'a drawn check is told as a report (types only)',
  'report -> measure.ts': 'the record is composed from what the chain returns (types only)',
  'live -> measure.ts': 'a sub is summed up from what the chain returns (types only)',
};

/** Node modules that pure folders may use, each with its reason. */
const PURE_NODE: Record<string, string> = {
  'node:zlib': 'inflate and deflate are pure: same bytes in, same bytes out',
  'node:module': 'createRequire loads a CommonJS library lazily',
};

function filesBelow(folder: string): string[] {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    if (entry.isDirectory()) return filesBelow(path);
    return entry.name.endsWith('.ts') ? [path] : [];
  });
}

function importsOf(path: string): string[] {
  const text = readFileSync(path, 'utf8');
  return [...text.matchAll(/(?:from|import)\s*\(?\s*'([^']+)'/g)].map((match) => match[1] ?? '');
}

/** First path part below src: a folder, or a file standing at the top. */
const partOf = (path: string): string => relative(SRC, path).split('/')[0] ?? '';

const pureFiles = filesBelow(SRC).filter((path) => partOf(path) in MAY_IMPORT);

it('each pure folder imports only what the table allows, or a listed exception', () => {
  const wrong = pureFiles.flatMap((path) => {
    const from = partOf(path);
    return importsOf(path)
      .filter((name) => name.startsWith('.'))
      .map((name) => partOf(resolve(dirname(path), name)))
      .filter((to) => to !== from && !MAY_IMPORT[from]?.includes(to) && to !== 'errors.ts')
      .filter((to) => !(`${from} -> ${to}` in EXCEPTIONS))
      .map((to) => `${relative(SRC, path)} imports ${to}`);
  });
  expect(wrong).toEqual([]);
});

it('pure folders touch no disk, clock, network or database', () => {
  const wrong = pureFiles.flatMap((path) => {
    const text = readFileSync(path, 'utf8');
    const modules = importsOf(path).filter((name) => name.startsWith('node:') && !(name in PURE_NODE));
    // The page lives in a browser: its clock and timers are its own.
    const clock =
      partOf(path) === 'page' ? null : /\b(Date\.now|new Date\(\)|performance\.now|Math\.random|process\.)/.exec(text);
    return [...modules, ...(clock ? [clock[0]] : [])].map((what) => `${relative(SRC, path)} uses ${what}`);
  });
  expect(wrong).toEqual([]);
});

it('the table names folders that exist', () => {
  const present = new Set(readdirSync(SRC));
  expect(Object.keys(MAY_IMPORT).filter((name) => !present.has(name))).toEqual([]);
});
