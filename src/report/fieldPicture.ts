import { drawFieldOverlay } from './fieldOverlay.ts';
import { drawInfoPanel, infoPanelHeight } from './infoPanel.ts';
import { PALETTE } from './palette.ts';
import type { FieldPicture } from './picture.ts';
import { type Canvas, createCanvas } from './raster.ts';
import type { Report } from './record.ts';

/** A small frame is enlarged until the picture is this wide, so that the lettering has room. */
const LEAST_WIDTH = 1000;

/** The annotated picture (field.png): the frame with what was found drawn on it, and the answer below. */
export function drawFieldPicture(report: Report, picture: FieldPicture): Canvas {
  const enlarged = Math.max(1, Math.ceil(LEAST_WIDTH / picture.width));
  const width = picture.width * enlarged;
  const frameHeight = picture.height * enlarged;
  const panelHeight = infoPanelHeight(report, width);
  const canvas = createCanvas(width, frameHeight + panelHeight, PALETTE.ground, frameHeight);
  drawFrame(canvas, picture, enlarged);
  drawFieldOverlay(canvas, report, picture, enlarged);
  drawInfoPanel(canvas, report, frameHeight);
  return canvas;
}

/** Whole-numbered enlargement with straight interpolation between pixel centres. */
function drawFrame(canvas: Canvas, picture: FieldPicture, enlarged: number): void {
  const { width, height, grey } = picture;
  if (enlarged === 1) {
    // As wide as the canvas: its first rows.
    copyGreys(grey, canvas.rgb);
    return;
  }
  for (let y = 0; y < height * enlarged; y++) {
    const v = Math.max(0, Math.min(height - 1, (y + 0.5) / enlarged - 0.5));
    const y0 = Math.floor(v);
    const y1 = Math.min(height - 1, y0 + 1);
    let at = y * canvas.width * 3;
    for (let x = 0; x < width * enlarged; x++, at += 3) {
      const value = between(grey, width, x, enlarged, y0, y1, v - y0);
      canvas.rgb[at] = value;
      canvas.rgb[at + 1] = value;
      canvas.rgb[at + 2] = value;
    }
  }
}

const LITTLE_ENDIAN = new Uint8Array(Uint32Array.of(1).buffer)[0] === 1;

/** Three bytes for each; four greys at a time where the machine's order allows. */
function copyGreys(grey: Uint8Array, rgb: Uint8Array): void {
  const fours = LITTLE_ENDIAN && rgb.byteOffset % 4 === 0 ? grey.length >> 2 : 0;
  const words = new Uint32Array(rgb.buffer, fours === 0 ? 0 : rgb.byteOffset, 3 * fours);
  for (let i = 0, to = 0; to < words.length; i += 4, to += 3) {
    const b = grey[i + 1];
    const c = grey[i + 2];
    words[to] = grey[i] * 0x10101 + b * 0x1000000;
    words[to + 1] = b * 0x101 + c * 0x1010000;
    words[to + 2] = c + grey[i + 3] * 0x1010100;
  }
  for (let i = 4 * fours, to = 3 * i; i < grey.length; i++, to += 3) rgb.fill(grey[i], to, to + 3);
}

function between(
  grey: Uint8Array,
  width: number,
  x: number,
  enlarged: number,
  y0: number,
  y1: number,
  down: number,
): number {
  const u = Math.max(0, Math.min(width - 1, (x + 0.5) / enlarged - 0.5));
  const x0 = Math.floor(u);
  const x1 = Math.min(width - 1, x0 + 1);
  const across = u - x0;
  const upper = grey[y0 * width + x0] * (1 - across) + grey[y0 * width + x1] * across;
  const lower = grey[y1 * width + x0] * (1 - across) + grey[y1 * width + x1] * across;
  return Math.round(upper * (1 - down) + lower * down);
}
