import * as z from 'zod';
import { pitchOf } from './thread.ts';

/**
 * Telescope and camera, kept once. Keys carry their units, as in report.json. What is not known is left out.
 * All directions are on the screen: degrees counter-clockwise from right.
 */

/** A number within limits that catch a wrong unit, not an unusual telescope. */
function number(what: string, unit: string, from: number, to: number): z.ZodNumber {
  const error = `expected ${what} of ${from} to ${to}${unit === '' ? '' : ` ${unit}`}, as a plain number`;
  return z.number({ error }).min(from, { error }).max(to, { error });
}

const text = (what: string): z.ZodString => {
  const error = `expected ${what}, in quotes`;
  return z.string({ error }).trim().min(1, { error }).max(200, { error });
};

const lengthMm = (what: string): z.ZodNumber => number(what, 'mm', 20, 60_000);
const angleDeg = number('an angle', 'degrees', -360, 720);

const CORRECTOR = 'expected "none", or the corrector\'s magnification from 0.3 to 4 as a plain number';
const THREAD = 'expected a thread such as "M6", "M6x0.75" or "1/4-20"; or leave it out and give pitchMm';

const screws = z.strictObject(
  {
    number: z.int({ error: 'expected how many screws, 2 to 12' }).min(2).max(12),
    circleRadiusMm: number('the radius of the circle the screws stand on', 'mm', 10, 2000),
    thread: z
      .string({ error: THREAD })
      .refine((thread) => pitchOf(thread) !== null, { error: THREAD })
      .optional(),
    pitchMm: number('the advance of a screw a turn', 'mm', 0.1, 5).optional(),
    anglesDeg: z.array(angleDeg, { error: 'expected a list of angles, one for each screw' }).optional(),
  },
  { error: objectError },
);

const tolerance = z.strictObject(
  {
    mirrorTiltArcmin: number('a tilt of the primary', 'arcminutes', 0.05, 60).optional(),
    sensorTiltUm: number('a tilt of the sensor, edge to edge,', 'µm', 1, 2000).optional(),
  },
  { error: objectError },
);

export const rigSchema = z
  .strictObject(
    {
      telescope: text('the name the header gives the telescope (TELESCOP)').optional(),
      camera: text('the name the header gives the camera (INSTRUME)').optional(),
      apertureMm: lengthMm('an aperture').optional(),
      focalMm: lengthMm('an effective focal length').optional(),
      primaryFocalMm: lengthMm('a focal length').optional(),
      obstructionMm: number('the diameter of the central obstruction', 'mm', 0, 10_000).optional(),
      corrector: z.union([z.literal('none'), z.number().min(0.3).max(4)], { error: CORRECTOR }).optional(),
      pixelUm: number('a pixel size, unbinned,', 'µm', 0.3, 100).optional(),
      rowOrder: z.enum(['top-down', 'bottom-up'], { error: 'expected "top-down" or "bottom-up"' }).optional(),
      cameraAngleDeg: angleDeg.optional(),
      rotatorAtDeg: angleDeg.optional(),
      rotatorSense: z
        .enum(['with', 'against'], { error: 'expected "with" or "against": how the mark turns as the reading grows' })
        .optional(),
      screws: screws.optional(),
      tolerance: tolerance.optional(),
    },
    { error: objectError },
  )
  .check(({ value, issues }) => {
    const complain = (path: string[], message: string): void => {
      issues.push({ code: 'custom', path, message, input: value });
    };
    if (value.obstructionMm !== undefined && value.apertureMm !== undefined && value.obstructionMm >= value.apertureMm)
      complain(['obstructionMm'], `expected less than the aperture, ${value.apertureMm} mm`);
    const { number: count, anglesDeg } = value.screws ?? {};
    if (anglesDeg !== undefined && count !== undefined && anglesDeg.length !== count)
      complain(['screws', 'anglesDeg'], `expected ${count} angles, one for each screw`);
    if (value.rotatorSense !== undefined && (value.cameraAngleDeg === undefined || value.rotatorAtDeg === undefined))
      complain(
        ['rotatorSense'],
        'expected cameraAngleDeg and rotatorAtDeg beside it: where the mark stood at which reading',
      );
  });

/** Names what is wrong about a table's keys, and which there are. */
function objectError(issue: z.core.$ZodRawIssue): string {
  if (issue.code !== 'unrecognized_keys') return 'expected a table of keys and values';
  return `unknown key ${issue.keys.map((key) => `"${key}"`).join(', ')}`;
}

export type RigValues = z.infer<typeof rigSchema>;

export interface Rig {
  readonly name: string;
  readonly values: RigValues;
}
