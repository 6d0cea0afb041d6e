/** Somewhere in the frame; stored pixels. */
export interface Place {
  readonly x: number;
  readonly y: number;
}

/** Places at most: more would leave no room between their portraits. */
const MOST_PLACES = 15;
const FEWEST_PLACES = 4;
/** Stars a place should have, all subs together. */
const STARS_PER_PLACE = 12;
const ROUNDS = 40;

/** How many places so many stars can fill. */
export function placeCount(stars: number): number {
  return Math.min(MOST_PLACES, Math.max(Math.min(FEWEST_PLACES, stars), Math.floor(stars / STARS_PER_PLACE)));
}

/**
 * Places where the stars are: centres of `count` groups of near stars, dense parts of the field holding more of them
 * (Lloyd 1982, IEEE Trans. Inf. Theory 28, 129). Each first centre is the star farthest from those before it, so that the
 * same stars give the same places.
 */
export function choosePlaces(stars: readonly Place[], count: number): Place[] {
  const first = nearestTo(stars, meanOf(stars));
  if (first === undefined) return [];
  const centres: Place[] = [first];
  const away = stars.map((star) => square(star, first));
  while (centres.length < Math.min(count, stars.length)) {
    const far = stars[away.indexOf(Math.max(...away))] ?? first;
    centres.push(far);
    stars.forEach((star, i) => {
      away[i] = Math.min(away[i], square(star, far));
    });
  }
  let places = centres;
  for (let round = 0; round < ROUNDS; round++) {
    const groups = groupBy(stars, places);
    places = places.map((place, i) => (groups[i].length === 0 ? place : meanOf(groups[i])));
  }
  return places;
}

/** The stars of each place: those nearer to it than to any other. */
export function groupBy<T extends Place>(stars: readonly T[], places: readonly Place[]): T[][] {
  const groups = places.map((): T[] => []);
  for (const star of stars) {
    let best = 0;
    let least = Infinity;
    places.forEach((place, i) => {
      const distance = square(star, place);
      if (distance < least) {
        least = distance;
        best = i;
      }
    });
    groups[best]?.push(star);
  }
  return groups;
}

export function meanOf(stars: readonly Place[]): Place {
  const n = Math.max(1, stars.length);
  return { x: stars.reduce((sum, s) => sum + s.x, 0) / n, y: stars.reduce((sum, s) => sum + s.y, 0) / n };
}

function nearestTo(stars: readonly Place[], to: Place): Place | undefined {
  return stars.reduce<Place | undefined>(
    (best, star) => (best === undefined || square(star, to) < square(best, to) ? star : best),
    undefined,
  );
}

const square = (a: Place, b: Place): number => (a.x - b.x) ** 2 + (a.y - b.y) ** 2;
