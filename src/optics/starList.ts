import type { Random } from '../numeric/random.ts';

/** How many stars of which brightness stand in the frame. */
export interface StarCounts {
  readonly count: number;
  /** Light of the faintest and brightest star, electrons in the exposure, before vignetting. */
  readonly faintestE: number;
  readonly brightestE: number;
  /** log10 of the number of stars brighter than magnitude m grows by this for each magnitude (0.3-0.4 in the Milky Way). */
  readonly slopePerMagnitude: number;
  /** No two stars stand nearer than this, pixels; 0 leaves chance neighbours. */
  readonly minSeparationPx: number;
}

export const USUAL_STARS: StarCounts = {
  count: 300,
  faintestE: 6000,
  brightestE: 400_000,
  slopePerMagnitude: 0.35,
  minSeparationPx: 0,
};

export interface Star {
  /** Ideal place: 0-based pixels, integer = pixel centre, y = stored row. */
  readonly x: number;
  readonly y: number;
  readonly electrons: number;
}

const TRIES_PER_STAR = 40;

/**
 * Stars scattered by chance over the frame and `margin` pixels round it at the same density, from one seed; fewer than
 * asked where the separation leaves no room.
 */
export function scatterStars(
  counts: StarCounts,
  width: number,
  height: number,
  margin: number,
  random: Random,
): Star[] {
  const count = Math.round((counts.count * (width + 2 * margin) * (height + 2 * margin)) / (width * height));
  const power = counts.slopePerMagnitude / 0.4;
  const span = 1 - (counts.faintestE / counts.brightestE) ** power;
  const stars: Star[] = [];
  const cell = Math.max(counts.minSeparationPx, 1);
  const taken = new Map<string, Star[]>();
  const keyAt = (x: number, y: number): string => `${Math.floor(x / cell)},${Math.floor(y / cell)}`;
  const crowded = (x: number, y: number): boolean => {
    if (counts.minSeparationPx <= 0) return false;
    for (let j = -1; j <= 1; j++) {
      for (let i = -1; i <= 1; i++) {
        const near = taken.get(keyAt(x + i * cell, y + j * cell)) ?? [];
        if (near.some((star) => Math.hypot(star.x - x, star.y - y) < counts.minSeparationPx)) return true;
      }
    }
    return false;
  };
  for (let tries = 0; stars.length < count && tries < TRIES_PER_STAR * count; tries++) {
    const x = -0.5 - margin + random.uniform() * (width + 2 * margin);
    const y = -0.5 - margin + random.uniform() * (height + 2 * margin);
    const electrons = counts.faintestE * (1 - random.uniform() * span) ** (-1 / power);
    if (crowded(x, y)) continue;
    const star = { x, y, electrons };
    stars.push(star);
    const key = keyAt(x, y);
    taken.set(key, [...(taken.get(key) ?? []), star]);
  }
  return stars;
}
