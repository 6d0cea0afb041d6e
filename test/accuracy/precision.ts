import { type Scenario, parseScenario } from '../../src/optics/scenario.ts';
import { scenesOf } from '../../src/optics/night.ts';
import { truthOf } from './truth.ts';
import { measureCase } from './runCase.ts';

/** Coma of one night, as tilt of the primary: components along the screen's axes, arcseconds. */
export interface Precision {
  readonly arcsec: { readonly x: number; readonly y: number };
  readonly errorArcsec: number;
}

const TILT_ARCMIN = 1;

function nightOf(seed: number, repeat: number): Scenario {
  return parseScenario({
    name: `precision-${repeat}`,
    sentence: 'How well coma is seen: 200 mm f/4, three subs of 500 stars at 2.5 arcseconds.',
    seed: (seed * 7919 + 15485863 + repeat) % 0x7fffffff,
    camera: { widthPx: 3124, heightPx: 2088 },
    state: { primaryTilt: { arcmin: TILT_ARCMIN, directionDeg: 30 } },
    stars: { count: 500 },
    subs: [{}, {}, {}],
  });
}

/** Statistical error of the coma vector, turned to mirror tilt by the noise-free star of the same night. */
export function precisionOf(seed: number, repeat: number): Precision {
  const scenario = nightOf(seed, repeat);
  const drawn = { index: -1 - repeat, kind: 'good', intended: [], scenario, settings: {}, bracketed: false } as const;
  const truth = truthOf(drawn, scenesOf(scenario));
  const { report } = measureCase(drawn);
  const uniform = report.field.coma.uniform3;
  if (uniform === null || truth.coma3 === null) throw new Error('no coma measured');
  const arcsecPer3 = (60 * TILT_ARCMIN) / Math.hypot(truth.coma3.x, truth.coma3.y);
  return {
    arcsec: { x: uniform.x * arcsecPer3, y: uniform.y * arcsecPer3 },
    errorArcsec: uniform.error * arcsecPer3,
  };
}
