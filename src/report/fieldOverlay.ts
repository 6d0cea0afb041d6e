import { fixed, plusMinus } from './amounts.ts';
import { type Box, boxesAlong, drawLabel, type LabelStyle, labelSize, placeBox } from './labels.ts';
import { textOutlines, textWidth } from './lettering.ts';
import { PALETTE } from './palette.ts';
import type { FieldPicture } from './picture.ts';
import { type Canvas, type Colour, fill, type Polygon } from './raster.ts';
import type { Finding, Report, StarShift } from './record.ts';
import { arrow, dashedLine, disc, line, ring, sector, towards } from './strokes.ts';
import { fullLengthElongation, thinWhiskers } from './whiskers.ts';
import { causeWords, starsWords } from './wording.ts';

interface Point {
  readonly x: number;
  readonly y: number;
}

/** Everything the parts of the overlay share; u is a thousandth of the picture's width. */
interface Overlay {
  readonly canvas: Canvas;
  readonly report: Report;
  readonly width: number;
  readonly height: number;
  readonly u: number;
  /** Canvas pixels per frame pixel. */
  readonly scale: number;
  /** Space that labels keep off; grows as the parts are drawn. */
  readonly taken: Box[];
}

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
  const shift = report.findings.find((finding) => finding.starShiftPx !== null)?.starShiftPx ?? null;
  drawZoneLines(overlay);
  const whisker = drawWhiskers(overlay, picture, enlarged);
  const move = shift ? moveOf(overlay, shift) : null;
  if (move) overlay.taken.push(...boxesAlong(move.a.x, move.a.y, move.b.x, move.b.y, 56 * overlay.u));
  const labels = [tilt ? drawTilt(overlay, tilt) : null, coma ? drawComa(overlay, coma, move) : null];
  drawZoneSizes(overlay);
  drawKeys(overlay, whisker);
  drawNode(overlay);
  if (move) drawMove(overlay, move);
  for (const label of labels) if (label) putLabel(overlay, label);
}

/** A big arrow asks for a hand on a screw: only faults get one. What is within tolerance stands in numbers below. */
function isDrawn(finding: Finding): boolean {
  return finding.status === 'fault';
}

/** Point of the record (pixels from the frame's centre, y up) on the canvas. */
function onCanvas(overlay: Overlay, point: Point): Point {
  return { x: overlay.width / 2 + point.x * overlay.scale, y: overlay.height / 2 - point.y * overlay.scale };
}

/** Draws a shape twice: a dark casing first, so that it stands out on stars and nebulosity alike. */
function cased(canvas: Canvas, shape: (grow: number) => Polygon[], colour: Colour, casing: number): void {
  fill(canvas, shape(casing), PALETTE.casing, 0.72);
  fill(canvas, shape(0), colour);
}

function drawZoneLines({ canvas, width, height, u }: Overlay): void {
  for (const third of [1, 2]) {
    const [x, y] = [(width * third) / 3, (height * third) / 3];
    fill(canvas, dashedLine(x, 0, x, height, 1.6 * u, 7 * u, 9 * u), PALETTE.ink, 0.34);
    fill(canvas, dashedLine(0, y, width, y, 1.6 * u, 7 * u, 9 * u), PALETTE.ink, 0.34);
  }
}

function drawZoneSizes({ canvas, report, width, height, u, taken }: Overlay): void {
  const style: LabelStyle = { size: 25 * u, weight: 'regular', colour: PALETTE.ink, plate: 0.78 };
  for (const zone of report.zones) {
    const text = zone.fwhmPx ? `${fixed(zone.fwhmPx.value, 2)} px` : starsWords(zone.stars);
    const x = (zone.column * width) / 3 + 10 * u;
    const y = (zone.row * height) / 3 + 10 * u;
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
    const from = towards(x, y, whisker.axisDeg, half);
    const to = towards(x, y, whisker.axisDeg + 180, half);
    const shape = (grow: number): Polygon[] => line(from.x, from.y, to.x, to.y, 3.6 * u + grow);
    cased(canvas, shape, PALETTE.elongation, 3 * u);
  }
  return { full, length };
}

interface Label {
  readonly lines: readonly string[];
  readonly colour: Colour;
  /** Wished anchors, best first: the label stands beside the anchor, off a line through it along `deg`. */
  readonly anchors: readonly Point[];
  readonly deg: number;
}

