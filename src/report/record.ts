import * as z from 'zod';
import { againstSchema } from './againstRecord.ts';
import { jsonSchemaOf } from './jsonSchema.ts';
import { REPORT_FORMAT, REPORT_VERSION } from './reportFormat.ts';

// A record is read once: a parser compiled for it would cost more than it saves.
z.config({ jitless: true });

const count = z.int().min(0);
const error = z.number().min(0);
const direction = z.number().min(0).max(360).describe('degrees counter-clockwise from right');
const axis = z.number().min(0).max(180).describe('degrees counter-clockwise from right, an axis without an arrow head');
const measured = z.object({ value: z.number(), error });
const elongation = z.object({ value: z.number().min(1), error }).describe('major/minor axis');
const vector = z.object({ x: z.number(), y: z.number(), error }).describe('error: of each component');
const point = z.object({ x: z.number(), y: z.number() });

export type Measured = z.infer<typeof measured>;
export type Vector = z.infer<typeof vector>;

const frameRecord = z.object({
  file: z.string(),
  used: z.boolean(),
  whyNot: z.string().nullable(),
  width: count.nullable(),
  height: count.nullable(),
  dateObs: z.string().nullable(),
  exposureS: z.number().nullable(),
  filter: z.string().nullable(),
  starsFound: count,
  starsFitted: count,
  leftOut: z.record(z.string(), count).describe('stars left out, by reason'),
  fwhmPx: z.number().min(0).nullable(),
  elongation: z.number().min(1).nullable(),
  camera: z.string().nullable().default(null),
  focusPosition: z.number().nullable().default(null).describe('focuser position, steps'),
  altitudeDeg: z.number().nullable().default(null).describe('above the horizon'),
  telescope: z.string().nullable().default(null),
  azimuthDeg: z.number().nullable().default(null).describe('from north over east'),
  pierSide: z.enum(['east', 'west']).nullable().default(null),
  temperatureC: z
    .number()
    .nullable()
    .default(null)
    .describe('of the air, or else of the focuser; never the cooled sensor'),
  temperatureFrom: z.enum(['ambient', 'focuser']).nullable().default(null),
  rotatorDeg: z.number().nullable().default(null).describe('as the header tells it, whatever its zero and sense'),
  sha256: z.string().nullable().default(null).describe('of the file, hexadecimal'),
  moffat: z
    .object({ stars: count, beta: measured, fwhmPx: measured })
    .nullable()
    .default(null)
    .describe('wings of the brightest stars by Moffat fits, where asked for'),
  notes: z.array(z.string()).default([]),
});

const origin = z.enum(['header', 'rig', 'option', 'assumed', 'unknown']);

const scale = z.object({
  pixelUm: z.number().positive().nullable(),
  focalLengthMm: z.number().positive().nullable().describe('effective: with the corrector or reducer'),
  primaryFocalLengthMm: z.number().positive().nullable(),
  apertureMm: z.number().positive().nullable(),
  arcsecPerPx: z.number().positive().nullable(),
  corrector: z.object({
    present: z.union([z.boolean(), z.literal('unknown')]),
    magnification: z.number().positive().nullable(),
  }),
  from: z.object({
    pixelUm: origin,
    focalLengthMm: origin,
    primaryFocalLengthMm: origin,
    apertureMm: origin,
    corrector: origin,
  }),
});

const spikes = z
  .object({
    angleDeg: z.number().min(0).max(90),
    errorDeg: error,
    periodDeg: z.number().positive().describe('90 for four vanes, 60 for three: after such a turn they look the same'),
    stars: count,
  })
  .describe('direction of a diffraction spike: how the camera stands in the tube');

const zone = z.object({
  row: z.int().min(0).max(2).describe('0 = top of the screen'),
  column: z.int().min(0).max(2).describe('0 = left of the screen'),
  stars: count,
  fwhmPx: measured.nullable(),
  fwhmArcsec: measured.nullable(),
  elongation: elongation.nullable(),
  axisDeg: axis.nullable(),
  axisErrorDeg: error.nullable(),
  coma3: vector.nullable(),
  trefoil3: vector.nullable(),
});

