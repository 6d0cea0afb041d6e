import * as z from 'zod';
import { jsonSchemaOf } from './jsonSchema.ts';

/**
 * What weeks of checks say together (history trend --json), version 1. Vectors are on the screen as the camera stood at the
 * last check of their stretch: x right, y up. Coma is in `coma.unit` throughout. Times are UTC, ISO 8601. A missing value is
 * null. Errors are 1 sigma. A later field is added with a default; a changed meaning is a new version.
 */
export const TREND_FORMAT = 'starplumb-trend';
export const TREND_VERSION = 1;

const count = z.int().min(0);
const error = z.number().min(0);
const chance = z.number().min(0).max(1).describe('that noise alone does it');
const time = z.iso.datetime();
const measured = z.object({ value: z.number(), error });

const fitted = z
  .object({
    x: z.number(),
    y: z.number(),
    length: z.number().min(0),
    directionDeg: z.number().min(0).max(360).describe('counter-clockwise from right'),
    error: error.describe('along the vector, widened for few nights'),
    chance,
  })
  .describe('coma, in coma.unit');

const knock = z.object({
  step: fitted,
  before: time.describe('last check before the most likely place'),
  after: time,
  earliest: time.describe('95 % of the likelihood lie between earliest and latest'),
  latest: time,
  chance: chance.describe('that a quiet telescope shows such a step anywhere in this era'),
});

const dependence = z.object({
  on: z.enum(['temperature', 'altitude', 'pier side']),
  slope: fitted.describe('a degree C, or for gravity going from nothing across the tube to all of it'),
  from: z.number().describe('least met: degrees C, or share of gravity across the tube'),
  to: z.number(),
  makes: z.number().min(0).describe('length of the change over what was met'),
});

const eraFit = z.object({
  driftPerWeek: fitted.nullable(),
  jumps: z.array(knock),
  dependences: z.array(dependence),
  gravityChance: chance
    .nullable()
    .describe('that noise alone makes coma follow gravity; null where it cannot be asked'),
  driftOrTemperature: z.boolean().describe('drift and temperature went together: neither can be told alone'),
  now: fitted.describe('at usual conditions, at the last check'),
  change: fitted.describe('from the first check to the last'),
  scatterWithinNight: z.number().min(0).describe('of each component, beyond the checks’ own errors'),
  scatterFromNightToNight: z.number().min(0),
  freedom: z.number().min(0).describe('degrees of freedom'),
});

const course = z.object({
  nights: count,
  usual: z.number().nullable().describe('median of the nights'),
  perWeek: z
    .object({ value: z.number(), low: z.number(), high: z.number() })
    .nullable()
    .describe('since the last adjustment; low to high holds 68 %'),
});

export const trendSchema = z.object({
  format: z.literal(TREND_FORMAT),
  version: z.literal(TREND_VERSION),
  created: time,
  tool: z.object({ name: z.string(), version: z.string() }).nullable(),
  rig: z.string().nullable(),
  state: z.enum(['holds', 'moved', 'open']).describe('open: cannot tell (yet)'),
  headline: z.string().min(1),
  said: z.array(z.object({ label: z.string(), text: z.string() })).describe('the answer in sentences'),
  coma: z.object({
    unit: z.enum(['arcmin', 'um', 'coma3']).describe('tilt of the primary, wavefront W131, or the bare shape of stars'),
    tolerance: z.number().positive().nullable(),
    toleranceFrom: z.enum(['trade', 'rig']).nullable(),
  }),
  checks: z.array(
    z.object({
      id: count,
      time,
      coma: z
        .object({ x: z.number(), y: z.number(), noise: error, lengthError: error })
        .nullable()
        .describe('noise: of each component; lengthError: further error along the vector, share of its length'),
      length: measured.nullable(),
      stretch: count.nullable().describe('index into stretches; null where the camera’s angle is not known'),
      era: count.nullable().describe('index into eras'),
      weight: z.number().min(0).max(1).describe('below 1 where it strays from its fellows'),
      sensorTiltUm: measured.nullable(),
      curvatureUm: measured.nullable(),
      fwhm: measured.nullable().describe('sharpest zone, in fwhm.unit'),
      elongation: measured.nullable(),
    }),
  ),
  events: z.array(
    z.object({ id: count, time, rig: z.string().nullable(), kind: z.enum(['adjustment', 'note']), text: z.string() }),
  ),
  stretches: z
    .array(z.object({ first: time, last: time, why: z.string() }))
    .describe('within one, directions can be compared'),
  eras: z
    .array(
      z.object({
        stretch: count,
        first: time,
        last: time,
        checks: count,
        afterEvent: count.nullable().describe('id of the adjustment before it; null at the beginning or after a break'),
        fit: eraFit.nullable().describe('null with too few nights'),
      }),
    )
    .describe('between two adjustments or breaks'),
  lastAdjustmentEvent: count.nullable(),
  outlook: z
    .object({
      kind: z.enum(['leaves', 'outside', 'open']).describe('leaves: beyond tolerance between from and to (68 %)'),
      from: time.nullable(),
      to: time.nullable(),
      why: z.string().nullable(),
    })
    .nullable(),
  sensorTiltUm: course,
  curvatureUm: course,
  fwhm: course.extend({
    unit: z.enum(['arcsec', 'px']),
    floor: z.array(z.object({ time, value: z.number() })).describe('a tenth of the nights of four weeks lies below'),
  }),
  elongation: course,
  notes: z.array(z.string()).describe('what was left out or cannot be told, and why'),
});

export type TrendRecord = z.infer<typeof trendSchema>;

/** The same schema as JSON Schema (draft 2020-12). */
export function trendJsonSchema(): object {
  return jsonSchemaOf(trendSchema, {
    name: 'trend',
    version: TREND_VERSION,
    title: 'Starplumb trend',
    description:
      'Vectors are on the screen as the camera stood at the last check of their stretch, x right, y up. Coma is in coma.unit ' +
      'throughout. Times are UTC. A missing value is null. Errors are 1 sigma.',
  });
}
