import type { FrameStars } from '../../field/frameStars.ts';
import { median } from '../../numeric/statistics.ts';
import type { Shape } from '../../shapes/shape.ts';
import type { Source } from '../../shapes/stamp.ts';
import { choosePlaces, groupBy, meanOf, type Place, placeCount } from './places.ts';
import { addStar, noSamples, type Portrait, type SamplesBeingGathered, stackStars } from './stack.ts';

/** The mean star of one part of the field. */
export interface PlacePortrait {
  /** Mean place of its stars, stored pixels. */
  readonly x: number;
  readonly y: number;
  readonly portrait: Portrait;
  /** The stars it is the mean of, of all subs. */
  readonly shapes: readonly Shape[];
}

/** Takes the stars' pixels while a sub is in memory; a hundred kilobytes a place remain. */
export interface PortraitCollector {
  add(source: Source, stars: FrameStars): void;
  portraits(): PlacePortrait[];
}

/** Stars of a place, all subs together: a mean of more looks no different. */
const MOST_STARS = 40;
/** Fewer make no portrait. */
const LEAST_STARS = 3;
/** Stars farther from their place than this share of the frame's diagonal are not of it. */
const PLACE_RADIUS = 0.13;

interface Gathered {
  readonly place: Place;
  readonly shapes: Shape[];
  readonly samples: SamplesBeingGathered;
}

/** `subs`: how many will be added at most; they share the stars of a place evenly. */
export function collectPortraits(subs: number): PortraitCollector {
  let gathered: Gathered[] = [];
  let fwhm = 0;
  const perSub = Math.max(2, Math.ceil(MOST_STARS / subs));
  return {
    add: (source, { shapes, width, height }) => {
      if (gathered.length === 0) {
        const places = choosePlaces(shapes, placeCount(shapes.length * subs));
        gathered = places.map((place) => ({ place, shapes: [], samples: noSamples() }));
        fwhm = shapes.length === 0 ? 0 : median(shapes.map((s) => s.fwhm));
      }
      const reach = PLACE_RADIUS * Math.hypot(width, height);
      const groups = groupBy(
        shapes,
        gathered.map(({ place }) => place),
      );
      gathered.forEach(({ place, shapes: taken, samples }, i) => {
        const near = (groups[i] ?? [])
          .filter((s) => Math.hypot(s.x - place.x, s.y - place.y) <= reach)
          .sort((a, b) => b.peakSnr - a.peakSnr);
        for (const shape of near.slice(0, perSub)) if (addStar(samples, source, shape, fwhm)) taken.push(shape);
      });
    },
    portraits: () =>
      gathered.flatMap(({ shapes, samples }) => {
        const portrait = shapes.length < LEAST_STARS ? null : stackStars(samples, fwhm);
        return portrait === null ? [] : [{ ...meanOf(shapes), portrait, shapes }];
      }),
  };
}