const coma = z.object({
  uniform3: vector.nullable().describe('dimensionless, along the coma tail'),
  linear3PerMm: measured.nullable(),
  uniformUm: vector.nullable().describe('wavefront coefficient W131 along the coma tail'),
  node: z.object({ xMm: z.number(), yMm: z.number(), errorMm: error }).nullable(),
  mirrorTilt: z
    .object({ arcmin: z.number().min(0), minus: error, plus: error })
    .nullable()
    .describe('[arcmin - minus, arcmin + plus] holds 68 %'),
});

const defocus = z.object({
  centreUm: z.object({ value: z.number(), error, signKnown: z.boolean() }).nullable(),
  tiltUm: measured.nullable().describe('|gradient| x (width |cos axis| + height |sin axis|)'),
  tiltUpperLimitUm: z.number().min(0).nullable(),
  axisDeg: axis.nullable().describe('steepest focus change'),
  axisErrorDeg: error.nullable(),
  signKnown: z.boolean(),
  curvatureUm: measured.nullable().describe('corner minus centre'),
});

const smear = z.object({
  px: measured.nullable(),
  axisDeg: axis.nullable(),
  axisErrorDeg: error.nullable(),
  skewRatio: z.number().nullable(),
  perFrame: z.array(z.object({ file: z.string(), px: z.number().min(0), axisDeg: axis.nullable() })),
});

const field = z.object({
  coma,
  defocus,
  smear,
  dispersion: z.object({ px: z.number().min(0), axisDeg: axis, altitudeDeg: z.number().nullable() }).nullable(),
  astigmatism: z
    .object({
      uniform: vector.nullable(),
      linearPerMm: vector.nullable(),
      radial: measured.nullable().describe("at the frame's corner: positive radial, negative tangential"),
    })
    .describe("distortion e = (a2 - b2)/(a2 + b2), spin 2: the axis is half the vector's angle"),
  trefoil: z.object({
    uniform3: vector.nullable().describe('spin 3'),
    directionDeg: z.number().min(0).max(120).nullable(),
    directionErrorDeg: error.nullable(),
  }),
});

const interval = z.object({ value: z.number(), low: z.number(), high: z.number() }).describe('[low, high] holds 68 %');

export type Interval = z.infer<typeof interval>;

const wavefront = z
  .object({
    perFrame: z.array(
      z.object({
        file: z.string(),
        seeingArcsec: interval,
        focusUm: interval.describe('along the axis at the middle of the frame; signs are relative to each other'),
      }),
    ),
    comaUm: vector.describe(
      'W131 along the coma tail, as fitted: where the findings tell no coma, a smear may have made it',
    ),
    comaNmRms: interval,
    tiltUm: interval.describe('edge to edge along the steepest direction'),
    tiltAxisDeg: axis,
    tiltAxisErrorDeg: error,
    curvatureUm: measured.describe('corner minus centre; sign relative to the focus'),
    astigmatismNmRms: z.object({
      uniform: vector.describe('spin 2'),
      linear: vector.describe('at the frame’s corner, of a term that grows from the middle'),
      radial: measured.describe('at the frame’s corner'),
    }),
    trefoilNmRms: interval.describe('as fitted, like the coma'),
    signKnown: z.boolean().describe('whether inside and outside focus are told apart'),
    chi2PerFreedom: z.number().min(0),
    cells: count.describe('mean shapes fitted, each of seven numbers'),
    tableError: error.describe(
      'drawn stars against the table at the optimum, in errors of one cell, the stated one of the table among them',
    ),
    explained: z
      .object({ size: z.number().nullable(), elongation: z.number().nullable(), coma: z.number().nullable() })
      .describe(
        'share of the variance over the field explained on stars left out of the fit; null where it is all noise',
      ),
  })
  .describe('all zone shapes of all subs fitted at once with drawn stars');

