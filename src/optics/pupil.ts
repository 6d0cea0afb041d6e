import type { Complex } from './complex.ts';
import type { LightCone, Telescope } from './telescope.ts';

/** What lets light through, in unit pupil coordinates (rim at radius 1), as the star at one field position sees it. */
export interface Pupil {
  readonly obstruction: number;
  readonly obstructionOffset: Complex;
  /** Vanes: unit direction, half width and sideways offset in pupil radii. */
  readonly vanes: readonly {
    readonly x: number;
    readonly y: number;
    readonly halfWidth: number;
    readonly offset: number;
  }[];
  readonly stop: { readonly centre: Complex; readonly radius: number } | null;
}

/** `z`: field position, mm, which matters to a cut light cone only. */
export function pupilAt(telescope: Telescope, z: Complex): Pupil {
  const radiusMm = telescope.apertureMm / 2;
  return {
    obstruction: telescope.obstruction,
    obstructionOffset: telescope.obstructionOffset,
    vanes: telescope.vanes.map((vane) => ({
      x: Math.cos(vane.angle),
      y: Math.sin(vane.angle),
      halfWidth: vane.widthMm / 2 / radiusMm,
      offset: vane.offsetMm / radiusMm,
    })),
    stop: telescope.lightCone === null ? null : stopOf(telescope.lightCone, z),
  };
}

function stopOf(cone: LightCone, z: Complex): { centre: Complex; radius: number } {
  return {
    centre: { x: cone.offset.x + cone.shiftPerMm * z.x, y: cone.offset.y + cone.shiftPerMm * z.y },
    radius: cone.radius,
  };
}

/** Share of a cell of size `step` on the inner side of an edge `distance` inside it: the edge crosses as a straight line. */
function inside(distance: number, step: number): number {
  return Math.min(1, Math.max(0, 0.5 + distance / step));
}

/** Mean transmission, 0 to 1, of a pupil cell of size `step` about (x, y); soft edges keep the pupil's area right. */
export function transmission(pupil: Pupil, x: number, y: number, step: number): number {
  let open = inside(1 - Math.sqrt(x * x + y * y), step);
  if (open === 0) return 0;
  if (pupil.obstruction > 0) {
    const dx = x - pupil.obstructionOffset.x;
    const dy = y - pupil.obstructionOffset.y;
    const away = Math.sqrt(dx * dx + dy * dy);
    open *= 1 - inside(pupil.obstruction - away, step);
  }
  if (pupil.stop !== null) {
    open *= inside(pupil.stop.radius - Math.hypot(x - pupil.stop.centre.x, y - pupil.stop.centre.y), step);
  }
  for (const vane of pupil.vanes) {
    if (x * vane.x + y * vane.y <= 0) continue;
    const across = y * vane.x - x * vane.y - vane.offset;
    const covered = Math.min(across + step / 2, vane.halfWidth) - Math.max(across - step / 2, -vane.halfWidth);
    if (covered > 0) open *= 1 - covered / step;
  }
  return open;
}