/** Gap between a label and what it names, thousandths of the width. */
const LABEL_GAP = 16;

function putLabel({ canvas, width, height, u, taken }: Overlay, label: Label): void {
  const style: LabelStyle = { size: 27 * u, weight: 'bold', colour: label.colour, plate: 0.78 };
  const area = { x: 8 * u, y: 8 * u, width: width - 16 * u, height: height - 16 * u };
  const size = labelSize(label.lines, style);
  const normal = ((label.deg + 90) * Math.PI) / 180;
  const half = (Math.abs(Math.cos(normal)) * size.width + Math.abs(Math.sin(normal)) * size.height) / 2;
  const centres = [1, 1.5, 2.2].flatMap((far) =>
    label.anchors.flatMap((anchor) =>
      [90, -90].map((side) => towards(anchor.x, anchor.y, label.deg + side, (half + LABEL_GAP * u) * far)),
    ),
  );
  const box = placeBox(size, centres, area, taken);
  taken.push(drawLabel(canvas, label.lines, box.x, box.y, style));
}

/** The axis of steepest focus change across the frame, with the sector its error allows. */
function drawTilt(overlay: Overlay, finding: Finding): Label | null {
  const { canvas, report, width, height, u, taken } = overlay;
  const axis = finding.axisDeg;
  if (axis === null) return null;
  const centre = { x: width / 2, y: height / 2 };
  const reach = edgeDistance(width - 60 * u, height - 112 * u, axis);
  const ends = [towards(centre.x, centre.y, axis, reach), towards(centre.x, centre.y, axis + 180, reach)] as const;
  const error = Math.min(45, finding.axisErrorDeg ?? 0);
  if (error > 0) {
    for (const side of [0, 180]) {
      fill(canvas, [sector(centre.x, centre.y, 0, reach, axis + side, error)], PALETTE.tilt, 0.16);
    }
  }
  const dashes = (grow: number): Polygon[] =>
    dashedLine(ends[0].x, ends[0].y, ends[1].x, ends[1].y, 5 * u + grow, 22 * u, 14 * u);
  cased(canvas, dashes, PALETTE.tilt, 4 * u);
  for (const [end, other] of [ends, [ends[1], ends[0]] as const]) {
    const back = {
      x: end.x + ((other.x - end.x) * 34 * u) / (2 * reach),
      y: end.y + ((other.y - end.y) * 34 * u) / (2 * reach),
    };
    cased(canvas, (grow) => arrow(back.x, back.y, end.x, end.y, 7.5 * u, grow), PALETTE.tilt, 4 * u);
  }
  taken.push(...boxesAlong(ends[0].x, ends[0].y, ends[1].x, ends[1].y, 30 * u));
  const { tiltUm } = report.field.defocus;
  const amount = tiltUm ? `: ${plusMinus(tiltUm)} µm` : '';
  return {
    lines: [`${causeWords('sensor-tilt', report)}${amount}`, 'focus changes along this line'],
    colour: PALETTE.tilt,
    anchors: [0.75, -0.75, 0.6, -0.6, 0.45, -0.45, 0.9, -0.9].map((part) =>
      towards(centre.x, centre.y, axis, part * reach),
    ),
    deg: axis,
  };
}

/** From the middle of a rectangle to its edge along a direction. */
function edgeDistance(width: number, height: number, deg: number): number {
  const phi = (deg * Math.PI) / 180;
  return Math.min(width / 2 / Math.abs(Math.cos(phi)), height / 2 / Math.abs(Math.sin(phi)));
}

/** Coma of one tolerance is drawn this long, as a share of the frame's height. */
const TOLERANCE_LENGTH = 0.08;
const SHORTEST_COMA = 0.11;
const LONGEST_COMA = 0.3;
/** |coma3| taken for one tolerance where the optics are not known (f/4, 2.5 arcsec of seeing). */
const USUAL_TOLERANCE3 = 0.009;

/** How many tolerances of 0.005 N^3 mm at the focus the coma amounts to. */
function comaInTolerances(report: Report): number {
  const { mirrorTilt, uniform3 } = report.field.coma;
  const { primaryFocalLengthMm: focal, apertureMm } = report.scale;
  if (mirrorTilt && focal !== null && apertureMm !== null) {
    const toleranceMm = 0.005 * (focal / apertureMm) ** 3;
    return ((mirrorTilt.arcmin * Math.PI) / 10_800) * (focal / toleranceMm);
  }
  return uniform3 ? Math.hypot(uniform3.x, uniform3.y) / USUAL_TOLERANCE3 : 1;
}

