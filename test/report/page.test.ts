import { beforeAll, expect, it } from 'vitest';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { measureField, measureFrame } from '../../src/measure.ts';
import { composeEvidence, type Evidence } from '../../src/report/evidence.ts';
import { renderHtml } from '../../src/report/html.ts';
import { PAGE_STYLE } from '../../src/report/pageStyle.ts';
import { collectPortraits } from '../../src/report/portraits/collect.ts';
import { planeOf } from '../../src/stars/plane.ts';
import { drawSub } from '../support/draw.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';
import { htmlFaults } from '../support/validHtml.ts';

const pictureJpeg = new Uint8Array(300_000).fill(7);
let evidence: Evidence;

beforeAll(() => {
  const frame = drawSub({ width: 900, height: 640, starCount: 150, seed: 7 });
  const measured = measureFrame(frame);
  const collector = collectPortraits(1);
  collector.add(planeOf(frame), measured.stars);
  const settings = { focalMm: 800, apertureMm: 200, pixelUm: 3.76 };
  const measurement = measureField([measured], setupFromFrames([frame], settings), orientationOf([frame], settings));
  evidence = composeEvidence(measurement, collector.portraits(), 'miscollimation');
});

const page = (name: keyof typeof EXAMPLE_REPORTS): string =>
  renderHtml(EXAMPLE_REPORTS[name], { pictureJpeg, evidence });

it.each(Object.keys(EXAMPLE_REPORTS) as (keyof typeof EXAMPLE_REPORTS)[])(
  'the %s page is valid HTML (html-validate, recommended and accessibility rules)',
  async (name) => {
    expect(await htmlFaults(page(name))).toEqual([]);
  },
);

it('the page with maps and portraits loads nothing, runs nothing and stays below 3 MB', () => {
  const html = page('mixed');
  expect(html).toMatch(/class="map"/);
  expect(html).toMatch(/class="portraits"/);
  expect(html).not.toMatch(/https?:|url\(|@import|<script|<iframe|<link|<use|<image|\son[a-z]+=/i);
  expect(html.length).toBeLessThan(3e6);
  expect(html).not.toMatch(/NaN|Infinity|undefined/);
});

it('every drawing says in words what it shows', () => {
  const drawings = page('mixed').match(/<svg[^>]*>/g) ?? [];
  expect(drawings.length).toBeGreaterThan(6);
  for (const drawing of drawings) expect(drawing).toMatch(/aria-label="[^"]{20,}"|aria-hidden="true"/);
});

it('the same measurement makes the same page', () => {
  expect(page('good')).toBe(page('good'));
});

/** Relative luminance and contrast: WCAG 2.2. */
function contrast(a: string, b: string): number {
  const luminance = (colour: string): number => {
    const hex = colour.length === 4 ? colour.replace(/[0-9a-f]/g, '$&$&') : colour;
    const [r = 0, g = 0, blue = 0] = [1, 3, 5].map((at) => {
      const c = Number.parseInt(hex.slice(at, at + 2), 16) / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * blue;
  };
  const [low = 0, high = 0] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
}

it('text has a contrast of 4.5 : 1 on both grounds, in light, dark and print (WCAG 2.2, 1.4.3)', () => {
  expect(contrast('#000', '#fff')).toBeCloseTo(21, 6);
  const schemes = [...PAGE_STYLE.matchAll(/:root \{([^}]*)\}/g)].map(([, body = '']) =>
    Object.fromEntries([...body.matchAll(/--(\w+): (#\w+)/g)].map(([, name = '', value = '']) => [name, value])),
  );
  expect(schemes).toHaveLength(3);
  for (const scheme of schemes)
    for (const ink of ['ink', 'muted', 'good', 'adjust', 'unsure'])
      for (const ground of ['ground', 'raised'])
        expect(contrast(scheme[ink] ?? '', scheme[ground] ?? ''), `${ink} on ${ground}`).toBeGreaterThanOrEqual(4.5);
});
