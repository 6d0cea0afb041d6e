import { decimalsFor, fixed } from '../amounts.ts';
import { pathOf, type Ring, ringsOf, round } from '../svg.ts';
import { escapeHtml as e } from '../untrusted.ts';
import type { FieldMap } from './fieldMap.ts';
import { roundLevels } from './levels.ts';

/** Drawing units along the frame's width. */
const WIDE = 360;
/** Half the width of a bold letter of a mark, in the same units. */
const HALF_LETTER = 4.8;
/** Labels keep this far from the edge, from each other. */
const EDGE = 20;
const APART = 42;

interface Spot {
  readonly x: number;
  readonly y: number;
}

export interface MapWords {
  /** For those who cannot see it. */
  readonly alt: string;
  readonly unit: string;
}

/** Smooth filled contours over the frame, their values on the lines, and the least and largest value with its error. */
export function mapFigure(
  map: FieldMap,
  frame: { readonly width: number; readonly height: number },
  words: MapWords,
): string {
  const tall = (WIDE * frame.height) / frame.width;
  const place = (x: number, y: number): [number, number] => [
    (x / (map.columns - 1)) * WIDE,
    (y / (map.rows - 1)) * tall,
  ];
  const { low, high, error, flat } = extremes(map);
  const levels = roundLevels(map.values[low] ?? 0, map.values[high] ?? 0, error);
  // Lines over what is flat within its error would follow noise.
  const bands = flat ? [] : ringsOf(map.values, map.columns, map.rows, levels.values);
  const fills = bands.map(({ rings }) => `<path class="band" d="${pathOf(rings, place)}"/>`);
  const taken: Spot[] = [];
  const marks = (flat ? [middleOf(map)] : [low, high]).map((at) => mark(map, at, place, tall, taken));
  const labels = bands.flatMap(({ level, rings }) => {
    const spot = roomiest(rings, place, tall, taken);
    if (spot === null) return [];
    taken.push(spot);
    return [
      `<text class="level" x="${round(spot.x)}" y="${round(spot.y + 5)}">${fixed(level, levels.decimals)}</text>`,
    ];
  });
  const focus =
    map.signed === null
      ? ''
      : ringsOf(map.signed, map.columns, map.rows, [0])
          .map(({ rings }) => `<path class="focus" d="${openPath(rings, place, tall)}"/>`)
          .join('');
  return `<svg class="map" viewBox="-2 -2 ${WIDE + 4} ${round(tall + 4)}" role="img" aria-label="${e(words.alt)}">
<rect class="frame" width="${WIDE}" height="${round(tall)}"/>
${fills.join('')}${focus}
${labels.join('')}${marks.join('')}
</svg>`;
}

const middleOf = ({ columns, rows }: FieldMap): number => Math.floor(rows / 2) * columns + Math.floor(columns / 2);

/** Places of the least and largest value (the same where they do not differ beyond their errors) and the typical error. */
export function extremes({ values, errors }: FieldMap): { low: number; high: number; error: number; flat: boolean } {
  let low = 0;
  let high = 0;
  values.forEach((value, i) => {
    if (value < values[low]) low = i;
    if (value > values[high]) high = i;
  });
  const error = errors.toSorted()[Math.floor(errors.length / 2)] ?? 0;
  const flat = values[high] - values[low] < 3 * Math.hypot(errors[low], errors[high]);
  return { low, high, error, flat };
}

function mark(
  map: FieldMap,
  at: number,
  place: (x: number, y: number) => [number, number],
  tall: number,
  taken: Spot[],
): string {
  const [x, y] = place(at % map.columns, Math.floor(at / map.columns));
  const error = map.errors[at] ?? 0;
  const decimals = Math.min(3, decimalsFor(error));
  const text = `${fixed(map.values[at] ?? 0, decimals)} ± ${fixed(error, decimals)}`;
  const left = x < WIDE / 2;
  const tx = left ? Math.max(10, x + 9) : Math.min(WIDE - 10, x - 9);
  const half = HALF_LETTER * text.length;
  const middle = tx + (left ? half : -half);
  let ty = Math.max(20, Math.min(tall - 12, y + 5));
  // Two marks near each other: the second is written a line farther in.
  while (taken.some((spot) => Math.abs(spot.x - middle) < 2 * half && Math.abs(spot.y - ty) < 18))
    ty += y < tall / 2 ? 20 : -20;
  taken.push({ x: middle, y: ty });
  return `<circle class="mark" cx="${round(Math.max(5, Math.min(WIDE - 5, x)))}" cy="${round(Math.max(5, Math.min(tall - 5, y)))}" r="4"/><text class="value" x="${round(tx)}" y="${round(ty)}" text-anchor="${left ? 'start' : 'end'}">${text}</text>`;
}

/** The point of the contour, inside the frame, that stands farthest from what is written already. */
function roomiest(
  rings: readonly Ring[],
  place: (x: number, y: number) => [number, number],
  tall: number,
  taken: readonly Spot[],
): Spot | null {
  let best: Spot | null = null;
  let most = APART;
  for (const ring of rings) {
    for (const [gx, gy] of ring) {
      const [x, y] = place(gx, gy);
      const edge = Math.min(x, y, WIDE - x, tall - y);
      if (edge < EDGE) continue;
      const room = Math.min(3 * APART, ...taken.map((spot) => Math.hypot((spot.x - x) / 1.4, spot.y - y))) + edge / 20;
      if (room > most) {
        best = { x, y };
        most = room;
      }
    }
  }
  return best;
}

/** The rings without what runs along the frame's edge. */
function openPath(rings: readonly Ring[], place: (x: number, y: number) => [number, number], tall: number): string {
  const atEdge = (x: number, y: number): boolean => x <= 0 || y <= 0 || x >= WIDE || y >= tall - 1e-9;
  let path = '';
  for (const ring of rings) {
    let pen = false;
    for (const [gx, gy] of ring) {
      const [x, y] = place(gx, gy);
      if (atEdge(x, y)) {
        if (pen) path += `L${round(x)} ${round(y)}`;
        path += `M${round(x)} ${round(y)}`;
        pen = false;
        continue;
      }
      path += `${path === '' ? 'M' : 'L'}${round(x)} ${round(y)}`;
      pen = true;
    }
  }
  return path.replace(/(M[^ML]+)+(?=M)/g, '').replace(/M[^ML]+$/, '');
}
