import { parseScenario } from '../../src/optics/scenario.ts';
import type { DrawnCase } from './drawnCase.ts';
import type { Outcome } from './runCase.ts';

/** Coma of one night, as tilt of the primary: components along the screen's axes, arcseconds. */
export interface Precision {
  readonly arcsec: { readonly x: number; readonly y: number };
  readonly errorArcsec: number;
}

const TILT_ARCMIN = 1;

/** The night of the target: 200 mm f/4, three subs of 500 stars at 2.5 arcseconds. */
export function precisionCase(seed: number, repeat: number): DrawnCase {
  const scenario = parseScenario({
    name: `precision-${repeat}`,
    sentence: 'How well coma is seen: 200 mm f/4, three subs of 500 stars at 2.5 arcseconds.',
    seed: (seed * 7919 + 15485863 + repeat) % 0x7fffffff,
    camera: { widthPx: 3124, heightPx: 2088 },
    state: { primaryTilt: { arcmin: TILT_ARCMIN, directionDeg: 30 } },
    stars: { count: 500 },
    subs: [{}, {}, {}],
  });
  return { index: repeat, kind: 'good', intended: [], scenario, settings: {}, bracketed: false };
}

/** Statistical error of the coma vector, turned to mirror tilt by the noise-free star of the same night. */
export function precisionOf({ report, truth }: Outcome): Precision {
  const uniform = report.field.coma.uniform3;
  if (uniform === null || truth.coma3 === null) throw new Error('no coma measured');
  const arcsecPer3 = (60 * TILT_ARCMIN) / Math.hypot(truth.coma3.x, truth.coma3.y);
  return {
    arcsec: { x: uniform.x * arcsecPer3, y: uniform.y * arcsecPer3 },
    errorArcsec: uniform.error * arcsecPer3,
  };
}
