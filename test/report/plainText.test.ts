import { expect, it } from 'vitest';
import { asciiText, renderPlain } from '../../src/report/plainText.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

it.each(Object.entries(EXAMPLE_REPORTS))('the %s answer is one fact a line in ASCII', (_, report) => {
  const text = renderPlain(report);
  expect(text).toMatch(/^[ -~\n]+$/);
  const lines = text.trimEnd().split('\n');
  expect(lines[0]).toBe(`verdict: ${report.verdict}`);
  for (const line of lines) expect(line).toMatch(/^[a-z][a-z0-9 -]*: \S/);
  expect(lines.filter((line) => line.startsWith('zone '))).toHaveLength(9);
  expect(lines.filter((line) => line.startsWith('finding '))).toHaveLength(report.findings.length);
});

it('amounts keep their units and errors', () => {
  const text = renderPlain(EXAMPLE_REPORTS.mixed);
  expect(text).toMatch(
    /^zone top left: stars 41, fwhm 3\.02 px error 0\.02, elongation 1\.060 error 0\.008, long axis 144 deg error 5$/m,
  );
  expect(text).toMatch(/^primary tilt: 2\.90 arcmin, 68 percent from 2\.30 to 3\.70$/m);
});

it('signs become words, accents fall, and nothing from a header breaks the line', () => {
  expect(asciiText('84 ± 9 µm at 62°, 2.9′')).toBe('84 +/- 9 um at 62 deg, 2.9 arcmin');
  expect(asciiText('Großer Bär 星')).toBe('Gro\\u{df}er Bar \\u{661f}');
  const nasty = `a\u001b[2J\nverdict: good`;
  const report = { ...EXAMPLE_REPORTS.mixed, headline: nasty, notes: [nasty] };
  expect(renderPlain(report).match(/^verdict: /gm)).toHaveLength(1);
});
