import { type Grid, gridFor, type ImageConditions, maxHalfSize, stampAt, starImage } from '../optics/psf.ts';
import { EXAMPLE_TELESCOPE, type Telescope, umPerArcsec } from '../optics/telescope.ts';
import { type Coefficients, NO_ABERRATION } from '../optics/wavefront.ts';
import type { Plane } from '../stars/background.ts';
import { type Disc, measureDisc, SKY_RING } from './disc.ts';
import { halfFluxSlope, type SweepOptics } from './sweepOptics.ts';

/** Stars drawn by Fourier optics and measured like real ones, without noise. */

/** Subpixel places over which a node is averaged. */
const PHASES = [
  [0.1, 0.05],
  [0.4, 0.3],
  [0.2, 0.45],
  [0.05, 0.25],
] as const;
export function telescopeOf(optics: SweepOptics): Telescope {
  return {
    ...EXAMPLE_TELESCOPE,
    apertureMm: optics.apertureMm,
    primaryFocalLengthMm: optics.focalLengthMm,
    effectiveFocalLengthMm: optics.focalLengthMm,
    obstruction: optics.obstruction,
  };
}

interface Stamp {
  readonly plane: Plane;
  readonly x: number;
  readonly y: number;
  readonly hfd: number;
  readonly half: number;
}

/** A drawn star at several places against the pixels. */
export function stampsOf(
  telescope: Telescope,
  optics: SweepOptics,
  seeingArcsec: number,
  w: Coefficients,
  dz: number,
): Stamp[] {
  const conditions: ImageConditions = { pixelUm: optics.pixelUm, filter: 'L', seeingArcsec, samples: 1 };
  const softPx = (1.2 * seeingArcsec * umPerArcsec(telescope)) / optics.pixelUm;
  const hfd = Math.hypot(softPx, (halfFluxSlope(optics) * dz) / optics.pixelUm);
  const grid = roomFor(gridFor(telescope, w, conditions), hfd);
  const image = starImage(telescope, w, { ...conditions, grid });
  const half = maxHalfSize(image);
  const width = 2 * half + 1;
  return PHASES.map(([fx, fy]) => {
    const data = Float64Array.from(stampAt(image, fx, fy, half));
    return {
      plane: { data, width, height: width, mask: null, greenParity: null },
      x: half + fx,
      y: half + fy,
      hfd,
      half,
    };
  });
}

/** The grid, widened until the ring that the sky is measured in lies within it. */
function roomFor(grid: Grid, hfd: number): Grid {
  let { size } = grid;
  while (maxHalfSize({ ...grid, size }) < SKY_RING * 1.1 * hfd + 2) size *= 2;
  return { ...grid, size };
}

export type Drawn = Parameters<typeof stampsOf>;

export const discOf = ({ plane, x, y, hfd, half }: Stamp): Disc | null =>
  measureDisc(plane, { x, y, hfd }, 1e-9, 1e12, half);

export function averageDisc(...drawn: Drawn): Pick<Disc, 'q0' | 'q2x'> | null {
  const discs = stampsOf(...drawn).flatMap((stamp) => discOf(stamp) ?? []);
  if (discs.length === 0) return null;
  const mean = (pick: (d: Disc) => number): number => discs.reduce((sum, d) => sum + pick(d), 0) / discs.length;
  return { q0: mean((d) => d.q0), q2x: mean((d) => d.q2x) };
}

/** Seeing at which a focused star has this q0, within the seeing there is on Earth. */
export function seeingFor(telescope: Telescope, optics: SweepOptics, floor: number, w = NO_ABERRATION): number {
  const arcsecPerPx = (206.264806 * optics.pixelUm) / optics.focalLengthMm;
  // A first guess from pure Kolmogorov seeing, then one correction.
  let seeing = clampSeeing(1.65 * Math.sqrt(floor) * arcsecPerPx);
  for (let round = 0; round < 2; round++) {
    const disc = averageDisc(telescope, optics, seeing, w, 0);
    if (disc === null) break;
    seeing = clampSeeing(seeing * Math.sqrt(floor / disc.q0));
  }
  return seeing;
}

const clampSeeing = (arcsec: number): number => Math.min(8, Math.max(0.8, arcsec));
