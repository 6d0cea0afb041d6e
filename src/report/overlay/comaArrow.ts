import { fixed, significant } from '../amounts.ts';
import { boxesAlong } from '../labels.ts';
import { PALETTE } from '../palette.ts';
import { fill } from '../raster.ts';
import type { Finding, Report } from '../record.ts';
import { arrow, disc, line, ring, sector, towards } from '../strokes.ts';
import { cased, type Label, type Overlay, onCanvas, type Point, putLabel } from './overlay.ts';
import type { Move } from './starMove.ts';

/** Coma of one tolerance is drawn this long, as a share of the frame's height, unless the arrow would grow too long. */
const TOLERANCE_LENGTH = 0.085;
const LONGEST = 0.34;
/** |coma3| taken for one tolerance where an older record does not tell (f/4, 2.5 arcsec of seeing). */
const USUAL_TOLERANCE3 = 0.009;
/** A fan narrower than this, degrees, would not be seen. */
const LEAST_FAN = 2;

/** The amount in tolerances with its interval. */
function shareOf(finding: Finding, report: Report): { value: number; low: number; high: number } {
  if (finding.toleranceShare) return finding.toleranceShare;
  const { uniform3 } = report.field.coma;
  const value = uniform3 ? Math.hypot(uniform3.x, uniform3.y) / USUAL_TOLERANCE3 : 1;
  return { value, low: value, high: value };
}

/**
 * The coma tail's direction and size: an arrow out of a disc that stands for the tolerance, on one scale, and a fan where the
 * arrow's tip may lie within the errors of direction and amount.
 */
export function drawComa(overlay: Overlay, finding: Finding, move: Move | null): Label | null {
  const { canvas, report, height, u, taken } = overlay;
  const deg = finding.directionDeg;
  if (deg === null) return null;
  const share = shareOf(finding, report);
  const unit = Math.min(TOLERANCE_LENGTH * height, (LONGEST * height) / Math.max(share.high, share.value));
  const length = share.value * unit;
  const start = comaStart(overlay, deg, length, move);
  const tip = towards(start.x, start.y, deg, length);
  fill(canvas, [disc(start.x, start.y, unit)], PALETTE.casing, 0.42);
  fill(canvas, ring(start.x, start.y, unit, 2.5 * u), PALETTE.coma, 0.85);
  cased(canvas, (grow) => arrow(start.x, start.y, tip.x, tip.y, 9 * u, grow), PALETTE.coma, 5 * u);
  cased(canvas, (grow) => [disc(start.x, start.y, 9 * u + grow / 2)], PALETTE.coma, 5 * u);
  const error = Math.min(60, finding.directionErrorDeg ?? 0);
  const fan = Math.max(LEAST_FAN, error);
  if (share.high > share.low) {
    fill(canvas, [sector(start.x, start.y, share.low * unit, share.high * unit, deg, fan)], PALETTE.coma, 0.4);
    for (const end of [share.low, share.high]) {
      const at = towards(start.x, start.y, deg, end * unit);
      const wide = Math.max(15 * u, end * unit * Math.sin((fan * Math.PI) / 180));
      const [from, to] = [towards(at.x, at.y, deg + 90, wide), towards(at.x, at.y, deg - 90, wide)];
      cased(canvas, (grow) => line(from.x, from.y, to.x, to.y, 4 * u + grow), PALETTE.coma, 3 * u);
    }
  }
  const far = towards(start.x, start.y, deg, Math.max(length, share.high * unit));
  taken.push(...boxesAlong(start.x, start.y, far.x, far.y, 34 * u));
  taken.push({ x: start.x - unit, y: start.y - unit, width: 2 * unit, height: 2 * unit });
  const sure = error > 0 ? ` ± ${fixed(Math.max(1, error), 0)}°` : '';
  return {
    lines: [`coma ${fixed(deg, 0)}°${sure}`, `${significant(share.value)} × tolerance`],
    colour: PALETTE.coma,
    anchors: [0.5, 0, 1].map((part) => towards(start.x, start.y, deg, part * length)),
    deg,
    gap: unit + 8 * u,
  };
}

/** The arrow begins at the frame's centre, or beside it where the way from A to B would run over it. */
function comaStart({ width, height, u }: Overlay, deg: number, length: number, move: Move | null): Point {
  const centre = { x: width / 2, y: height / 2 };
  if (!move) return centre;
  const places = [0, 0.2, -0.2, 0.3, -0.3].map((aside) => towards(centre.x, centre.y, deg + 90, aside * height));
  const room = (start: Point): number => {
    const samples = [0, 0.25, 0.5, 0.75, 1].map((part) => towards(start.x, start.y, deg, part * length));
    return Math.min(...samples.map((sample) => distanceToWay(sample, move.a, move.b)));
  };
  return places.find((place) => room(place) > 110 * u) ?? centre;
}

function distanceToWay(point: Point, a: Point, b: Point): number {
  const square = (b.x - a.x) ** 2 + (b.y - a.y) ** 2;
  const along = square === 0 ? 0 : ((point.x - a.x) * (b.x - a.x) + (point.y - a.y) * (b.y - a.y)) / square;
  const part = Math.max(0, Math.min(1, along));
  return Math.hypot(point.x - a.x - part * (b.x - a.x), point.y - a.y - part * (b.y - a.y));
}

/** The place without coma of a bare mirror, where it lies within the frame: a small upright cross. */
export function drawNode(overlay: Overlay): void {
  const { canvas, report, width, height, u, taken } = overlay;
  const { node } = report.field.coma;
  const { pixelUm } = report.scale;
  if (!node || pixelUm === null) return;
  const at = onCanvas(overlay, { x: (node.xMm * 1000) / pixelUm, y: (node.yMm * 1000) / pixelUm });
  if (at.x < 0 || at.y < 0 || at.x > width || at.y > height) return;
  const r = 20 * u;
  cased(
    canvas,
    (grow) => [
      ...line(at.x - r, at.y, at.x + r, at.y, 4 * u + grow),
      ...line(at.x, at.y - r, at.x, at.y + r, 4 * u + grow),
    ],
    PALETTE.coma,
    4 * u,
  );
  taken.push({ x: at.x - r, y: at.y - r, width: 2 * r, height: 2 * r });
  putLabel(overlay, { lines: ['no coma here'], colour: PALETTE.coma, anchors: [at], deg: 0 });
}
