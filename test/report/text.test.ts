import { expect, it } from 'vitest';
import type { Report } from '../../src/report/record.ts';
import { renderText } from '../../src/report/text.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const examples = Object.entries(EXAMPLE_REPORTS);
const linesOf = (text: string): string[] => text.trimEnd().split('\n');
const widest = (text: string): number => Math.max(...linesOf(text).map((line) => Array.from(line).length));
const ESC = '\u001b';

it.each(examples)('the %s answer fits 80 columns, short and full', (_, report) => {
  expect(widest(renderText(report, { width: 80, colour: false }))).toBeLessThanOrEqual(80);
  expect(widest(renderText(report, { width: 80, colour: false, detail: 'full' }))).toBeLessThanOrEqual(80);
});

it.each(examples)('the %s answer fits a narrow and a wide terminal', (_, report) => {
  for (const width of [44, 60, 110])
    expect(widest(renderText(report, { width, colour: false }))).toBeLessThanOrEqual(width);
});

it.each(['good', 'miscollimated', 'tilted', 'inconclusive'] as const)(
  'the %s answer takes one screen of 24 lines',
  (name) => {
    expect(linesOf(renderText(EXAMPLE_REPORTS[name], { width: 80, colour: false })).length).toBeLessThanOrEqual(24);
  },
);

it('the verdict and the headline come first, then the move', () => {
  const lines = linesOf(renderText(EXAMPLE_REPORTS.miscollimated, { width: 80, colour: false }));
  expect(lines[0]).toMatch(/^Adjust: The primary mirror is tilted/);
  expect(lines[2]).toMatch(/^Next +Move star A 354 px towards the lower left \(215°\), to B\./);
});

it('coma is put right before the sensor tilt, though the tilt widens the stars more', () => {
  const text = renderText(EXAMPLE_REPORTS.mixed, { width: 80, colour: false });
  expect(text).toMatch(/^Next +Move star A 1166 px [^.]*: the first of\s+2 such steps\./m);
});

it('a verdict that the headline repeats is said once', () => {
  const [first] = linesOf(renderText(EXAMPLE_REPORTS.inconclusive, { width: 80, colour: false }));
  expect(first).toBe('Cannot tell yet: 14 stars are too few to separate the causes.');
});

it('the zones stand row by row as on the screen, and a zone without stars says so', () => {
  const lines = linesOf(renderText(EXAMPLE_REPORTS.inconclusive, { width: 80, colour: false }));
  const at = lines.findIndex((line) => line.startsWith('Zones'));
  expect(lines[at + 1]?.trim()).toMatch(/^2\.70 ±0\.14 1\.05 140° +no stars +2\.74 ±0\.14/);
  expect(lines[at + 3]?.trim()).toMatch(/^2\.82 .* no stars +2\.86/);
});

it('colour is written only when asked for', () => {
  const report = EXAMPLE_REPORTS.tilted;
  expect(renderText(report, { width: 80, colour: false })).not.toContain(ESC);
  expect(renderText(report, { width: 80, colour: true })).toContain(ESC);
});

it('with the colours taken away, a coloured text is the plain one', () => {
  const report = EXAMPLE_REPORTS.mixed;
  const stripped = renderText(report, { width: 80, colour: true }).replace(/\u001b\[\d+m/g, '');
  expect(stripped).toBe(renderText(report, { width: 80, colour: false }));
});

it('the full text tells every frame, every cause with its tolerance, and the cautions', () => {
  const text = renderText(EXAMPLE_REPORTS.mixed, { width: 80, colour: false, detail: 'full' });
  for (const part of [
    'light-0003.fits',
    'light-0004.fits',
    'saturated 12',
    'Pinched optics',
    'Tolerance: 1.4',
    'The Sun',
    '60825-1',
  ])
    expect(text).toContain(part);
});

it('hostile names and headers cannot reach the terminal', () => {
  const nasty = `a${ESC}[2Jb\u009b31m\r\nVerdict: good\u202egnp.\u0007`;
  const report: Report = {
    ...EXAMPLE_REPORTS.mixed,
    headline: nasty,
    notes: [nasty],
    frames: EXAMPLE_REPORTS.mixed.frames.map((frame) => ({ ...frame, file: nasty, whyNot: nasty, notes: [nasty] })),
    findings: EXAMPLE_REPORTS.mixed.findings.map((finding) => ({ ...finding, because: nasty, advice: nasty })),
  };
  for (const detail of ['short', 'full'] as const) {
    const text = renderText(report, { width: 80, colour: false, detail });
    expect(text).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e]/);
    expect(text).not.toMatch(/^Verdict: good/m);
  }
});
