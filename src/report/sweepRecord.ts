import * as z from 'zod';
import { jsonSchemaOf } from './jsonSchema.ts';

/**
 * The record of a through-focus series (sweep.json), version 1. Angles and x, y are on the screen as in report.json: degrees
 * counter-clockwise from right, x right, y up. 'Towards larger readings' is the way the camera moves as the focuser's numbers
 * grow; `focuser.largerReadings` says whether that is out (away from the mirror) or in, where it was told. A missing value is
 * null. Errors are 1 sigma. A later field is added with a default; a changed meaning is a new version.
 */
export const SWEEP_FORMAT = 'starplumb-sweep';
export const SWEEP_VERSION = 1;

const count = z.int().min(0);
const error = z.number().min(0);
const direction = z.number().min(0).max(360);
const measured = z.object({ value: z.number(), error });
const vector = z.object({ x: z.number(), y: z.number(), error }).describe('error: of each component');
const origin = z.enum(['header', 'rig', 'option', 'assumed', 'unknown']);

const sweepFrame = z.object({
  file: z.string(),
  used: z.boolean(),
  whyNot: z.string().nullable(),
  reading: z.number().nullable(),
  fromFocusUm: z.number().nullable().describe('towards larger readings from best focus in the middle'),
  order: count.nullable().describe('in time, from 0'),
  dateObs: z.string().nullable(),
  exposureS: z.number().nullable(),
  filter: z.string().nullable(),
  starsFound: count,
  starsMeasured: count,
  halfFluxDiameterPx: z.number().min(0).nullable().describe('median'),
  fwhmPx: measured.nullable().describe('by elliptical Gaussian, near focus only'),
  floorPx: measured.nullable().describe('what seeing leaves of 2 sqrt(<r^2>) in focus'),
  light: z.number().min(0).nullable().describe('of the same stars against the clear frames, 1 = clear'),
  sha256: z.string().nullable(),
  notes: z.array(z.string()),
});

const zone = z.object({
  row: z.int().min(0).max(2).describe('0 = top of the screen'),
  column: z.int().min(0).max(2).describe('0 = left of the screen'),
  bestReading: measured.nullable(),
  sizesPx: z.array(z.number().min(0).nullable()).describe('median 2 sqrt(<r^2>) in each used frame, by reading'),
});

const screw = z.object({
  directionDeg: direction.describe('where it stands on the screen, from the middle'),
  travelUm: measured.describe('of the plate there, the way the camera moves for larger readings'),
  turns: z.number().nullable(),
  shimUm: z.number().min(0).nullable().describe('thickness that does the same; needs largerReadings'),
});

const part = z.object({ umAcross: z.number(), error, directionDeg: direction });

