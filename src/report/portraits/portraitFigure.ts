import type { ScreenY } from '../../diagnosis/words.ts';
import { fixed } from '../amounts.ts';
import { pathOf, ringsOf, round } from '../svg.ts';
import { escapeHtml as e } from '../untrusted.ts';
import type { Portrait } from './stack.ts';

/** Contours of a portrait, shares of its peak; those that its noise would draw are left out. */
const LEVELS = [0.025, 0.06, 0.13, 0.25, 0.5, 0.75] as const;
const NOISE_SIGMAS = 3;

/** Light beyond that of the opposite side, shares of the peak: what coma, and nothing point-symmetric, makes. */
const ODD_LEVELS = [0.003, 0.008, 0.016, 0.032] as const;

/** Half the difference between a point and its opposite, less twice its error: what is surely there. */
function oddPart({ image, errors }: Portrait): Float64Array {
  const last = image.length - 1;
  return image.map((value, i) => (value - image[last - i]) / 2 - Math.hypot(errors[i], errors[last - i]));
}

/** One portrait about (x, y) as an SVG group, `unitsPerPx` drawing units a pixel of the file, as seen on the screen. */
export function drawPortrait(portrait: Portrait, x: number, y: number, unitsPerPx: number, screenY: ScreenY): string {
  const { size, oversample, half, image, error } = portrait;
  const levels = LEVELS.filter((level) => level > NOISE_SIGMAS * error);
  // The drawing's y runs down the screen.
  const place = (gx: number, gy: number): [number, number] => [
    x + (gx / oversample - half) * unitsPerPx,
    y - screenY * (gy / oversample - half) * unitsPerPx,
  ];
  const paths = ringsOf(image, size, size, levels).map(
    ({ level, rings }) => `<path class="${level === 0.5 ? 'star half' : 'star'}" d="${pathOf(rings, place)}"/>`,
  );
  const lopsided = ringsOf(oddPart(portrait), size, size, ODD_LEVELS).map(
    ({ rings }) => `<path class="odd" d="${pathOf(rings, place)}"/>`,
  );
  const arm = 4;
  const cross = `<path class="cross" d="M${round(x - arm)} ${round(y)}H${round(x + arm)}M${round(x)} ${round(y - arm)}V${round(y + arm)}"/>`;
  return `<g>${paths.join('')}${lopsided.join('')}${cross}</g>`;
}

/** A portrait on the page's field figure; x, y from the frame's centre on the screen, pixels, y up. */
export interface PlacedPortrait {
  readonly x: number;
  readonly y: number;
  readonly portrait: Portrait;
  readonly fwhmPx: { readonly value: number; readonly error: number };
  readonly elongation: { readonly value: number; readonly error: number };
  readonly axisDeg: number;
}

const WIDE = 900;
/** Portraits are as large as their distances allow, within these limits, drawing units across. */
const ACROSS = { least: 96, most: 220 } as const;
const LABEL = 19;

/** Every portrait at its true place in the frame, all magnified alike. */
export function portraitsFigure(
  placed: readonly PlacedPortrait[],
  frame: { readonly width: number; readonly height: number },
  screenY: ScreenY,
  alt: string,
): { readonly svg: string; readonly magnification: number } {
  const scale = WIDE / frame.width;
  const tall = frame.height * scale;
  const at = (p: PlacedPortrait): { x: number; y: number } => ({
    x: WIDE / 2 + p.x * scale,
    y: tall / 2 - p.y * scale,
  });
  const places = placed.map(at);
  const apart = Math.min(
    ...places.flatMap((a, i) => places.slice(i + 1).map((b) => Math.hypot(a.x - b.x, (a.y - b.y) * 0.85))),
    ACROSS.most,
  );
  const across = Math.max(ACROSS.least, Math.min(ACROSS.most, apart * 1.1));
  const half = placed[0]?.portrait.half ?? 1;
  const unitsPerPx = across / (2 * half);
  const stars = placed.map((p, i) => {
    const { x, y } = places[i] ?? { x: 0, y: 0 };
    const below = y + across * 0.38 + LABEL;
    return `${drawPortrait(p.portrait, x, y, unitsPerPx, screenY)}<text class="tag" x="${round(x)}" y="${round(below)}"><tspan class="number">${i + 1}</tspan> ${fixed(p.fwhmPx.value, 2)} · ${fixed(p.elongation.value, 2)}</text>`;
  });
  const pad = across * 0.5;
  const svg = `<svg class="portraits" viewBox="${round(-pad)} ${round(-pad * 0.6)} ${round(WIDE + 2 * pad)} ${round(tall + pad * 1.4)}" role="img" aria-label="${e(alt)}">
<rect class="frame" width="${WIDE}" height="${round(tall)}"/>
${stars.join('\n')}
</svg>`;
  return { svg, magnification: unitsPerPx / scale };
}
