import { createHash } from 'node:crypto';
import { inflateSync } from 'node:zlib';
import sharp from 'sharp';
import { expect, it } from 'vitest';
import { encodePng } from '../../src/report/encodePicture.ts';
import { drawFieldPicture } from '../../src/report/fieldPicture.ts';
import { PALETTE } from '../../src/report/palette.ts';
import type { Whisker } from '../../src/report/picture.ts';
import { type Canvas, type Colour, createCanvas } from '../../src/report/raster.ts';
import type { Report } from '../../src/report/record.ts';
import { fullLengthElongation, thinWhiskers } from '../../src/report/whiskers.ts';
import { examplePicture } from '../support/examplePicture.ts';
import { EXAMPLE_REPORTS } from '../support/exampleReport.ts';

const examples = Object.entries(EXAMPLE_REPORTS);
const WIDTH = 1000;
const HEIGHT = 668;

const draw = (report: Report): Canvas => drawFieldPicture(report, examplePicture(report, WIDTH, HEIGHT));

/** Pixels of exactly this colour within a box, their mean place included. */
function inkOf(canvas: Canvas, [r, g, b]: Colour, x0 = 0, y0 = 0, x1 = canvas.width, y1 = HEIGHT) {
  let [count, sumX, sumY] = [0, 0, 0];
  for (let y = Math.max(0, Math.round(y0)); y < Math.min(canvas.height, y1); y++) {
    for (let x = Math.max(0, Math.round(x0)); x < Math.min(canvas.width, x1); x++) {
      const at = (y * canvas.width + x) * 3;
      if (canvas.rgb[at] !== r || canvas.rgb[at + 1] !== g || canvas.rgb[at + 2] !== b) continue;
      count++;
      sumX += x;
      sumY += y;
    }
  }
  return { count, x: sumX / count, y: sumY / count };
}

/** Where a point of the record (frame pixels from the middle, y up) lies on the picture. */
function place(report: Report, point: { x: number; y: number }): { x: number; y: number } {
  const scale = WIDTH / (report.frames[0]?.width ?? WIDTH);
  return { x: WIDTH / 2 + point.x * scale, y: HEIGHT / 2 - point.y * scale };
}

it.each(examples)('the %s picture is as wide as the frame and has the answer below', (_, report) => {
  const canvas = draw(report);
  expect(canvas.width).toBe(WIDTH);
  expect(canvas.height).toBeGreaterThan(HEIGHT + 250);
  expect(canvas.height).toBeLessThan(2 * HEIGHT);
  expect(inkOf(canvas, PALETTE.ink, 0, HEIGHT, WIDTH, canvas.height).count).toBeGreaterThan(3000);
});

it('a small frame is enlarged to leave room for lettering', () => {
  const canvas = drawFieldPicture(EXAMPLE_REPORTS.good, examplePicture(EXAMPLE_REPORTS.good, 300, 300, 80));
  expect(canvas.width).toBe(1200);
});

it('star A is ringed and B is bracketed where the record puts them', () => {
  const report = EXAMPLE_REPORTS.miscollimated;
  const canvas = draw(report);
  const shift = report.findings[0]?.starShiftPx;
  if (!shift) throw new Error('the example has a shift');
  const [a, b] = [place(report, shift.from), place(report, shift.to)];
  for (const point of [a, b]) {
    const ink = inkOf(canvas, PALETTE.move, point.x - 14, point.y - 14, point.x + 14, point.y + 14);
    expect(ink.count).toBeGreaterThan(20);
  }
  // The ring is open: star A itself stays visible.
  expect(inkOf(canvas, PALETTE.move, a.x - 3, a.y - 3, a.x + 4, a.y + 4).count).toBe(0);
});

