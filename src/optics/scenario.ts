import * as z from 'zod';
import { BANDS, type FilterName } from './filter.ts';

/**
 * A scenario: subs of an invented night, drawn with a known optical state. Every length carries its unit in its name.
 * All directions are on the SCREEN: degrees counter-clockwise from right, y up, as the report states them.
 */
const direction = z.number().min(-360).max(360).describe('degrees on the screen, counter-clockwise from right');
const share = z.number().min(0).max(1);
const positive = z.number().positive();
const seed = z.int().min(0).max(0xffffffff);
const filter = z.enum(Object.keys(BANDS) as [FilterName, ...FilterName[]]);

const tilt = z.strictObject({ arcmin: z.number(), directionDeg: direction });
const offset = z.strictObject({ mm: z.number(), directionDeg: direction });
const sensorTilt = z.union([
  tilt,
  z.strictObject({
    umAcross: z.number().describe('from one side of the frame to the other along the axis of steepest change'),
    directionDeg: direction.describe('towards the side nearest the mirror'),
  }),
]);

const state = z.strictObject({
  primaryTilt: tilt.optional(),
  primaryDecentre: offset.optional(),
  flatTilt: tilt.optional(),
  sensorTilt: sensorTilt.optional(),
  correctorDecentre: offset.optional(),
  correctorTilt: tilt.optional(),
  correctorSpacingMm: z.number().optional().describe('how much too far the sensor stands from the corrector'),
  drawtubeTilt: tilt.optional(),
  focusUm: z.number().min(-5000).max(5000).optional().describe('how far the middle of the sensor stands inside focus'),
  fieldCurvatureUm: z.number().optional().describe('focus at the corner against the middle'),
  astigmatism: z
    .strictObject({ rmsUm: z.number().min(0), axisDeg: direction.describe('long axis of the stars inside focus') })
    .optional(),
  trefoil: z.strictObject({ rmsUm: z.number().min(0), directionDeg: direction }).optional(),
  sphericalRmsUm: z.number().optional(),
});

const smear = z.strictObject({
  drift: z.strictObject({ arcsec: z.number().min(0), axisDeg: direction }).optional(),
  jitterArcsec: z.number().min(0).optional().describe('1 sigma in each direction'),
  shake: z.strictObject({ arcsec: z.number().min(0), axisDeg: direction }).optional(),
  jump: z
    .strictObject({
      arcsec: z.number().min(0),
      directionDeg: direction,
      share: share.describe('of the light, after it'),
    })
    .optional(),
  swing: z
    .strictObject({
      arcsec: z.number().min(0).describe('half of the swing'),
      axisDeg: direction,
      cycles: positive,
      phase: z.number().default(0),
    })
    .optional(),
});

const vanes = z.union([
  z.strictObject({
    count: z.int().min(0).max(8),
    widthMm: positive.default(1),
    directionDeg: direction.default(0).describe('of the first; the others follow at equal angles'),
  }),
  z.array(z.strictObject({ directionDeg: direction, widthMm: positive, offsetMm: z.number().default(0) })),
]);

const telescope = z
  .strictObject({
    apertureMm: positive.default(200),
    primaryFocalLengthMm: positive.default(800),
    corrector: z
      .union([
        z.literal('none'),
        z.strictObject({
          magnification: positive.default(1),
          residualComaUmPerMm: z.number().default(0.008),
          residualCurvatureUmPerMm2: z.number().default(0),
          residualAstigmatismUmPerMm2: z.number().default(0),
        }),
      ])
      .prefault({}),
    obstruction: z.number().min(0).max(0.7).default(0.35).describe('diameter of the secondary over the aperture'),
    obstructionOffset: z
      .strictObject({ pupilRadii: z.number().min(0).max(0.5), directionDeg: direction })
      .optional()
      .describe('of the shadow of an offset secondary'),
    vanes: vanes.prefault({ count: 4 }),
    flatToSensorMm: positive.default(230),
    lightCone: z
      .strictObject({
        radius: positive.describe('of the clear circle, in pupil radii'),
        offset: z.strictObject({ pupilRadii: z.number().min(0), directionDeg: direction }).optional(),
        shiftPerMm: z.number().default(0).describe('pupil radii for each mm of field'),
      })
      .optional(),
  })
  .prefault({});