export const sweepSchema = z.object({
  format: z.literal(SWEEP_FORMAT),
  version: z.literal(SWEEP_VERSION),
  created: z.iso.datetime(),
  tool: z.object({ name: z.string(), version: z.string() }).nullable(),
  status: z.enum(['measured', 'inconclusive']),
  headline: z.string().min(1),
  next: z.string(),
  needs: z.string().nullable(),
  frames: z.array(sweepFrame).min(1),
  widthPx: count,
  heightPx: count,
  camera: z.string().nullable(),
  cameraAngleDeg: z.number().nullable(),
  spacingMm: z.number().nullable().describe('sensor to corrector, as told for this series'),
  scale: z.object({
    pixelUm: z.number().positive().nullable(),
    focalLengthMm: z.number().positive().nullable(),
    primaryFocalLengthMm: z.number().positive().nullable(),
    apertureMm: z.number().positive().nullable(),
    obstruction: z.number().min(0).max(0.9),
    from: z.object({
      pixelUm: origin,
      focalLengthMm: origin,
      primaryFocalLengthMm: origin,
      apertureMm: origin,
      obstruction: origin,
    }),
  }),
  orientation: z.object({ rowOrder: z.enum(['TOP-DOWN', 'BOTTOM-UP']), assumed: z.boolean() }),
  focuser: z.object({
    unit: z.enum(['steps', 'um']),
    umPerStep: z.number().positive().nullable(),
    umPerStepFrom: z.enum(['option', 'header', 'stars', 'unknown']),
    umPerStepByStars: measured.nullable().describe('by how fast stars grow, from focal ratio and obstruction'),
    largerReadings: z.enum(['in', 'out']).nullable(),
    backlash: measured.nullable().describe('shift of best focus on reversing, in readings'),
    order: z.enum(['time', 'given']),
  }),
  focus: z
    .object({
      middleReading: measured,
      compromiseReading: measured.describe('best for the whole field'),
      fwhmPx: measured.nullable().describe('focused, in the middle'),
      zoneUm: z.number().positive().nullable().describe('seeing-limited critical focus zone, full width'),
    })
    .nullable(),
  tilt: z
    .object({
      gradient: vector.nullable().describe('of best focus towards larger readings, um/mm'),
      umAcross: measured.nullable().describe('|gradient| x (width |cos| + height |sin|)'),
      upperLimitUm: z.number().min(0).nullable().describe('95 %, where nothing is seen'),
      readingsAcross: measured,
      arcmin: measured.nullable(),
      significance: z.number().min(0),
      largerDeg: direction.nullable().describe('side that reaches focus at larger readings'),
      nearMirrorDeg: direction
        .nullable()
        .describe('side of the sensor that stands too near the mirror; needs largerReadings'),
      directionErrorDeg: error.nullable(),
      corners: z
        .array(z.object({ corner: z.string(), um: z.number(), error }))
        .describe('plane part, against the middle'),
    })
    .nullable(),
  curvature: z
    .object({
      um: measured.nullable().describe('best focus, corner minus middle, towards larger readings'),
      readings: measured,
      significance: z.number().min(0),
      radiusMm: z.number().positive().nullable(),
      towards: z
        .enum(['mirror', 'camera'])
        .nullable()
        .describe('to which side the corners’ focus lies; needs largerReadings'),
    })
    .nullable(),
  zones: z.array(zone).describe('nine, row by row from the top left of the screen'),
  surfaceMisfitSigma: z.number().min(0).nullable().describe('of the zones’ own best focus about plane and curvature'),
  astigmatism: z
    .object({
      uniformFocusUm: vector.nullable().describe('spin 2: half the way between the two line foci'),
      uniformWaveUm: measured.nullable(),
      significance: z.number().min(0),
      longAtLargerDeg: z.number().min(0).max(180).nullable().describe('long axis of the stars at larger readings'),
      linearFocusUmPerMm: vector.nullable(),
      linearSignificance: z.number().min(0),
      radialFocusUm: measured
        .nullable()
        .describe('at the corner; positive: stars at larger readings point to the middle'),
      radialSignificance: z.number().min(0),
      smearPx: z.number().min(0).describe('elongation that does not turn through focus, length of an even drift'),
    })
    .nullable(),
  coma: z
    .object({
      waveUm: vector.describe('W131 along the coma tail, middle of the field, from the holes of the discs'),
      significance: z.number().min(0),
      tailDeg: direction.nullable(),
      tailErrorDeg: error.nullable(),
      primaryTiltArcmin: measured.nullable(),
      shadowOffset: vector.describe('of the secondary’s shadow, pupil radii; direction as seen at larger readings'),
      discs: count,
      bothSides: z.boolean(),
    })
    .nullable(),
  spacing: z
    .object({
      status: z.enum(['relative', 'calibrated']),
      umPerMm: measured.nullable(),
      changeMm: measured.nullable().describe('add so much between corrector and sensor to flatten the field'),
    })
    .nullable(),
  plate: z.object({ radiusMm: z.number(), pitchMm: z.number().nullable(), screws: z.array(screw) }).nullable(),
  turned: z
    .object({
      camera: part,
      tube: part,
      angles: count,
      sense: z.enum(['counter-clockwise', 'clockwise']),
      senseSeen: z.boolean(),
      widened: z.boolean(),
      misfitSigma: z.number().nullable(),
    })
    .nullable(),
  against: z
    .object({
      file: z.string(),
      created: z.string(),
      tiltBeforeUm: measured.nullable(),
      tiltChange: vector.nullable().describe('now minus then, um/mm'),
      tiltChangeSigma: z.number().min(0).nullable(),
      curvatureBeforeUm: measured.nullable(),
      curvatureChangeUm: measured.nullable(),
      gradientBefore: vector.nullable(),
    })
    .nullable(),
  curve: z
    .array(z.object({ reading: z.number(), middlePx: z.number() }))
    .describe('fitted 2 sqrt(<r^2>) in the middle of the field, typical seeing, for plots'),
  notes: z.array(z.string()),
  settings: z.record(z.string(), z.union([z.string(), z.number(), z.boolean(), z.null()])),
});

export type SweepRecord = z.infer<typeof sweepSchema>;

/** Reads a record of this or an older version; throws a ZodError whose message names every wrong place. */
export function parseSweep(json: unknown): SweepRecord {
  return sweepSchema.parse(json);
}

/** The same schema as JSON Schema (draft 2020-12). */
export function sweepJsonSchema(): object {
  return jsonSchemaOf(sweepSchema, {
    name: 'sweep',
    version: SWEEP_VERSION,
    title: 'Starplumb sweep',
    description:
      'All angles and all x, y are on the screen: degrees counter-clockwise from right, x right, y up. Towards larger readings ' +
      'is the way the camera moves as the focuser’s numbers grow. A missing value is null. Errors are 1 sigma.',
  });
}
