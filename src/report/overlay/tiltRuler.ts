import { plusMinus, significant } from '../amounts.ts';
import { boxesAlong } from '../labels.ts';
import { PALETTE } from '../palette.ts';
import { fill, type Polygon } from '../raster.ts';
import type { Finding } from '../record.ts';
import { arrow, line, sector, towards } from '../strokes.ts';
import { causeWords } from '../wording.ts';
import { cased, type Label, type Overlay } from './overlay.ts';

/** Focus steps that a rung may stand for, um; the smallest that leaves at most MOST_RUNGS of them. */
const RUNGS_UM = [5, 10, 20, 50, 100, 200, 500, 1000] as const;
const MOST_RUNGS = 13;

/**
 * The axis of steepest focus change across the frame as a ruler: a rung at each step of focus, so that more rungs are more tilt,
 * and the sector that the axis' error allows.
 */
export function drawTilt(overlay: Overlay, finding: Finding): Label | null {
  const { canvas, report, width, height, u, taken } = overlay;
  const axis = finding.axisDeg;
  if (axis === null) return null;
  const centre = { x: width / 2, y: height / 2 };
  const edge = edgeDistance(width, height, axis);
  const reach = edgeDistance(width - 60 * u, height - 124 * u, axis);
  const ends = [towards(centre.x, centre.y, axis, reach), towards(centre.x, centre.y, axis + 180, reach)] as const;
  const error = Math.min(45, finding.axisErrorDeg ?? 0);
  if (error > 0) {
    for (const side of [0, 180])
      fill(canvas, [sector(centre.x, centre.y, 0, reach, axis + side, error)], PALETTE.tilt, 0.2);
  }
  const shaft = (grow: number): Polygon[] => [
    ...line(ends[0].x, ends[0].y, ends[1].x, ends[1].y, 4 * u + grow),
    ...[0, 1].flatMap((i) => {
      const end = ends[i === 0 ? 0 : 1];
      const back = towards(end.x, end.y, axis + (i === 0 ? 180 : 0), 34 * u);
      return arrow(back.x, back.y, end.x, end.y, 7 * u, grow);
    }),
  ];
  cased(canvas, shaft, PALETTE.tilt, 4 * u);
  const { tiltUm } = report.field.defocus;
  const step = tiltUm && RUNGS_UM.find((um) => tiltUm.value / um <= MOST_RUNGS);
  if (tiltUm && step) {
    // Edge to edge along the axis the focus changes by the whole tilt.
    const pitch = (2 * edge * step) / tiltUm.value;
    for (let i = -MOST_RUNGS; i <= MOST_RUNGS; i++) {
      if (Math.abs(i * pitch) > reach - 44 * u) continue;
      const at = towards(centre.x, centre.y, axis, i * pitch);
      const from = towards(at.x, at.y, axis + 90, 22 * u);
      const to = towards(at.x, at.y, axis - 90, 22 * u);
      cased(canvas, (grow) => line(from.x, from.y, to.x, to.y, 5 * u + grow), PALETTE.tilt, 4 * u);
    }
  }
  taken.push(...boxesAlong(ends[0].x, ends[0].y, ends[1].x, ends[1].y, 56 * u));
  const amount = tiltUm ? ` ${plusMinus(tiltUm)} µm` : '';
  return {
    lines: [
      `${causeWords('sensor-tilt', report)}${amount}`,
      step ? `a rung: ${significant(step)} µm of focus` : 'focus changes this way',
    ],
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
