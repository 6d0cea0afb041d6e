import { contours } from 'd3-contour';
import { fixed } from './amounts.ts';
import type { SweepRecord } from './sweepRecord.ts';
import { escapeHtml as e } from './untrusted.ts';

/** Plots of a sweep as SVG; colours and fonts come from the page. */

const WIDTH = 640;
const HEIGHT = 340;
const LEFT = 52;
const RIGHT = 14;
const TOP = 14;
const BOTTOM = 52;
/** The key stands in the middle, where curves run low. */
const KEY = 235;

/** Star size against reading: all frames, and the two ninths whose focus lies furthest apart. */
export function curvePlot(record: SweepRecord): string {
  const used = record.frames
    .filter((f) => f.used && f.reading !== null)
    .sort((a, b) => (a.reading ?? 0) - (b.reading ?? 0));
  const { focus, curve } = record;
  if (used.length < 2 || focus === null) return '';
  const readings = used.map((f) => f.reading ?? 0);
  const zones = record.zones.filter((z) => z.bestReading !== null);
  const ends = [...zones].sort((a, b) => (a.bestReading?.value ?? 0) - (b.bestReading?.value ?? 0));
  const [first, last] = [ends[0], ends.at(-1)];
  const sizes = record.zones.flatMap((z) => z.sizesPx.flatMap((s) => s ?? []));
  const [low, high] = [Math.min(...readings), Math.max(...readings)];
  const pad = 0.05 * (high - low);
  const top =
    1.08 * Math.max(...sizes, ...curve.filter((c) => c.reading >= low && c.reading <= high).map((c) => c.middlePx));
  const x = (reading: number): number =>
    LEFT + ((reading - low + pad) / (high - low + 2 * pad)) * (WIDTH - LEFT - RIGHT);
  const y = (size: number): number => HEIGHT - BOTTOM - (size / top) * (HEIGHT - TOP - BOTTOM);
  const shifted = (by: number): string =>
    curve
      .map((c) => ({ reading: c.reading + by, size: c.middlePx }))
      .filter((c) => c.reading >= low - pad && c.reading <= high + pad && c.size <= top)
      .map((c, i) => `${i === 0 ? 'M' : 'L'}${x(c.reading).toFixed(1)} ${y(c.size).toFixed(1)}`)
      .join('');
  const series = (
    zone: SweepRecord['zones'][number] | undefined,
    mark: (px: number, py: number) => string,
    name: string,
  ): string => {
    if (zone?.bestReading == null) return '';
    const points = zone.sizesPx.map((s, i) => (s === null ? '' : mark(x(readings[i]), y(s)))).join('');
    return `<g class="${name}"><path d="${shifted(zone.bestReading.value - focus.middleReading.value)}"/>${points}</g>`;
  };
  const circle = (px: number, py: number): string => `<circle cx="${px.toFixed(1)}" cy="${py.toFixed(1)}" r="4"/>`;
  const square = (px: number, py: number): string =>
    `<rect x="${(px - 4).toFixed(1)}" y="${(py - 4).toFixed(1)}" width="8" height="8"/>`;
  const key = (zone: SweepRecord['zones'][number] | undefined): string =>
    zone === undefined
      ? ''
      : `${['top', 'middle', 'bottom'][zone.row]} ${['left', 'middle', 'right'][zone.column]}`.replace(
          'middle middle',
          'middle',
        );
  return `<svg class="plot" viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="Star size against focuser reading">
${axes(x, y, low, high, top)}
${series(first, circle, 'one')}
${series(last, square, 'two')}
<line class="mark" x1="${x(focus.middleReading.value).toFixed(1)}" x2="${x(focus.middleReading.value).toFixed(1)}" y1="${TOP + 60}" y2="${HEIGHT - BOTTOM}"/>
<g class="key"><g class="one">${circle(KEY, TOP + 12)}</g><text x="${KEY + 12}" y="${TOP + 17}">${e(key(first))}: sharp first</text>
<g class="two">${square(KEY, TOP + 38)}</g><text x="${KEY + 12}" y="${TOP + 43}">${e(key(last))}: sharp last</text></g>
</svg>`;
}

function axes(x: (v: number) => number, y: (v: number) => number, low: number, high: number, top: number): string {
  const ticksX = niceTicks(low, high, 6);
  const ticksY = niceTicks(0, top, 5);
  const base = HEIGHT - BOTTOM;
  return `<g class="axis">
<line x1="${LEFT}" x2="${WIDTH - RIGHT}" y1="${base}" y2="${base}"/><line x1="${LEFT}" x2="${LEFT}" y1="${TOP}" y2="${base}"/>
${ticksX.map((v) => `<text x="${x(v).toFixed(1)}" y="${base + 20}" text-anchor="middle">${fixed(v, v % 1 === 0 ? 0 : 1)}</text>`).join('')}
${ticksY.map((v) => `<text x="${LEFT - 7}" y="${(y(v) + 4).toFixed(1)}" text-anchor="end">${fixed(v, v % 1 === 0 ? 0 : 1)}</text>`).join('')}
<text x="${(LEFT + WIDTH - RIGHT) / 2}" y="${HEIGHT - 6}" text-anchor="middle">focuser reading</text>
<text transform="translate(13 ${(TOP + base) / 2}) rotate(-90)" text-anchor="middle">star size, px</text>
</g>`;
}

