import * as z from 'zod';

const error = z.number().min(0);
const amount = z.object({ value: z.number(), error }).describe('1 sigma; of an interval, half of it');

const change = z.object({
  quantity: z.enum(['coma', 'primary-tilt', 'sensor-tilt', 'field-curvature', 'trefoil', 'smear', 'fwhm']),
  unit: z.string().describe("'coma3' and 'trefoil3' are dimensionless"),
  before: amount,
  after: amount,
  change: amount.describe('after less before, of the amounts'),
  vector: z
    .object({ x: z.number(), y: z.number(), error })
    .nullable()
    .describe(
      'after less before, as vectors on the screen of the later report; null where directions cannot be compared',
    ),
  significance: error.describe('sigma: of the vector where there is one, else of the amounts'),
});

/** What changed since an earlier report (`check --against`): part of the record. */
export const againstSchema = z.object({
  file: z.string().describe('the earlier report'),
  created: z.string().describe('when it was made'),
  verdict: z.enum(['good', 'adjust', 'inconclusive']),
  headline: z.string(),
  comparable: z
    .enum(['directions', 'amounts', 'nothing'])
    .describe("'amounts': the camera was or may have been turned by an unknown angle; 'nothing': another telescope"),
  turnedDeg: z
    .number()
    .nullable()
    .describe('what is fixed to the tube turned by so much counter-clockwise on the screen'),
  outcome: z.enum(['better', 'worse', 'unchanged', 'cannot-tell']).describe('of the collimation'),
  words: z.string().min(1),
  caveats: z.array(z.string()),
  changes: z.array(change),
});

export type Against = z.infer<typeof againstSchema>;
export type Change = Against['changes'][number];
