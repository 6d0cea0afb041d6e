import { expect, it } from 'vitest';
import { canLetter, textOutlines, textWidth, wrapLettering } from '../../src/report/lettering.ts';
import { type Canvas, createCanvas, fill } from '../../src/report/raster.ts';
import { arrow, disc, line, plate, ring, sector, towards } from '../../src/report/strokes.ts';

const BLACK = [0, 0, 0] as const;
const WHITE = [255, 255, 255] as const;
const empty = (): Canvas => createCanvas(100, 80, BLACK);

/** Sum of the red channel in whole pixels of white. */
function ink(canvas: Canvas): number {
  let sum = 0;
  for (let i = 0; i < canvas.rgb.length; i += 3) sum += canvas.rgb[i] ?? 0;
  return sum / 255;
}

function inkOf(polygons: readonly (readonly number[])[], opacity = 1): number {
  const canvas = empty();
  fill(canvas, polygons, WHITE, opacity);
  return ink(canvas);
}

// Elementary geometry. Each edge pixel is rounded to 1/255, so areas agree to far better than 0.5 %.
it.each([
  ['a rectangle between pixel edges', [[10.25, 20.5, 30.75, 20.5, 30.75, 40.25, 10.25, 40.25]], 20.5 * 19.75],
  ['a triangle', [[10, 10, 60, 15, 20, 70]], 0.5 * Math.abs(50 * 60 - 10 * 5)],
  ['the same triangle turned round', [[20, 70, 60, 15, 10, 10]], 0.5 * Math.abs(50 * 60 - 10 * 5)],
  ['a shape half beyond the left', [[-20, 10, 20, 10, 20, 30, -20, 30]], 400],
  ['a shape half beyond the right', [[80, 10, 120, 10, 120, 30, 80, 30]], 400],
  ['a shape beyond the top and the bottom', [[40, -50, 50, -50, 50, 200, 40, 200]], 800],
  ['a slanted shape across the left edge', [[-30, 10, 30, 40, -30, 70]], 0.5 * 30 * 30],
])('%s covers its exact area', (_, polygons, area) => {
  expect(Math.abs(inkOf(polygons) - area)).toBeLessThan(0.005 * area);
});

it('a disc covers pi r^2, less what its corners cut off', () => {
  expect(inkOf([disc(50.3, 40.7, 20)]) / (Math.PI * 400)).toBeGreaterThan(0.99);
  expect(inkOf([disc(50.3, 40.7, 20)]) / (Math.PI * 400)).toBeLessThan(1.001);
});

it('a ring has a hole', () => {
  const canvas = empty();
  fill(canvas, ring(50, 40, 20, 6), WHITE);
  expect(ink(canvas) / (2 * Math.PI * 20 * 6)).toBeCloseTo(1, 1);
  expect(canvas.rgb[(40 * 100 + 50) * 3]).toBe(0);
  expect(canvas.rgb[(40 * 100 + 70) * 3]).toBe(255);
});

it('parts that overlap are not counted twice, and opacity scales', () => {
  const square = [10, 10, 30, 10, 30, 30, 10, 30];
  expect(inkOf([square, square])).toBeCloseTo(400, 5);
  expect(Math.abs(inkOf([square], 0.5) - 200)).toBeLessThan(1);
});

it('a shape wholly outside leaves no ink, nor does an empty one', () => {
  expect(inkOf([[200, 10, 300, 10, 300, 30]])).toBe(0);
  expect(inkOf([])).toBe(0);
});

it('a line with round ends covers its length times its width and two half discs', () => {
  const area = Math.hypot(40, 30) * 4 + Math.PI * 4;
  expect(Math.abs(inkOf(line(20, 20, 60, 50, 4)) - area)).toBeLessThan(0.02 * area);
});

it('an arrow reaches exactly its tip and is widest near it', () => {
  const canvas = empty();
  fill(canvas, arrow(10, 40, 80, 40, 5), WHITE);
  const column = (x: number): number => {
    let sum = 0;
    for (let y = 0; y < 80; y++) sum += (canvas.rgb[(y * 100 + x) * 3] ?? 0) / 255;
    return sum;
  };
  expect(column(80)).toBe(0);
  expect(column(79)).toBeGreaterThan(0);
  expect(column(60)).toBeGreaterThan(3 * column(30));
  expect(column(30)).toBeCloseTo(5, 1);
});

it('a grown arrow stands out all round by half of the growth', () => {
  const [, , , triangle = []] = arrow(10, 40, 80, 40, 5, 4);
  // The tip of the head moves out by (half the growth) / sin(half the tip's angle).
  const half = Math.atan(0.48);
  expect(triangle[2]).toBeCloseTo(80 + 2 / Math.sin(half), 6);
});

it('screen directions count counter-clockwise with y down', () => {
  const up = towards(50, 40, 90, 10);
  expect(up.x).toBeCloseTo(50, 9);
  expect(up.y).toBeCloseTo(30, 9);
  const canvas = empty();
  fill(canvas, [sector(50, 40, 0, 30, 45, 20)], WHITE);
  expect(canvas.rgb[(30 * 100 + 60) * 3]).toBe(255);
  expect(canvas.rgb[(50 * 100 + 60) * 3]).toBe(0);
});

it('a plate has round corners', () => {
  const area = 40 * 20 - (4 - Math.PI) * 25;
  expect(Math.abs(inkOf([plate(20, 20, 40, 20, 5)]) - area)).toBeLessThan(2);
});

// Advance widths of DejaVu Sans 2.37 in thousandths of an em, from memory of its metrics file.
it.each([
  ['A', 684],
  ['W', 989],
  [' ', 318],
  ['0', 636],
])('the letter %s is as wide as DejaVu Sans has it', (letter, thousandths) => {
  expect(Math.abs(textWidth(letter, 1000) - thousandths)).toBeLessThan(1);
});

it('every printable ASCII character and every sign the report uses has a glyph', () => {
  const ascii = Array.from({ length: 95 }, (_, i) => String.fromCodePoint(32 + i));
  for (const character of [...ascii, ...Array.from('°′″±×µσ−–→’')]) {
    expect(canLetter(character)).toBe(true);
    if (character !== ' ') expect(textOutlines(character, 0, 0, 100).length).toBeGreaterThan(0);
  }
});

it('a letter with a counter keeps it open', () => {
  const canvas = empty();
  fill(canvas, textOutlines('O', 10, 70, 80, 'bold'), WHITE);
  const width = textWidth('O', 80, 'bold');
  expect(canvas.rgb[(41 * 100 + Math.round(10 + width / 2)) * 3]).toBe(0);
  expect(ink(canvas)).toBeGreaterThan(500);
});

it('an unknown character is drawn as a question mark', () => {
  expect(textOutlines('星', 0, 0, 50)).toEqual(textOutlines('?', 0, 0, 50));
});

it('lettering is broken at spaces and no line is too wide', () => {
  const text = 'the quick brown fox jumps over the lazy dog';
  const lines = wrapLettering(text, 200, 20);
  expect(lines.join(' ')).toBe(text);
  expect(lines.length).toBeGreaterThan(2);
  for (const each of lines) expect(textWidth(each, 20)).toBeLessThanOrEqual(200);
});