function drawComa(overlay: Overlay, finding: Finding, move: Move | null): Label | null {
  const { canvas, report, height, u, taken } = overlay;
  const deg = finding.directionDeg;
  if (deg === null) return null;
  const share = Math.min(LONGEST_COMA, Math.max(SHORTEST_COMA, TOLERANCE_LENGTH * comaInTolerances(report)));
  const length = share * height;
  const start = comaStart(overlay, deg, length, move);
  const tip = towards(start.x, start.y, deg, length);
  const error = Math.min(60, finding.directionErrorDeg ?? 0);
  if (error >= 3) fill(canvas, [sector(start.x, start.y, 0, length * 1.2, deg, error)], PALETTE.coma, 0.32);
  cased(canvas, (grow) => arrow(start.x, start.y, tip.x, tip.y, 9 * u, grow), PALETTE.coma, 5 * u);
  cased(canvas, (grow) => [disc(start.x, start.y, 13 * u + grow / 2)], PALETTE.coma, 5 * u);
  taken.push(...boxesAlong(start.x, start.y, tip.x, tip.y, 26 * u));
  const sure = error > 0 ? ` ± ${fixed(Math.max(1, error), 0)}°` : '';
  return {
    lines: [`coma tail ${fixed(deg, 0)}°${sure}`],
    colour: PALETTE.coma,
    anchors: [0.5, 0.2, 0.9].map((part) => towards(start.x, start.y, deg, part * length)),
    deg,
  };
}

/** The arrow begins at the frame's centre, or beside it where the way from A to B would run over it. */
function comaStart(overlay: Overlay, deg: number, length: number, move: Move | null): Point {
  const { width, height, u } = overlay;
  const centre = { x: width / 2, y: height / 2 };
  if (!move) return centre;
  const places = [0, 0.2, -0.2, 0.3, -0.3].map((aside) => towards(centre.x, centre.y, deg + 90, aside * height));
  const room = (start: Point): number => {
    const samples = [0, 0.25, 0.5, 0.75, 1].map((part) => towards(start.x, start.y, deg, part * length));
    return Math.min(...samples.map((sample) => distanceToWay(sample, move.a, move.b)));
  };
  return places.find((place) => room(place) > 90 * u) ?? centre;
}

function distanceToWay(point: Point, a: Point, b: Point): number {
  const square = (b.x - a.x) ** 2 + (b.y - a.y) ** 2;
  const along = square === 0 ? 0 : ((point.x - a.x) * (b.x - a.x) + (point.y - a.y) * (b.y - a.y)) / square;
  const part = Math.max(0, Math.min(1, along));
  return Math.hypot(point.x - a.x - part * (b.x - a.x), point.y - a.y - part * (b.y - a.y));
}

/** The place without coma of a bare mirror, where it lies within the frame: a small upright cross. */
function drawNode(overlay: Overlay): void {
  const { canvas, report, width, height, u, taken } = overlay;
  const { node } = report.field.coma;
  const { pixelUm } = report.scale;
  if (!node || pixelUm === null) return;
  const at = onCanvas(overlay, { x: (node.xMm * 1000) / pixelUm, y: (node.yMm * 1000) / pixelUm });
  if (at.x < 0 || at.y < 0 || at.x > width || at.y > height) return;
  const r = 20 * u;
  const cross = (grow: number): Polygon[] => [
    ...line(at.x - r, at.y, at.x + r, at.y, 4 * u + grow),
    ...line(at.x, at.y - r, at.x, at.y + r, 4 * u + grow),
  ];
  cased(canvas, cross, PALETTE.coma, 4 * u);
  taken.push({ x: at.x - r, y: at.y - r, width: 2 * r, height: 2 * r });
  putLabel(overlay, { lines: ['no coma here'], colour: PALETTE.coma, anchors: [at], deg: 0 });
}

/** Star A and target B on the canvas. */
interface Move {
  readonly a: Point;
  readonly b: Point;
  readonly steps: number;
}

function moveOf(overlay: Overlay, shift: StarShift): Move {
  return { a: onCanvas(overlay, shift.from), b: onCanvas(overlay, shift.to), steps: shift.steps };
}