/** 1, 2 or 5 times a power of ten. */
function niceStep(span: number, count: number): number {
  const rough = span / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  return power * ([1, 2, 5, 10].find((m) => m * power >= rough) ?? 10);
}

function niceTicks(low: number, high: number, count: number): number[] {
  const step = niceStep(high - low, count);
  const from = Math.ceil(low / step);
  return Array.from({ length: Math.floor(high / step) - from + 1 }, (_, i) => (from + i) * step);
}

/** Best focus over the frame in um towards larger readings, the middle at 0; null without lengths. */
interface Surface {
  readonly gradient: { readonly x: number; readonly y: number };
  readonly curvatureUm: number;
}

const GRID = 60;
const MAP_WIDTH = 640;

/** Contour map of best focus over the frame, as the frame lies on the screen. */
export function contourPlot(record: SweepRecord, surface: Surface | null = surfaceOf(record), spanUm?: number): string {
  const { pixelUm } = record.scale;
  if (surface === null || pixelUm === null) return '';
  const height = Math.round((MAP_WIDTH * record.heightPx) / record.widthPx);
  const rows = Math.round((GRID * record.heightPx) / record.widthPx);
  const mm = (record.widthPx * pixelUm) / 1000 / GRID;
  const half2 = ((GRID * mm) ** 2 + (rows * mm) ** 2) / 4;
  const at = (i: number, j: number): number => {
    const px = (i - GRID / 2) * mm;
    const py = (rows / 2 - j) * mm;
    return surface.gradient.x * px + surface.gradient.y * py + (surface.curvatureUm * (px * px + py * py)) / half2;
  };
  // One more node than cells: the map's edges are the frame's.
  const values = Array.from({ length: (GRID + 1) * (rows + 1) }, (_, k) =>
    at(k % (GRID + 1), Math.floor(k / (GRID + 1))),
  );
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const step = niceStep(Math.max(spanUm ?? high - low, 1), 8);
  const levels = niceLevels(low, high, step);
  const scaleX = MAP_WIDTH / GRID;
  const scaleY = height / rows;
  const lines = contours()
    .size([GRID + 1, rows + 1])
    .smooth(true)
    .thresholds(levels)(values);
  const drawn = lines.map((line) => {
    const rings = line.coordinates
      .flat()
      .map((ring) => ring.map(([cx, cy]) => [(cx - 0.5) * scaleX, (cy - 0.5) * scaleY] as const));
    const strokes = rings.map((ring) => openPath(ring, MAP_WIDTH, height));
    const label = labelFor(rings.flat(), MAP_WIDTH, height, line.value, low, high);
    const kind = line.value === 0 ? 'zero' : line.value > 0 ? 'plus' : 'minus';
    return `<path class="${kind}" d="${strokes.join('')}"/>${label}`;
  });
  return `<svg class="plot map" viewBox="0 0 ${MAP_WIDTH} ${height}" role="img" aria-label="Contours of best focus over the frame">
<rect class="frame" x="1" y="1" width="${MAP_WIDTH - 2}" height="${height - 2}"/>
${drawn.join('\n')}
<circle class="middle" cx="${MAP_WIDTH / 2}" cy="${height / 2}" r="3"/>
</svg>`;
}

export function surfaceOf(record: SweepRecord): Surface | null {
  const { tilt, curvature } = record;
  return tilt?.gradient && curvature?.um ? { gradient: tilt.gradient, curvatureUm: curvature.um.value } : null;
}

function niceLevels(low: number, high: number, step: number): number[] {
  const from = Math.ceil(low / step);
  return Array.from({ length: Math.max(0, Math.floor(high / step) - from + 1) }, (_, i) => (from + i) * step);
}

/** A closed ring without its stretches along the frame's edge, which are no contour. */
function openPath(ring: readonly (readonly [number, number])[], width: number, height: number): string {
  let path = '';
  let pen = false;
  const onEdge = (p: readonly [number, number]): boolean =>
    p[0] < 0.6 || p[1] < 0.6 || p[0] > width - 0.6 || p[1] > height - 0.6;
  ring.forEach((point, i) => {
    const before = ring[i - 1];
    const along = before !== undefined && onEdge(before) && onEdge(point);
    path += `${pen && !along ? 'L' : 'M'}${clamp(point[0], width)} ${clamp(point[1], height)}`;
    pen = true;
  });
  return path;
}

const clamp = (v: number, most: number): string => Math.min(most, Math.max(0, v)).toFixed(1);

/** The level's number on its line, where the line crosses a slanted way through the frame, so that numbers do not pile up. */
function labelFor(
  points: readonly (readonly [number, number])[],
  width: number,
  height: number,
  value: number,
  low: number,
  high: number,
): string {
  const share = 0.2 + (0.6 * (value - low)) / Math.max(high - low, 1e-9);
  let best: readonly [number, number] | null = null;
  let least = Infinity;
  for (const p of points) {
    if (p[0] < 34 || p[0] > width - 34 || p[1] < 16 || p[1] > height - 16) continue;
    const away = Math.abs(p[1] - share * height) + 0.2 * Math.abs(p[0] - width / 2);
    if (away < least) {
      best = p;
      least = away;
    }
  }
  if (best === null) return '';
  const text = `${value > 0 ? '+' : ''}${fixed(value, Math.abs(value) % 1 === 0 ? 0 : 1)}`;
  return `<text x="${best[0].toFixed(1)}" y="${(best[1] + 5).toFixed(1)}" text-anchor="middle">${text}</text>`;
}
