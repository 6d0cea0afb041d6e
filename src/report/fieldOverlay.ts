import { fixed } from './amounts.ts';
import { boxesAlong, drawLabel, type LabelStyle, labelSize, placeBox } from './labels.ts';
import { drawComa, drawNode } from './overlay/comaArrow.ts';
import { drawKeys } from './overlay/keys.ts';
import { cased, type Overlay, putLabel } from './overlay/overlay.ts';
import { drawMove, moveOf } from './overlay/starMove.ts';
import { drawTilt } from './overlay/tiltRuler.ts';
import { PALETTE } from './palette.ts';
import type { FieldPicture } from './picture.ts';
import { type Canvas, fill, type Polygon } from './raster.ts';
import type { Finding, Report } from './record.ts';
import { disc, line, towards } from './strokes.ts';
import { fullLengthElongation, thinWhiskers } from './whiskers.ts';
import { starsWords } from './wording.ts';

/** Draws on the frame (the top of the canvas): zones, whiskers, tilt axis, coma arrow, star A and target B, keys. */
export function drawFieldOverlay(canvas: Canvas, report: Report, picture: FieldPicture, enlarged: number): void {
  const overlay: Overlay = {
    canvas,
    report,
    width: picture.width * enlarged,
    height: picture.height * enlarged,
    u: (picture.width * enlarged) / 1000,
    scale: picture.pixelsPerFramePixel * enlarged,
    taken: [],
  };
  const tilt = report.findings.find((finding) => finding.cause === 'sensor-tilt' && isDrawn(finding));
  const coma = report.findings.find((finding) => finding.cause === 'miscollimation' && isDrawn(finding));
  const told = report.findings.some(({ cause, significance }) => cause === 'miscollimation' && significance !== null);
  const shift = report.findings.find((finding) => finding.starShiftPx !== null)?.starShiftPx ?? null;
  drawZoneMarks(overlay);
  const whisker = drawWhiskers(overlay, picture, enlarged);
  const move = shift ? moveOf(overlay, shift) : null;
  if (move) overlay.taken.push(...boxesAlong(move.a.x, move.a.y, move.b.x, move.b.y, 56 * overlay.u));
  const labels = [tilt ? drawTilt(overlay, tilt) : null, coma ? drawComa(overlay, coma, move) : null];
  drawKeys(overlay, whisker);
  // Where nothing is told of the coma, nothing is told of its node.
  if (told) drawNode(overlay);
  if (move) drawMove(overlay, move);
  drawZoneSizes(overlay);
  for (const label of labels) if (label) putLabel(overlay, label);
}

/** A big arrow asks for a hand on a screw: only faults get one. What is within tolerance stands in numbers below. */
function isDrawn(finding: Finding): boolean {
  return finding.status === 'fault';
}

/** Small crosses where the zones' corners meet and ticks at the edges: quieter than lines across the stars. */
function drawZoneMarks({ canvas, width, height, u }: Overlay): void {
  const arm = 15 * u;
  const marks: Polygon[] = [];
  for (const third of [1, 2]) {
    const [x, y] = [(width * third) / 3, (height * third) / 3];
    marks.push(...line(x, 0, x, arm, 2.4 * u), ...line(x, height - arm, x, height, 2.4 * u));
    marks.push(...line(0, y, arm, y, 2.4 * u), ...line(width - arm, y, width, y, 2.4 * u));
    for (const other of [1, 2]) {
      const cy = (height * other) / 3;
      marks.push(...line(x - arm, cy, x + arm, cy, 2.4 * u), ...line(x, cy - arm, x, cy + arm, 2.4 * u));
    }
  }
  fill(canvas, marks, PALETTE.ink, 0.6);
}

/** In the upper left of each zone, or where else in it nothing else is drawn. */
function drawZoneSizes({ canvas, report, width, height, u, taken }: Overlay): void {
  const style: LabelStyle = { size: 27 * u, weight: 'regular', colour: PALETTE.ink, plate: 0.6 };
  for (const zone of report.zones) {
    const text = zone.fwhmPx ? `${fixed(zone.fwhmPx.value, 2)} px` : starsWords(zone.stars);
    const size = labelSize([text], style);
    const room = {
      x: (zone.column * width) / 3 + 12 * u,
      y: (zone.row * height) / 3 + 12 * u,
      width: width / 3 - 24 * u,
      height: height / 3 - 24 * u,
    };
    const [left, right] = [room.x + size.width / 2, room.x + room.width - size.width / 2];
    const [top, bottom] = [room.y + size.height / 2, room.y + room.height - size.height / 2];
    const wished = [
      { x: left, y: top },
      { x: right, y: top },
      { x: left, y: bottom },
      { x: right, y: bottom },
      { x: (left + right) / 2, y: bottom },
    ];
    const { x, y } = placeBox(size, wished, room, taken);
    taken.push(drawLabel(canvas, [text], x, y, style));
  }
}

/** Returns the elongation - 1 of a full-length whisker and that length. */
function drawWhiskers(overlay: Overlay, picture: FieldPicture, enlarged: number): { full: number; length: number } {
  const { canvas, u } = overlay;
  const whiskers = thinWhiskers(picture.whiskers, picture.width, picture.height);
  const full = fullLengthElongation(whiskers);
  const length = 74 * u;
  for (const whisker of whiskers) {
    const half = (Math.min(1.15, (whisker.elongation - 1) / full) * length) / 2;
    const [x, y] = [whisker.x * enlarged, whisker.y * enlarged];
    if (whisker.round) {
      // No direction beyond the scatter of its stars: a dot says that stars were looked at here.
      fill(canvas, [disc(x, y, 3 * u)], PALETTE.elongation, 0.75);
      continue;
    }
    const from = towards(x, y, whisker.axisDeg, half);
    const to = towards(x, y, whisker.axisDeg + 180, half);
    const shape = (grow: number): Polygon[] => line(from.x, from.y, to.x, to.y, 3.6 * u + grow);
    cased(canvas, shape, PALETTE.elongation, 3 * u);
  }
  return { full, length };
}
