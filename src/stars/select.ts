import { median, robustSigma } from '../numeric/statistics.ts';
import { elongationOf, type Shape, SIGMA_TO_FWHM } from '../shapes/shape.ts';
import type { Plane } from './background.ts';
import { type Candidate, HOT_SPREAD } from './detect.ts';
import type { LeftOutReason } from './leftOut.ts';

export const SELECT_DEFAULTS = {
  /** Share of the saturation level above which a pixel no longer answers linearly. */
  saturationShare: 0.93,
  /** A neighbour within this many FWHM... */
  blendFwhm: 3,
  /** ...and brighter than this share of the star spoils its shape. */
  blendShare: 0.04,
  /** Peak over its noise below which a star carries no shape... */
  minPeakSnr: 15,
  /** ...up to this FWHM, pixels; a broader star of the same light has a lower peak and as much shape. */
  snrFwhm: 3,
  /** Width over the smooth field of widths: narrower is no star, wider is no star either. */
  tooSharp: 0.6,
  tooWide: 1.6,
  /** Short axis over the typical star's. */
  tooThin: 0.68,
  /** Widths stray from the smooth field by their scatter; so many times it, and at least so much (as a share), is no star. */
  strayWidth: 5,
  leastStray: 0.1,
  /** Residual of the fit over what the other stars leave and noise explains. */
  oddProfile: 4,
  /** Elongation over the typical star's that makes a wide object a piece of a trail. */
  trailElongation: 2.5,
} as const;

/** Stored value that counts as saturated: the header's word, else where the frame's brightest pixels pile up. */
export function saturationLevel(plane: Plane, told: number | null, candidates: readonly Candidate[]): number {
  const full = fullScale(plane.data);
  const top = Math.max(...candidates.map((c) => c.highest), -Infinity);
  const atTop = candidates.filter((c) => c.highest >= top * 0.995).length;
  // Two or more stars with the same highest value have met a ceiling.
  const ceiling = atTop >= 2 && top > 0 ? top : full;
  return SELECT_DEFAULTS.saturationShare * Math.min(told ?? Infinity, ceiling, full);
}

/** Peak over its noise that a star of this FWHM needs: the same signal to noise of its light at any width above `snrFwhm`. */
const minPeakSnrAt = (fwhm: number): number => SELECT_DEFAULTS.minPeakSnr * Math.min(1, SELECT_DEFAULTS.snrFwhm / fwhm);

function fullScale(data: Plane['data']): number {
  if (data instanceof Uint8Array) return 255;
  if (data instanceof Uint16Array) return 65535;
  if (data instanceof Int16Array) return 32767;
  return Infinity;
}

/** Fewer stars than this have no common profile to be unlike. */
const MIN_TOGETHER = 20;

/** Candidates worth fitting, and why the others are not; the first reason found counts. */
export function chooseCandidates(
  candidates: readonly Candidate[],
  plane: Plane,
  saturation: number,
  fwhm: number,
  gainEPerAdu = Number.POSITIVE_INFINITY,
): { readonly chosen: readonly Candidate[]; readonly leftOut: ReadonlyMap<Candidate, LeftOutReason> } {
  const leftOut = new Map<Candidate, LeftOutReason>();
  const anyNear = neighbourFinder(candidates, plane, SELECT_DEFAULTS.blendFwhm * fwhm);
  const chosen = candidates.filter((c) => {
    const reason = reasonAgainst(c, plane, saturation, fwhm, gainEPerAdu, anyNear);
    if (reason !== null) leftOut.set(c, reason);
    return reason === null;
  });
  return { chosen, leftOut };
}

function reasonAgainst(
  c: Candidate,
  plane: Plane,
  saturation: number,
  fwhm: number,
  gainEPerAdu: number,
  anyNear: NeighbourFinder,
): LeftOutReason | null {
  if (c.spread < HOT_SPREAD) return 'hot-or-cosmic';
  if (c.highest >= saturation) return 'saturated';
  const edge = 2 * fwhm;
  if (c.x < edge || c.y < edge || c.x > plane.width - 1 - edge || c.y > plane.height - 1 - edge) return 'border';
  const noise = Math.sqrt(c.noise * c.noise + Math.max(0, c.peak) / gainEPerAdu);
  if (c.peak < minPeakSnrAt(fwhm) * noise * 0.8) return 'too-faint';
  const spoiler = anyNear(c, (o) => o.spread >= HOT_SPREAD && o.smoothed > SELECT_DEFAULTS.blendShare * c.smoothed);
  return spoiler || c.contrast < 0.5 * c.smoothed ? 'blended' : null;
}

/** Asks of each candidate within the radius of one, but itself, whether it is what is looked for. */
type NeighbourFinder = (c: Candidate, wanted: (other: Candidate) => boolean) => boolean;

/** Cells no narrower than this, pixels: more of them than stars would only cost time. */
const LEAST_CELL = 32;

