import type { FrameStars } from '../field/frameStars.ts';
import { median } from '../numeric/statistics.ts';

/** The brightest stars of a sub: places in stored pixels, light in ADU. */
export interface StarPlaces {
  readonly width: number;
  readonly height: number;
  readonly stars: readonly StarPlace[];
}

export interface StarPlace {
  readonly x: number;
  readonly y: number;
  readonly flux: number;
}

/** How far the field went from one sub to another, stored pixels; or why it cannot be told. */
export type StarTravel =
  | { readonly x: number; readonly y: number; readonly error: number; readonly turned: boolean; readonly stars: number }
  | { readonly why: string };

const STARS = 90;
/** The brightest of them vote. */
const VOTERS = 60;
/** Votes for shifts that agree so well are counted together, pixels. */
const CELL_PX = 6;
/** Stars that agree so well after the shift are the same. */
const CLOSE_PX = 2.5;
const LEAST_STARS = 6;
/** Chance that unrelated fields agree as well somewhere. */
const FALSE_ALARM = 1e-4;
/** Stars of one exposure and another: their light has one ratio, to within this factor. */
const FLUX_FACTOR = 1.8;

export function starPlaces({ width, height, shapes }: FrameStars): StarPlaces {
  const stars = [...shapes].sort((a, b) => b.flux - a.flux).slice(0, STARS);
  const cut = (value: number): number => Math.round(value * 100) / 100;
  return { width, height, stars: stars.map(({ x, y, flux }) => ({ x: cut(x), y: cut(y), flux: Math.round(flux) })) };
}

/**
 * Every pair of stars, one of each sub, votes for the shift that would carry one to the other; the same field gives one shift
 * many votes, whatever else appeared or went (E. J. Groth, Astron. J. 91, 1244, 1986, matches triangles instead, which need
 * more stars in common). A field turned by half a turn, as after the mount changed sides, is tried too; other turns are not.
 */
export function starTravel(before: StarPlaces, after: StarPlaces): StarTravel {
  const known = FOUND.get(before)?.get(after);
  if (known !== undefined) return known;
  const found = findTravel(before, after);
  FOUND.set(before, (FOUND.get(before) ?? new WeakMap<StarPlaces, StarTravel>()).set(after, found));
  return found;
}

/** Asked for again whenever a night is gone through again. */
const FOUND = new WeakMap<StarPlaces, WeakMap<StarPlaces, StarTravel>>();

function findTravel(before: StarPlaces, after: StarPlaces): StarTravel {
  if (before.width !== after.width || before.height !== after.height) return { why: 'the subs differ in size' };
  const few = Math.min(before.stars.length, after.stars.length);
  if (few < LEAST_STARS) return { why: `only ${few} stars in a sub` };
  const upright = matchShift(before.stars, after);
  const about = before.stars.map((star) => ({ ...star, x: before.width - 1 - star.x, y: before.height - 1 - star.y }));
  const turned = matchShift(about, after);
  const best = turned.surprise > upright.surprise ? turned : upright;
  const cells = ((2 * before.width) / CELL_PX) * ((2 * before.height) / CELL_PX);
  if (best.pairs.length < LEAST_STARS || Math.exp(-best.surprise) * 2 * cells > FALSE_ALARM)
    return { why: 'no stars in common are recognised' };
  const dx = best.pairs.map(([a, b]) => b.x - a.x);
  const dy = best.pairs.map(([a, b]) => b.y - a.y);
  const [x, y] = [median(dx), median(dy)];
  const scatter = 1.4826 * Math.max(median(dx.map((v) => Math.abs(v - x))), median(dy.map((v) => Math.abs(v - y))));
  return {
    x,
    y,
    error: Math.hypot(0.1, (1.2533 * scatter) / Math.sqrt(best.pairs.length)),
    turned: best === turned,
    stars: best.pairs.length,
  };
}

interface Match {
  readonly pairs: readonly (readonly [StarPlace, StarPlace])[];
  /** -log of the chance of so many votes by accident in one cell. */
  readonly surprise: number;
}

