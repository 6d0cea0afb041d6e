import type { ScreenY } from '../diagnosis/words.ts';
import { summariseShapes } from '../field/zones.ts';
import type { Measurement } from '../measure.ts';
import { composeMaps, type FieldMaps } from './maps/fieldMap.ts';
import type { PlacePortrait } from './portraits/collect.ts';
import { type Comparison, compareWithModel } from './portraits/modelPortrait.ts';
import type { PlacedPortrait } from './portraits/portraitFigure.ts';
import { screenOf } from './screen.ts';

/** What the page shows beyond the record: drawn from the stars themselves. */
export interface Evidence {
  readonly screenY: ScreenY;
  readonly maps: FieldMaps;
  readonly portraits: readonly PlacedPortrait[];
  /** The cause that the comparison is about; null where nothing is a fault. */
  readonly cause: string | null;
  readonly comparison: Comparison | null;
}

export function composeEvidence(
  measurement: Measurement,
  portraits: readonly PlacePortrait[],
  cause: string | null,
): Evidence {
  const { setup, orientation } = measurement;
  const screen = screenOf(setup.width, setup.height, orientation.screenY);
  return {
    screenY: orientation.screenY,
    maps: composeMaps(measurement),
    portraits: portraits.map((place) => {
      const summary = summariseShapes(place.shapes);
      return {
        ...screen.position(place),
        portrait: place.portrait,
        fwhmPx: summary.fwhm,
        elongation: summary.elongation,
        axisDeg: screen.axisDeg(summary.theta.value),
      };
    }),
    cause,
    comparison: compareWithModel(measurement, portraits, cause),
  };
}