const starShift = z.object({
  x: z.number(),
  y: z.number(),
  length: z.number().min(0),
  directionDeg: direction,
  error,
  from: point.describe("star A, pixels from the frame's centre"),
  to: point.describe("target B of the first step, pixels from the frame's centre"),
  steps: z.int().min(1).describe('how many moves like that from A to B make the whole way'),
});

export type StarShift = z.infer<typeof starShift>;

const status = z.enum(['fault', 'within-tolerance', 'not-detected', 'not-measurable']);

export type FindingStatus = z.infer<typeof status>;

const finding = z.object({
  cause: z.string().min(1),
  status,
  significance: z.number().min(0).nullable().describe('sigma'),
  tolerance: z.string().nullable().describe('with its source'),
  widensPx: z
    .number()
    .min(0)
    .nullable()
    .describe('sqrt(FWHM^2(this cause alone + seeing) - FWHM^2(seeing)) in its worst zone'),
  directionDeg: direction.nullable(),
  directionErrorDeg: error.nullable(),
  axisDeg: axis.nullable(),
  axisErrorDeg: error.nullable(),
  starShiftPx: starShift.nullable(),
  toleranceShare: z
    .object({ value: z.number().min(0), low: z.number().min(0), high: z.number().min(0) })
    .nullable()
    .default(null)
    .describe('the amount in units of its tolerance, 1 just tolerable; [low, high] holds 68 %'),
  because: z.string(),
  advice: z.string(),
});

const cameraAngle = z
  .object({
    deg: z.number().describe('direction on the screen of a mark fixed to the tube'),
    errorDeg: error,
    from: z.enum(['rig', 'header', 'spikes']),
    moduloDeg: z.number().positive().describe('turn after which it repeats: 90 for the spikes of four vanes'),
  })
  .describe("a direction in the tube's frame is the direction on the screen less deg");

const verdict = z.enum(['good', 'adjust', 'inconclusive']);

export type Verdict = z.infer<typeof verdict>;

export const reportSchema = z.object({
  format: z.literal(REPORT_FORMAT),
  version: z.literal(REPORT_VERSION),
  created: z.iso.datetime(),
  tool: z.object({ name: z.string(), version: z.string() }).nullable().default(null),
  verdict,
  headline: z.string().min(1),
  needs: z.string().nullable(),
  frames: z.array(frameRecord).min(1),
  rig: z.string().nullable().default(null).describe('name of the telescope and camera kept by the rig command'),
  scale,
  cameraAngle: cameraAngle.nullable().default(null),
  wavefront: wavefront.nullable().default(null),
  orientation: z.object({
    rowOrder: z.enum(['TOP-DOWN', 'BOTTOM-UP']),
    assumed: z.boolean(),
    spikes: spikes.nullable().default(null),
  }),
  zones: z.array(zone).length(9).describe('row by row from the top left of the screen'),
  field,
  findings: z.array(finding),
  against: againstSchema.nullable().default(null).describe('what changed since an earlier report'),
  notes: z.array(z.string()).default([]).describe('what was assumed, odd or missing, in sentences'),
  settings: z.record(z.string(), z.union([z.string(), z.number(), z.boolean(), z.null()])).default({}),
});

export type Report = z.infer<typeof reportSchema>;
export type FrameRecord = Report['frames'][number];
export type Zone = Report['zones'][number];
export type Finding = Report['findings'][number];

/** Reads a record of this or an older version; throws a ZodError whose message names every wrong place. */
export function parseReport(json: unknown): Report {
  return reportSchema.parse(json);
}

/** The same schema as JSON Schema (draft 2020-12). */
export function reportJsonSchema(): object {
  return jsonSchemaOf(reportSchema, {
    name: 'report',
    version: REPORT_VERSION,
    title: 'Starplumb report',
    description:
      'All angles and all x, y are on the screen: degrees counter-clockwise from right, x right, y up, positions from the ' +
      'middle of the frame. Pixels are those of the file, unbinned. A missing value is null. Errors are 1 sigma.',
  });
}
