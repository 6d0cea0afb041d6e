import { expect, it } from 'vitest';
import { renderHtml } from '../../src/report/html.ts';
import type { Report } from '../../src/report/record.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const examples = Object.entries(EXAMPLE_REPORTS);
const pictureJpeg = Uint8Array.from([0xff, 0xd8, 0xff, 0xe0, 1, 2, 3]);
const page = (report: Report): string => renderHtml(report, { pictureJpeg, evidence: null });

/** Elements without an end tag (HTML living standard, 13.1.2). */
const VOID = new Set(['meta', 'img', 'br']);

/** Every start tag has its end tag, in order; returns the names of the tags met. */
function tagsOf(html: string): string[] {
  const open: string[] = [];
  const names: string[] = [];
  for (const [tag, end, name = ''] of html.replace('<!DOCTYPE html>', '').matchAll(/<(\/?)([a-z][a-z0-9]*)[^<>]*>/g)) {
    names.push(name);
    // Foreign elements (SVG) may close themselves.
    if (VOID.has(name) || tag.endsWith('/>')) continue;
    if (end === '/') expect(open.pop()).toBe(name);
    else open.push(name);
  }
  expect(open).toEqual([]);
  return names;
}

it.each(examples)('the %s page has balanced tags, one first heading and no loose < or >', (_, report) => {
  const html = page(report);
  expect(tagsOf(html).filter((name) => name === 'h1')).toHaveLength(2);
  const loose = html
    .replace('<!DOCTYPE html>', '')
    .replace(/<style>.*<\/style>/s, '')
    .replace(/<\/?[a-z][^<>]*>/g, '');
  expect(loose).not.toMatch(/[<>]/);
});

it.each(examples)('the %s page loads nothing from outside and runs nothing', (_, report) => {
  const html = page(report);
  expect(html).not.toMatch(/https?:|url\(|@import|<script|<iframe|<link|\son[a-z]+=/i);
  const targets = [...html.matchAll(/\s(?:src|href)="([^"]*)"/g)].map(([, target = '']) => target);
  expect(targets.every((target) => target.startsWith('data:image/jpeg;base64,') || target === '#care')).toBe(true);
});

it('headings go down one level at a time', () => {
  const levels = [...page(EXAMPLE_REPORTS.mixed).matchAll(/<h([1-6])/g)].map(([, level]) => Number(level));
  expect(levels[0]).toBe(1);
  levels.forEach((level, i) => expect(level - (levels[i - 1] ?? 0)).toBeLessThanOrEqual(1));
});

it('the picture stands in the page, with what it shows in words', () => {
  const html = page(EXAMPLE_REPORTS.mixed);
  expect(html).toContain(`data:image/jpeg;base64,${Buffer.from(pictureJpeg).toString('base64')}`);
  expect(html).toMatch(/alt="[^"]*coma tails pointing to the lower left[^"]*Star A/);
});

it('every table has a caption and headed rows and columns', () => {
  const html = page(EXAMPLE_REPORTS.mixed);
  const tables = html.match(/<table>.*?<\/table>/gs) ?? [];
  expect(tables.length).toBeGreaterThanOrEqual(5);
  for (const table of tables) {
    expect(table).toContain('<caption>');
    expect(table).toContain('scope="col"');
    expect(table).toContain('scope="row"');
  }
});

it('verdict, move, every cause and every caution are told', () => {
  const html = page(EXAMPLE_REPORTS.mixed);
  for (const part of [
    'Adjust',
    'Move star A 1166 px',
    'Sensor tilt',
    'Pinched optics',
    'light-0004.fits',
    'near it',
    '60825-1',
    'counterweights',
  ])
    expect(html).toContain(part);
});

it('hostile names, headers and sentences stay text', () => {
  const nasty = `"><script>alert(1)</script><img src=x onerror=alert(2)>'\u001b[2J\n&amp;\u202e`;
  const report: Report = {
    ...EXAMPLE_REPORTS.mixed,
    headline: nasty,
    needs: nasty,
    notes: [nasty],
    frames: EXAMPLE_REPORTS.mixed.frames.map((frame) => ({
      ...frame,
      file: nasty,
      whyNot: nasty,
      filter: nasty,
      dateObs: nasty,
      leftOut: { [nasty]: 3 },
      notes: [nasty],
    })),
    findings: EXAMPLE_REPORTS.mixed.findings.map((finding) => ({
      ...finding,
      cause: `${finding.cause}${nasty}`,
      because: nasty,
      advice: nasty,
      tolerance: nasty,
    })),
    settings: { [nasty]: nasty },
  };
  const html = page(report);
  expect(html).not.toMatch(/<script|<img src=x/i);
  expect(html).toContain('&lt;script&gt;alert(1)&lt;/script&gt;');
  expect(html).toContain('&amp;amp;');
  expect(html).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e]/);
  expect(tagsOf(html).filter((name) => name === 'img')).toHaveLength(1);
});

it('the same record makes the same page', () => {
  expect(page(EXAMPLE_REPORTS.good)).toBe(page(structuredClone(EXAMPLE_REPORTS.good)));
});