function matchShift(before: readonly StarPlace[], { stars, width, height }: StarPlaces): Match {
  const columns = Math.ceil((2 * width) / CELL_PX) + 3;
  const rows = Math.ceil((2 * height) / CELL_PX) + 3;
  const votes = new Uint16Array(columns * rows);
  const cells: number[] = [];
  for (const a of before.slice(0, VOTERS))
    for (const b of stars.slice(0, VOTERS)) {
      const cell =
        (Math.round((b.y - a.y + height) / CELL_PX) + 1) * columns + Math.round((b.x - a.x + width) / CELL_PX) + 1;
      votes[cell]++;
      cells.push(cell);
    }
  let top = 0;
  let most = 0;
  for (const cell of cells) {
    // A shift at the edge of a cell votes for its neighbours as well.
    let around = 0;
    for (let dy = -columns; dy <= columns; dy += columns)
      around += votes[cell + dy - 1] + votes[cell + dy] + votes[cell + dy + 1];
    if (around > most) [most, top] = [around, cell];
  }
  const x = ((top % columns) - 1) * CELL_PX - width;
  const y = (Math.floor(top / columns) - 1) * CELL_PX - height;
  const pairs = refine(before, stars, { x, y });
  // Where the two frames overlap, so many pairs agree by chance to CLOSE_PX.
  const overlap = Math.max(0, width - Math.abs(x)) * Math.max(0, height - Math.abs(y));
  const chance = (before.length * stars.length * overlap * Math.PI * (2 * CLOSE_PX) ** 2) / (width * height) ** 2;
  return { pairs, surprise: poissonSurprise(pairs.length, Math.max(0.02, chance)) };
}

/** Pairs that stand together after the shift, once its middle is known, and whose light has the usual ratio. */
function refine(
  before: readonly StarPlace[],
  stars: readonly StarPlace[],
  shift: { readonly x: number; readonly y: number },
): [StarPlace, StarPlace][] {
  const rough = pairsWithin(before, stars, shift, 1.5 * CELL_PX);
  if (rough.length < 3) return rough;
  const middle = { x: mode(rough.map(([a, b]) => b.x - a.x)), y: mode(rough.map(([a, b]) => b.y - a.y)) };
  const close = pairsWithin(before, stars, middle, CLOSE_PX);
  if (close.length < 3) return close;
  const ratios = close.map(([a, b]) => Math.log(b.flux / a.flux));
  const usual = median(ratios);
  return close.filter((_, i) => Math.abs((ratios[i] ?? 0) - usual) < Math.log(FLUX_FACTOR));
}

/** Nearest star within reach of each, each used once. */
function pairsWithin(
  before: readonly StarPlace[],
  stars: readonly StarPlace[],
  { x, y }: { readonly x: number; readonly y: number },
  reach: number,
): [StarPlace, StarPlace][] {
  const taken = new Set<StarPlace>();
  return before.flatMap((a) => {
    let nearest: StarPlace | null = null;
    let least = reach;
    for (const b of stars) {
      const off = Math.hypot(b.x - a.x - x, b.y - a.y - y);
      if (off < least && !taken.has(b)) [nearest, least] = [b, off];
    }
    if (nearest === null) return [];
    taken.add(nearest);
    return [[a, nearest] as [StarPlace, StarPlace]];
  });
}

/** Middle of the densest stretch of 2 pixels. */
function mode(values: readonly number[]): number {
  const near = (at: number): number[] => values.filter((value) => Math.abs(value - at) < 1);
  const densest = values.reduce(
    (best, value) => (near(value).length > near(best).length ? value : best),
    values[0] ?? 0,
  );
  return median(near(densest));
}

/** -log P(k or more | mean), by its leading term. */
function poissonSurprise(k: number, mean: number): number {
  if (k <= mean) return 0;
  let log = k * Math.log(mean) - mean;
  for (let i = 2; i <= k; i++) log -= Math.log(i);
  return -log + Math.log(1 - mean / (k + 1));
}
