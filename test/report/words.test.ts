import { expect, it } from 'vitest';
import { decimalsFor, fixed, plusAndMinus, plusMinus } from '../../src/report/amounts.ts';
import type { Report } from '../../src/report/record.ts';
import { escapeHtml, printable } from '../../src/report/untrusted.ts';
import { axisWords, causeWords, directionWords, firstFault, nextMove, sentence } from '../../src/report/wording.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

// Rounding rule: one significant figure of the error, two where it begins with a 1 (common practice, no source).
it.each([
  [84, 9, '84 ± 9'],
  [2.951, 0.021, '2.95 ± 0.02'],
  [2.951, 0.012, '2.951 ± 0.012'],
  [0.0184, 0.0005, '0.0184 ± 0.0005'],
  [-1.26, 0.3, '−1.3 ± 0.3'],
  [354.2, 95, '354 ± 95'],
  [1.2, 0, '1.20 ± 0.00'],
])('%f with an error of %f is written %s', (value, error, text) => {
  expect(plusMinus({ value, error })).toBe(text);
});

it('an interval carries the decimals of its smaller side', () => {
  expect(plusAndMinus(2.87, 0.8, 0.58)).toBe('2.9 +0.8 −0.6');
});

it('nought has no sign', () => {
  expect(fixed(-0.0001, 2)).toBe('0.00');
});

it('an error just below a power of ten keeps its own place', () => {
  expect(decimalsFor(0.0999)).toBe(2);
  expect(decimalsFor(9.99)).toBe(0);
});

it.each([
  [0, 'right'],
  [22, 'right'],
  [23, 'upper right'],
  [90, 'top'],
  [215, 'lower left'],
  [338, 'right'],
  [360, 'right'],
])('%d degrees counter-clockwise from right is %s', (deg, words) => {
  expect(directionWords(deg)).toBe(words);
});

it('an axis is named the same from both of its ends', () => {
  for (const deg of [0, 45, 90, 135]) expect(axisWords(deg + 180)).toBe(axisWords(deg));
  expect(axisWords(62)).toBe('lower left to upper right');
  expect(axisWords(135)).toBe('upper left to lower right');
});

it('a bare mirror tilts the focal plane, not surely the sensor', () => {
  const { good } = EXAMPLE_REPORTS;
  const bare: Report = { ...good, scale: { ...good.scale, corrector: { present: false, magnification: 1 } } };
  expect(causeWords('sensor-tilt', bare)).toBe('focal-plane tilt');
  expect(causeWords('sensor-tilt', good)).toBe('sensor tilt');
});

it('a cause that this version does not know is still named', () => {
  expect(causeWords('tube-currents', EXAMPLE_REPORTS.good)).toBe('tube currents');
});

it('what is not the telescope’s comes after what is, sensor tilt after what bends the wavefront', () => {
  const { good, mixed } = EXAMPLE_REPORTS;
  expect(firstFault(mixed)?.cause).toBe('miscollimation');
  expect(firstFault(good)).toBeNull();
  const drifting = mixed.findings.map((f) => (f.cause === 'tracking' ? { ...f, status: 'fault' as const } : f));
  expect(firstFault({ ...mixed, findings: drifting.toReversed() })?.cause).toBe('miscollimation');
});

it('without a fault the next move is what is needed, or nothing', () => {
  expect(nextMove(EXAMPLE_REPORTS.good)).toBe('Nothing to adjust.');
  expect(nextMove(EXAMPLE_REPORTS.inconclusive)).toBe('Needed: 3 more subs, or a field with more stars.');
});

it('sentences begin with a capital and end with a stop', () => {
  expect(sentence('coma tails point left')).toBe('Coma tails point left.');
  expect(sentence('Done!')).toBe('Done!');
});

it('text from outside becomes one printable line; letters of any script stay', () => {
  expect(printable('a\r\nb\u001b[31mc\u2028d\u202ee\ud800f')).toBe('a b [31mc d e f');
  expect(printable('Orionnebel M42 – Großer Löwe 星 ñ')).toBe('Orionnebel M42 – Großer Löwe 星 ñ');
  expect(escapeHtml(`<a href="x">&'`)).toBe('&lt;a href=&quot;x&quot;&gt;&amp;&#39;');
});