it.each([30, 120, 215, 300])('the coma arrow of a tail at %d degrees runs that way from the middle', (deg) => {
  const base = EXAMPLE_REPORTS.miscollimated;
  const findings = base.findings.map((finding) =>
    finding.cause === 'miscollimation' ? { ...finding, directionDeg: deg, starShiftPx: null } : finding,
  );
  const canvas = draw({ ...base, findings });
  // The head of the arrow: the tip lies beyond 0.1 of the frame's height from the middle.
  const far = 0.12 * HEIGHT;
  const x = WIDTH / 2 + far * Math.cos((deg * Math.PI) / 180);
  const y = HEIGHT / 2 - far * Math.sin((deg * Math.PI) / 180);
  expect(inkOf(canvas, PALETTE.coma, x - 5, y - 5, x + 6, y + 6).count).toBeGreaterThan(60);
  const [ox, oy] = [WIDTH - x, HEIGHT - y];
  expect(inkOf(canvas, PALETTE.coma, ox - 5, oy - 5, ox + 6, oy + 6).count).toBe(0);
});

it('the tilt axis runs through the middle to both sides', () => {
  const report = EXAMPLE_REPORTS.tilted;
  const canvas = draw(report);
  const phi = ((report.field.defocus.axisDeg ?? 0) * Math.PI) / 180;
  for (const side of [1, -1]) {
    const along = Array.from({ length: 30 }, (_, i) => side * (40 + i * 6));
    const hits = along.filter((t) => {
      const [x, y] = [WIDTH / 2 + t * Math.cos(phi), HEIGHT / 2 - t * Math.sin(phi)];
      return inkOf(canvas, PALETTE.tilt, x - 1, y - 1, x + 2, y + 2).count > 0;
    });
    // Dashes of 22 with gaps of 14 cover six tenths of the way.
    expect(hits.length).toBeGreaterThan(10);
  }
});

it('directions that are not sure are not drawn', () => {
  const canvas = draw(EXAMPLE_REPORTS.inconclusive);
  expect(inkOf(canvas, PALETTE.coma).count).toBe(0);
  expect(inkOf(canvas, PALETTE.tilt).count).toBe(0);
  expect(inkOf(canvas, PALETTE.move).count).toBe(0);
});

it('the coma node of a bare mirror is marked where it lies', () => {
  const base = EXAMPLE_REPORTS.good;
  const coma = { ...base.field.coma, node: { xMm: 4, yMm: -3, errorMm: 0.1 } };
  const report: Report = { ...base, field: { ...base.field, coma } };
  const at = place(report, { x: 4000 / 3.76, y: -3000 / 3.76 });
  const ink = inkOf(draw(report), PALETTE.coma, at.x - 16, at.y - 16, at.x + 17, at.y + 17);
  expect(ink.count).toBeGreaterThan(60);
  expect(Math.hypot(ink.x - at.x, ink.y - at.y)).toBeLessThan(2);
});

it('the coma node is not marked where nothing is told of the coma', () => {
  const base = EXAMPLE_REPORTS.good;
  const coma = { ...base.field.coma, node: { xMm: 4, yMm: -3, errorMm: 0.1 } };
  const findings = base.findings.map((f) =>
    f.cause === 'miscollimation' ? { ...f, status: 'not-measurable' as const, significance: null } : f,
  );
  const marked = inkOf(draw({ ...base, field: { ...base.field, coma } }), PALETTE.coma).count;
  expect(marked).toBeGreaterThan(0);
  expect(inkOf(draw({ ...base, findings, field: { ...base.field, coma } }), PALETTE.coma).count).toBe(0);
});

it('the same record and frame make the same bytes', async () => {
  const hash = async (): Promise<string> =>
    createHash('sha256')
      .update(await encodePng(draw(EXAMPLE_REPORTS.mixed)))
      .digest('hex');
  expect(await hash()).toBe(await hash());
});

it.each([
  [1, 1],
  [7, 3],
  [300, 1000],
])(
  'a PNG of %i x %i pixels holds one sound zlib stream: its sum is proved as it is unpacked',
  async (width, height) => {
    const canvas = createCanvas(width, height, [250, 250, 250]);
    for (let i = 0; i < canvas.rgb.length; i += 1) canvas.rgb[i] = 255 - ((i * 7919) % 13) ** 2;
    const png = await encodePng(canvas);
    const at = png.indexOf('IDAT') + 4;
    const data = png.subarray(at, at + png.readUInt32BE(at - 8));
    // Node's zlib proves the Adler-32.
    expect(inflateSync(data).length).toBe((width + 1) * height);
    const wrong = Buffer.from(data);
    wrong[wrong.length - 1] ^= 1;
    expect(() => inflateSync(wrong)).toThrow('incorrect data check');
  },
);

