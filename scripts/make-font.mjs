// Writes src/report/fonts/dejaVuSans.ts: the outlines of the glyphs that pictures need, from DejaVu Sans.
// Run by hand where the fonts are installed: node scripts/make-font.mjs [FOLDER OF DejaVuSans.ttf]
// TrueType tables as in the OpenType specification (head, maxp, hhea, hmtx, cmap format 4, loca, glyf).
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const folder = process.argv[2] ?? '/usr/share/fonts/truetype/dejavu';
const ascii = Array.from({ length: 95 }, (_, i) => String.fromCodePoint(32 + i)).join('');
const CHARACTERS = [...ascii, ...'°′″±×·²³½¼¾µσλΔ√−–—…≤≥≈≠←↑→↓↖↗↘↙‘’“”\u00a0\u2011'];

function openFont(path) {
  const file = readFileSync(path);
  const tables = {};
  for (let i = 0; i < file.readUInt16BE(4); i++) {
    const at = 12 + i * 16;
    tables[file.toString('latin1', at, at + 4)] = file.subarray(
      file.readUInt32BE(at + 8),
      file.readUInt32BE(at + 8) + file.readUInt32BE(at + 12),
    );
  }
  return tables;
}

function glyphIndex({ cmap }, code) {
  for (let i = 0; i < cmap.readUInt16BE(2); i++) {
    const table = cmap.subarray(cmap.readUInt32BE(4 + i * 8 + 4));
    if (table.readUInt16BE(0) !== 4) continue;
    const segments = table.readUInt16BE(6) / 2;
    for (let s = 0; s < segments; s++) {
      const end = table.readUInt16BE(14 + s * 2);
      const start = table.readUInt16BE(16 + segments * 2 + s * 2);
      if (code < start || code > end) continue;
      const delta = table.readInt16BE(16 + segments * 4 + s * 2);
      const offsetAt = 16 + segments * 6 + s * 2;
      const offset = table.readUInt16BE(offsetAt);
      if (offset === 0) return (code + delta) & 0xffff;
      return (table.readUInt16BE(offsetAt + offset + (code - start) * 2) + delta) & 0xffff;
    }
  }
  throw new Error(`no glyph for U+${code.toString(16)}`);
}

function outline(font, index) {
  const { loca, glyf, head } = font;
  const long = head.readInt16BE(50) === 1;
  const from = long ? loca.readUInt32BE(index * 4) : loca.readUInt16BE(index * 2) * 2;
  const to = long ? loca.readUInt32BE(index * 4 + 4) : loca.readUInt16BE(index * 2 + 2) * 2;
  if (from === to) return [];
  const data = glyf.subarray(from, to);
  const count = data.readInt16BE(0);
  return count >= 0 ? simpleOutline(data, count) : compositeOutline(font, data);
}

function simpleOutline(data, count) {
  const ends = Array.from({ length: count }, (_, i) => data.readUInt16BE(10 + i * 2));
  const points = (ends.at(-1) ?? -1) + 1;
  let at = 10 + count * 2;
  at += 2 + data.readUInt16BE(at);
  const flags = [];
  while (flags.length < points) {
    const flag = data[at++];
    const repeat = flag & 8 ? data[at++] : 0;
    for (let r = 0; r <= repeat; r++) flags.push(flag);
  }
  const coordinates = (short, same) => {
    let value = 0;
    return flags.map((flag) => {
      if (flag & short) value += flag & same ? data[at++] : -data[at++];
      else if (!(flag & same)) {
        value += data.readInt16BE(at);
        at += 2;
      }
      return value;
    });
  };
  const xs = coordinates(2, 16);
  const ys = coordinates(4, 32);
  return ends.map((end, i) => {
    const start = i === 0 ? 0 : ends[i - 1] + 1;
    return flags.slice(start, end + 1).map((flag, j) => ({ x: xs[start + j], y: ys[start + j], on: flag & 1 }));
  });
}

function compositeOutline(font, data) {
  const contours = [];
  let at = 10;
  for (let flags = 32; flags & 32; ) {
    flags = data.readUInt16BE(at);
    const part = outline(font, data.readUInt16BE(at + 2));
    at += 4;
    if (!(flags & 2)) throw new Error('a composite glyph placed by points is not handled');
    const dx = flags & 1 ? data.readInt16BE(at) : data.readInt8(at);
    const dy = flags & 1 ? data.readInt16BE(at + 2) : data.readInt8(at + 1);
    at += flags & 1 ? 4 : 2;
    let [a, b, c, d] = [1, 0, 0, 1];
    const f2 = () => {
      at += 2;
      return data.readInt16BE(at - 2) / 16384;
    };
    if (flags & 8) a = d = f2();
    else if (flags & 64) [a, d] = [f2(), f2()];
    else if (flags & 128) [a, b, c, d] = [f2(), f2(), f2(), f2()];
    const moved = part.map((contour) =>
      contour.map(({ x, y, on }) => ({ x: Math.round(a * x + c * y + dx), y: Math.round(b * x + d * y + dy), on })),
    );
    contours.push(...moved);
  }
  return contours;
}

function advance({ hhea, hmtx }, index) {
  return hmtx.readUInt16BE(Math.min(index, hhea.readUInt16BE(34) - 1) * 4);
}

/** int16 little-endian: per glyph its code, advance, contours; per contour its points; per point 2 x + on-curve, y. */
function encode(name) {
  const font = openFont(`${folder}/${name}.ttf`);
  if (font.head.readUInt16BE(18) !== 2048) throw new Error('2048 units per em expected');
  const numbers = [];
  for (const character of CHARACTERS) {
    const code = character.codePointAt(0);
    const index = glyphIndex(font, code);
    const contours = outline(font, index);
    numbers.push(code, advance(font, index), contours.length);
    for (const contour of contours) {
      numbers.push(contour.length, ...contour.flatMap(({ x, y, on }) => [2 * x + on, y]));
    }
  }
  return Buffer.from(Int16Array.from(numbers).buffer).toString('base64');
}

const lines = (text) =>
  text
    .match(/.{1,110}/g)
    .map((line) => `  '${line}',`)
    .join('\n');
const target = fileURLToPath(new URL('../src/report/fonts/dejaVuSans.ts', import.meta.url));
writeFileSync(
  target,
  `/**
 * Glyph outlines of DejaVu Sans 2.37 (licence: LICENSE-DejaVu.txt beside this file), made by scripts/make-font.mjs.
 * base64 of int16 little-endian, 2048 units per em, y up: per glyph its code, advance and number of contours;
 * per contour its number of points; per point 2 x + (1 if on the curve) and y; quadratic curves as in TrueType.
 */
export const DEJAVU_SANS: string = [
${lines(encode('DejaVuSans'))}
].join('');

export const DEJAVU_SANS_BOLD: string = [
${lines(encode('DejaVuSans-Bold'))}
].join('');
`,
);
