import { DEJAVU_SANS, DEJAVU_SANS_BOLD } from './fonts/dejaVuSans.ts';
import type { Polygon } from './raster.ts';

/** Text drawn from outlines that travel with the program: the same picture on a machine without any font. */

const UNITS_PER_EM = 2048;
/** Height of capital letters and figures of DejaVu Sans, in em. */
export const CAP_HEIGHT = 1493 / UNITS_PER_EM;

export type Weight = 'regular' | 'bold';

interface Glyph {
  readonly advance: number;
  /** In font units, y up; made when first drawn. */
  readonly outlines: () => readonly Polygon[];
}

const faces = new Map<Weight, ReadonlyMap<string, Glyph>>();

function face(weight: Weight): ReadonlyMap<string, Glyph> {
  const known = faces.get(weight);
  if (known) return known;
  const decoded = decode(weight === 'bold' ? DEJAVU_SANS_BOLD : DEJAVU_SANS);
  faces.set(weight, decoded);
  return decoded;
}

function decode(base64: string): ReadonlyMap<string, Glyph> {
  const bytes = Buffer.from(base64, 'base64');
  const glyphs = new Map<string, Glyph>();
  let at = -2;
  const next = (): number => bytes.readInt16LE((at += 2));
  while (at + 2 < bytes.length) {
    const character = String.fromCodePoint(next());
    const advance = next();
    const contours = Array.from({ length: next() }, () =>
      Array.from({ length: next() }, () => {
        const packed = next();
        return [packed >> 1, next(), packed & 1];
      }).flat(),
    );
    let outlines: Polygon[] | null = null;
    glyphs.set(character, { advance, outlines: () => (outlines ??= contours.map(flatten)) });
  }
  return glyphs;
}

function glyphOf(weight: Weight, character: string): Glyph {
  const glyphs = face(weight);
  return glyphs.get(character) ?? glyphs.get('?') ?? { advance: 0, outlines: () => [] };
}

/** Whether the lettering holds a glyph for the character; others are drawn as a question mark. */
export const canLetter = (character: string): boolean => face('regular').has(character);

/** Pixels from the start of the text to where the next character would stand. */
export function textWidth(text: string, size: number, weight: Weight = 'regular'): number {
  let units = 0;
  for (const character of text) units += glyphOf(weight, character).advance;
  return (units * size) / UNITS_PER_EM;
}

/** Outlines of `text`, its baseline starting at (x, y), `size` pixels per em. */
export function textOutlines(text: string, x: number, y: number, size: number, weight: Weight = 'regular'): Polygon[] {
  const scale = size / UNITS_PER_EM;
  const polygons: Polygon[] = [];
  let pen = x;
  for (const character of text) {
    const glyph = glyphOf(weight, character);
    for (const outline of glyph.outlines()) polygons.push(placed(outline, pen, y, scale));
    pen += glyph.advance * scale;
  }
  return polygons;
}

function placed(outline: Polygon, x: number, y: number, scale: number): Polygon {
  const polygon = new Array<number>(outline.length);
  for (let i = 0; i < outline.length; i += 2) {
    polygon[i] = x + outline[i] * scale;
    polygon[i + 1] = y - outline[i + 1] * scale;
  }
  return polygon;
}

const CURVE_STEPS = 6;

/**
 * TrueType contour (x, y, on-curve 1 or 0, ...) to polygon: between two off-curve points stands an implied on-curve point half-way.
 */
function flatten(contour: readonly number[]): Polygon {
  const polygon: number[] = [];
  const count = contour.length / 3;
  const px = (i: number): number => contour[(i % count) * 3];
  const py = (i: number): number => contour[(i % count) * 3 + 1];
  const on = (i: number): boolean => contour[(i % count) * 3 + 2] === 1;
  for (let i = 0; i < count; i++) {
    if (on(i)) {
      polygon.push(px(i), py(i));
      continue;
    }
    const before = i + count - 1;
    const [ax, ay] = on(before) ? [px(before), py(before)] : [(px(before) + px(i)) / 2, (py(before) + py(i)) / 2];
    const [bx, by] = on(i + 1) ? [px(i + 1), py(i + 1)] : [(px(i) + px(i + 1)) / 2, (py(i) + py(i + 1)) / 2];
    for (let s = 1; s <= CURVE_STEPS; s++) {
      const t = s / CURVE_STEPS;
      if (t === 1 && on(i + 1)) break;
      const [p, q, r] = [(1 - t) * (1 - t), 2 * t * (1 - t), t * t];
      polygon.push(p * ax + q * px(i) + r * bx, p * ay + q * py(i) + r * by);
    }
  }
  return polygon;
}

/** Breaks text at spaces so that no line is wider than `width` pixels (a longer single word stays whole). */
export function wrapLettering(text: string, width: number, size: number, weight: Weight = 'regular'): string[] {
  const lines: string[] = [];
  let current = '';
  for (const word of text.split(' ')) {
    const longer = current === '' ? word : `${current} ${word}`;
    if (current !== '' && textWidth(longer, size, weight) > width) {
      lines.push(current);
      current = word;
    } else current = longer;
  }
  if (current !== '') lines.push(current);
  return lines;
}