it.each(examples)(
  'the PNG of the %s picture decodes to the drawn pixels, to what 256 colours allow',
  async (_, report) => {
    const canvas = draw(report);
    const { data, info } = await sharp(await encodePng(canvas))
      .raw()
      .toBuffer({ resolveWithObject: true });
    expect([info.width, info.height, info.channels]).toEqual([canvas.width, canvas.height, 3]);
    let [sum, worst, exact] = [0, 0, 0];
    for (let i = 0; i < data.length; i++) {
      const off = Math.abs((data[i] ?? 0) - (canvas.rgb[i] ?? 0));
      sum += off;
      worst = Math.max(worst, off);
    }
    for (let y = HEIGHT; y < canvas.height; y++)
      for (let x = 0; x < WIDTH; x++) {
        const at = (y * WIDTH + x) * 3;
        if ([0, 1, 2].every((k) => data[at + k] === canvas.rgb[at + k])) exact++;
      }
    expect(sum / data.length).toBeLessThan(0.6);
    // Soft edges of letters may lie between two colours; their ink and ground may not.
    expect(worst).toBeLessThan(80);
    expect(exact / (WIDTH * (canvas.height - HEIGHT))).toBeGreaterThan(0.9);
  },
);

it('hostile text in the record does not stop the drawing', () => {
  const report: Report = {
    ...EXAMPLE_REPORTS.mixed,
    headline: `\u001b[2J<b>${'星'.repeat(40)}</b>\n${'x'.repeat(300)}`,
  };
  expect(draw(report).height).toBeGreaterThan(HEIGHT);
});

const whisker = (x: number, y: number, elongation: number, axisDeg: number): Whisker => ({ x, y, elongation, axisDeg });

it('few whiskers are kept one by one, many are gathered', () => {
  const many = Array.from({ length: 3000 }, (_, i) => whisker((i * 37) % 1000, (i * 91) % 700, 1.1, 40));
  expect(thinWhiskers(many.slice(0, 100), 1000, 700)).toHaveLength(100);
  const thinned = thinWhiskers(many, 1000, 700);
  expect(thinned.length).toBeLessThan(160);
  for (const each of thinned) {
    expect(each.elongation).toBeCloseTo(1.1, 6);
    expect(each.axisDeg).toBeCloseTo(40, 6);
  }
});

it('axes just right and just left of 180 degrees gather to 0, not to 90; crossed axes cancel', () => {
  const pairs = (one: number, two: number): Whisker[] =>
    Array.from({ length: 2000 }, (_, i) => whisker((i * 37) % 1000, (i * 91) % 700, 1.2, i % 2 === 0 ? one : two));
  for (const each of thinWhiskers(pairs(175, 5), 1000, 700)) {
    expect(Math.min(each.axisDeg, 180 - each.axisDeg)).toBeLessThan(6);
    expect(each.elongation).toBeGreaterThan(1.15);
  }
  const crossed = thinWhiskers(pairs(20, 110), 1000, 700);
  expect(crossed.filter((each) => each.elongation < 1.02).length).toBeGreaterThan(crossed.length / 3);
});

it('one star of absurd shape does not change a gathered whisker', () => {
  const stars = Array.from({ length: 1500 }, (_, i) =>
    i % 10 === 0 ? whisker((i * 37) % 1000, (i * 91) % 700, 4, 130) : whisker((i * 37) % 1000, (i * 91) % 700, 1.1, 40),
  );
  const thinned = thinWhiskers(stars, 1000, 700);
  const right = thinned.filter((each) => Math.abs(each.elongation - 1.1) < 0.02);
  expect(right.length).toBeGreaterThan(0.8 * thinned.length);
});

it('the scale of the whiskers is round and fits nine in ten', () => {
  expect(fullLengthElongation([whisker(0, 0, 1.05, 0)])).toBe(0.1);
  expect(fullLengthElongation([whisker(0, 0, 1.3, 0), whisker(0, 0, 1.35, 0)])).toBe(0.4);
  expect(fullLengthElongation([])).toBe(0.1);
});