function drawMove(overlay: Overlay, { a, b, steps }: Move): void {
  const { canvas, width, height, u, taken } = overlay;
  const length = Math.hypot(b.x - a.x, b.y - a.y);
  const [ux, uy] = length === 0 ? [1, 0] : [(b.x - a.x) / length, (b.y - a.y) / length];
  const r = Math.max(9 * u, Math.min(19 * u, length * 0.2));
  const way = (grow: number): Polygon[] => {
    return arrow(a.x + ux * r, a.y + uy * r, b.x - ux * r * 1.6, b.y - uy * r * 1.6, 4.5 * u, grow);
  };
  cased(canvas, way, PALETTE.move, 4 * u);
  cased(canvas, (grow) => ring(a.x, a.y, r, 4 * u + grow), PALETTE.move, 4 * u);
  cased(canvas, (grow) => brackets(b, r * 1.15, 4 * u + grow), PALETTE.move, 4 * u);
  const size = 46 * u;
  const letters = [
    { text: 'A', x: a.x - ux * (r + 34 * u), y: a.y - uy * (r + 34 * u) },
    { text: 'B', x: b.x + ux * (r + 36 * u), y: b.y + uy * (r + 36 * u) },
  ];
  for (const { text, x, y } of letters) {
    const wide = textWidth(text, size, 'bold');
    const left = Math.max(4 * u, Math.min(width - wide - 4 * u, x - wide / 2));
    const base = Math.max(size, Math.min(height - 8 * u, y + size * 0.36));
    for (const [dx, dy] of HALO) {
      fill(canvas, textOutlines(text, left + dx * 3 * u, base + dy * 3 * u, size, 'bold'), PALETTE.casing, 0.5);
    }
    fill(canvas, textOutlines(text, left, base, size, 'bold'), PALETTE.move);
    taken.push({ x: left, y: base - size * 0.75, width: wide, height: size * 0.8 });
  }
  if (steps > 1) {
    const deg = (Math.atan2(-uy, ux) * 180) / Math.PI;
    const middle = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
    putLabel(overlay, { lines: [`step 1 of ${steps}`], colour: PALETTE.move, anchors: [middle, b, a], deg });
  }
}

const HALO = [-1, 0, 1].flatMap((dx) => [-1, 0, 1].map((dy) => [dx, dy] as const));

/** Four corners of a square: where the star shall come to stand. */
function brackets({ x, y }: Point, half: number, width: number): Polygon[] {
  const arm = half * 0.55;
  return [-1, 1].flatMap((sx) =>
    [-1, 1].flatMap((sy) => [
      ...line(x + sx * half, y + sy * half, x + sx * (half - arm), y + sy * half, width),
      ...line(x + sx * half, y + sy * half, x + sx * half, y + sy * (half - arm), width),
    ]),
  );
}

const ROUND_LENGTHS = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600] as const;

/** Along the lower edge: a scale bar, what a whisker's length means, and how angles are counted. */
function drawKeys(overlay: Overlay, whisker: { full: number; length: number }): void {
  const { canvas, height, u, taken } = overlay;
  const style: LabelStyle = { size: 22 * u, weight: 'regular', colour: PALETTE.ink, plate: 0 };
  const bar = scaleBar(overlay);
  const key = `elongation ${fixed(1 + whisker.full / 2, 2)}`;
  const barText = labelSize([bar.text], style).width;
  const keyText = labelSize([key], style).width;
  const tall = 40 * u;
  const top = height - tall - 10 * u;
  const middle = top + tall / 2;
  const wide = bar.length + barText + whisker.length / 2 + keyText + 60 * u;
  const left = 10 * u;
  fill(canvas, [[left, top, left + wide, top, left + wide, top + tall, left, top + tall]], PALETTE.casing, 0.85);
  taken.push({ x: left, y: top, width: wide, height: tall });
  let x = left + 14 * u;
  fill(canvas, line(x, middle, x + bar.length, middle, 3 * u), PALETTE.ink);
  for (const end of [x, x + bar.length])
    fill(canvas, line(end, middle - 7 * u, end, middle + 7 * u, 3 * u), PALETTE.ink);
  x += bar.length + 4 * u;
  drawLabel(canvas, [bar.text], x, middle - style.size * 0.765, style);
  x += barText + 16 * u;
  fill(canvas, line(x, middle, x + whisker.length / 2, middle, 3.6 * u), PALETTE.elongation);
  drawLabel(canvas, [key], x + whisker.length / 2 + 4 * u, middle - style.size * 0.765, style);
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
