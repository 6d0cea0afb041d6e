import { fixed } from '../amounts.ts';
import { drawLabel, type LabelStyle, labelSize } from '../labels.ts';
import { PALETTE } from '../palette.ts';
import { fill } from '../raster.ts';
import { arrow, line, plate } from '../strokes.ts';
import type { Overlay } from './overlay.ts';

const ROUND_LENGTHS = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600] as const;
const SIZE = 25;
const TALL = 44;
const GROUND = 0.72;

/** Along the lower edge: a scale bar and what a whisker's length means on the left, how angles are counted on the right. */
export function drawKeys(overlay: Overlay, whisker: { readonly full: number; readonly length: number }): void {
  const { canvas, height, u, taken } = overlay;
  const style: LabelStyle = { size: SIZE * u, weight: 'regular', colour: PALETTE.ink, plate: 0 };
  const bar = scaleBar(overlay);
  const key = `elongation ${fixed(1 + whisker.full / 2, 2)}`;
  const barText = labelSize([bar.text], style).width;
  const keyText = labelSize([key], style).width;
  const top = height - (TALL + 10) * u;
  const middle = top + (TALL / 2) * u;
  const wide = bar.length + barText + whisker.length / 2 + keyText + 46 * u;
  const left = 10 * u;
  fill(canvas, [plate(left, top, wide, TALL * u, 9 * u)], PALETTE.casing, GROUND);
  taken.push({ x: left, y: top, width: wide, height: TALL * u });
  let x = left + 14 * u;
  const write = (text: string, at: number): void => {
    drawLabel(canvas, [text], at, middle - style.size * 0.765, style);
  };
  fill(canvas, line(x, middle, x + bar.length, middle, 3 * u), PALETTE.ink);
  for (const end of [x, x + bar.length])
    fill(canvas, line(end, middle - 7 * u, end, middle + 7 * u, 3 * u), PALETTE.ink);
  x += bar.length + 4 * u;
  write(bar.text, x);
  x += barText + 14 * u;
  fill(canvas, line(x, middle, x + whisker.length / 2, middle, 3.6 * u), PALETTE.elongation);
  write(key, x + whisker.length / 2 + 4 * u);
  drawCompass(overlay, style);
}

/** Screen angles: 0 degrees to the right, 90 up. */
function drawCompass({ canvas, width, height, u, taken }: Overlay, style: LabelStyle): void {
  const right = labelSize(['0°'], style).width;
  const up = labelSize(['90°'], style).width;
  const arm = 46 * u;
  const box = { x: width - 30 * u - arm - right, y: height - 92 * u, width: arm + right + 20 * u, height: 82 * u };
  fill(canvas, [plate(box.x, box.y, box.width, box.height, 9 * u)], PALETTE.casing, GROUND);
  const [x, y] = [box.x + 16 * u, box.y + box.height - 18 * u];
  fill(canvas, arrow(x, y, x + arm, y, 3.5 * u), PALETTE.ink);
  fill(canvas, arrow(x, y, x, y - arm, 3.5 * u), PALETTE.ink);
  drawLabel(canvas, ['0°'], x + arm - 6 * u, y - style.size * 0.765, style);
  drawLabel(canvas, ['90°'], x + Math.min(4 * u, box.width - up), y - arm - 4 * u, style);
  taken.push(box);
}

/** A round length between a tenth and a fifth of the picture's width, in arc where the scale is known. */
function scaleBar({ report, width, scale }: Overlay): { length: number; text: string } {
  const { arcsecPerPx } = report.scale;
  const longest = width / 6;
  if (arcsecPerPx === null) {
    const framePx = 10 ** Math.floor(Math.log10(longest / scale));
    const times = [5, 2, 1].find((factor) => factor * framePx * scale <= longest) ?? 1;
    return { length: times * framePx * scale, text: `${times * framePx} px` };
  }
  const perArcsec = scale / arcsecPerPx;
  const fitting = ROUND_LENGTHS.filter((seconds) => seconds * perArcsec <= longest);
  const seconds = fitting.at(-1) ?? longest / perArcsec;
  const text = seconds >= 60 ? `${fixed(seconds / 60, 0)}′` : `${fixed(seconds, seconds < 1 ? 2 : 0)}″`;
  return { length: seconds * perArcsec, text };
}