const camera = z
  .strictObject({
    name: z.string().max(60).default('Drawn camera'),
    widthPx: z.int().min(64).max(20000).default(1500),
    heightPx: z.int().min(64).max(20000).default(1000),
    pixelUm: z.number().min(0.5).max(50).default(3.76),
    gainEPerAdu: positive.default(0.8),
    readNoiseE: z.number().min(0).default(1.6),
    offsetAdu: z.number().min(0).max(20000).default(500),
    fullWellE: positive.default(50000),
    mosaic: z
      .enum(['RGGB', 'BGGR', 'GRBG', 'GBRG'])
      .nullable()
      .default(null)
      .describe('colours of the first stored rows'),
    hotPixelShare: share.default(2e-5),
    rowOrder: z.enum(['TOP-DOWN', 'BOTTOM-UP', 'absent']).default('TOP-DOWN'),
  })
  .prefault({});

const sky = z
  .strictObject({
    skyE: z.number().min(0).default(400).describe('electrons a pixel in the exposure'),
    gradient: z.strictObject({ share, directionDeg: direction }).optional(),
    vignetting: share.default(0.15).describe('light lost in the corner'),
    nebulosityE: z.number().min(0).default(0),
    galaxies: z.int().min(0).max(2000).default(0),
    trails: z.int().min(0).max(50).default(0).describe('in each sub'),
    cosmicRays: z.int().min(0).max(100000).default(4).describe('in each sub'),
    altitudeDeg: z.number().min(5).max(90).default(75),
    azimuthDeg: z.number().min(0).max(360).default(140),
    zenithDirectionDeg: direction.default(90).describe('where on the screen the zenith lies'),
  })
  .prefault({});

const stars = z
  .strictObject({
    count: z.int().min(0).max(200000).default(300),
    faintestE: positive.default(6000).describe('electrons in the exposure'),
    brightestE: positive.default(400000),
    slopePerMagnitude: positive.default(0.35),
    minSeparationPx: z.number().min(0).default(0),
  })
  .prefault({})
  .refine((value) => value.brightestE > value.faintestE, { path: ['brightestE'], error: 'must exceed faintestE' });

/** What one sub has of its own; all else is shared. */
const sub = z.strictObject({
  focusUm: z.number().min(-5000).max(5000).optional(),
  seeingArcsec: positive.max(20).optional(),
  filter: filter.optional(),
  altitudeDeg: z.number().min(5).max(90).optional(),
  smear: smear.optional(),
  clouds: share.default(0).describe('share of the starlight lost'),
});

export const SCENARIO = z.strictObject({
  name: z.string().regex(/^[a-z0-9][a-z0-9-]{0,60}$/, 'lower-case letters, digits and hyphens: it names the files'),
  sentence: z.string().min(1).describe('what is drawn, for a reader'),
  seed: seed.default(1),
  telescope,
  camera,
  filter: filter.default('L'),
  exposureS: positive.default(120),
  seeingArcsec: z.number().min(0).max(20).default(2.5),
  state: state.prefault({}),
  smear: smear.prefault({}),
  sky,
  stars,
  subs: z
    .array(sub)
    .min(1)
    .max(500)
    .default([{ clouds: 0 }])
    .describe('one entry for each sub'),
  ditherPx: z.number().min(0).max(500).default(12).describe('subs stand apart by up to this much'),
  compression: z.enum(['none', 'gzip', 'rice']).default('none'),
});

export type Scenario = z.infer<typeof SCENARIO>;
export type Sub = Scenario['subs'][number];

/** A scenario that cannot be drawn; each line names the field. */
export class ScenarioError extends Error {
  readonly problems: readonly string[];
  constructor(problems: readonly string[]) {
    super(problems.join('\n'));
    this.name = 'ScenarioError';
    this.problems = problems;
  }
}

/** Checks a parsed JSON value; every mistake is named by its field, as in `state.primaryTilt.arcmin`. */
export function parseScenario(value: unknown): Scenario {
  const result = SCENARIO.safeParse(value);
  if (result.success) return result.data;
  throw new ScenarioError(result.error.issues.map(problemText));
}

function problemText(issue: z.core.$ZodIssue): string {
  const where = issue.path.map((part) => (typeof part === 'number' ? `[${part}]` : `.${String(part)}`)).join('');
  return `${where === '' ? 'scenario' : where.replace(/^\./, '')}: ${issue.message}`;
}