/** Candidates in square cells at least as wide as the radius: those of a cell stand in `members` from its first on. */
function neighbourFinder(candidates: readonly Candidate[], plane: Plane, radius: number): NeighbourFinder {
  const side = Math.max(radius, LEAST_CELL);
  const columns = Math.ceil(plane.width / side) + 2;
  const rows = Math.ceil(plane.height / side) + 2;
  // A margin of empty cells all round; a binned plane's candidate may stand a little outside.
  const cellOf = (c: Candidate): number =>
    Math.min(rows - 2, Math.max(1, 1 + Math.floor(c.y / side))) * columns +
    Math.min(columns - 2, Math.max(1, 1 + Math.floor(c.x / side)));
  const first = new Int32Array(columns * rows + 1);
  const cells = Int32Array.from(candidates, cellOf);
  for (const cell of cells) first[cell + 1]++;
  for (let k = 0; k < columns * rows; k++) first[k + 1] += first[k];
  const members = new Int32Array(candidates.length);
  const filled = first.slice();
  cells.forEach((cell, i) => {
    members[filled[cell]++] = i;
  });
  return (c, wanted) => {
    const cell = cellOf(c);
    for (let row = cell - columns; row <= cell + columns; row += columns)
      for (let m = first[row - 1]; m < first[row + 2]; m++) {
        const other = candidates[members[m]];
        const across = other.x - c.x;
        const down = other.y - c.y;
        if (other !== c && across * across + down * down <= radius * radius && wanted(other)) return true;
      }
    return false;
  };
}

/** What stars look like at a place of the frame. */
export interface TypicalStar {
  readonly fwhm: number;
  readonly sigmaMinor: number;
  readonly elongation: number;
}

/**
 * Which measured stars are no stars: compared with the typical star of the place, so that a tilted or curved focus costs no
 * corner. There is no roundness cut: odd shapes are the signal.
 */
export function judgeShape(shape: Shape, typical: TypicalStar): LeftOutReason | null {
  if (shape.fwhm < SELECT_DEFAULTS.tooSharp * typical.fwhm) return 'hot-or-cosmic';
  // A cosmic ray's track is long, but nothing the optics draw is that thin.
  if (shape.sigmaMinor < SELECT_DEFAULTS.tooThin * typical.sigmaMinor) return 'hot-or-cosmic';
  if (shape.fwhm > SELECT_DEFAULTS.tooWide * typical.fwhm)
    return elongationOf(shape) > SELECT_DEFAULTS.trailElongation * typical.elongation ? 'trail' : 'extended';
  return shape.peakSnr < minPeakSnrAt(shape.fwhm) ? 'too-faint' : null;
}

/** The brightest candidates of each ninth of the frame: enough to learn how wide stars are there. */
export function samplePerZone(candidates: readonly Candidate[], plane: Plane, perZone: number): Candidate[] {
  const zones = Array.from({ length: 9 }, (): Candidate[] => []);
  for (const c of candidates) {
    const column = Math.min(2, Math.max(0, Math.floor((3 * c.x) / plane.width)));
    const row = Math.min(2, Math.max(0, Math.floor((3 * c.y) / plane.height)));
    zones[3 * row + column].push(c);
  }
  return zones.flatMap((zone) => zone.sort((a, b) => b.smoothed - a.smoothed).slice(0, perZone));
}

/** The typical star where the width field gives `fwhm`: elongation is taken as the same all over, its median. */
export function typicalStarOf(look: readonly Shape[]): (fwhm: number) => TypicalStar {
  const elongation = look.length === 0 ? 1 : median(look.map(elongationOf));
  return (fwhm) => ({ fwhm, sigmaMinor: fwhm / SIGMA_TO_FWHM / Math.sqrt(elongation), elongation });
}

/**
 * A second look once all stars are known: small galaxies and close pairs are only a little wider than stars, and a star hit
 * by a cosmic ray is as wide as one but falls off unlike the others.
 */
export function judgeTogether(shapes: readonly Shape[], typicalFwhm: (s: Shape) => number): (LeftOutReason | null)[] {
  if (shapes.length < MIN_TOGETHER) return shapes.map(() => null);
  const stray = shapes.map((s) => Math.log(s.fwhm / typicalFwhm(s)));
  const middle = median(stray);
  const scatter = robustSigma(stray, middle);
  const usualMisfit = median(shapes.map((s) => Math.sqrt(Math.max(0, s.misfit ** 2 - s.peakSnr ** -2))));
  return shapes.map((s, i) => {
    const allowed = SELECT_DEFAULTS.strayWidth * Math.hypot(scatter, s.fwhmError / s.fwhm);
    if (stray[i] - middle > Math.max(SELECT_DEFAULTS.leastStray, allowed)) return 'extended';
    return s.misfit > SELECT_DEFAULTS.oddProfile * Math.hypot(usualMisfit, 1 / s.peakSnr) ? 'odd-profile' : null;
  });
}
