import type { Command } from 'commander';
import { InvalidArgumentError, Option } from 'commander';
import type { MeasureSettings } from '../diagnosis/setupFromFrames.ts';
import { USUAL_OBSTRUCTION } from '../optics/telescope.ts';
import type { Plate } from '../sweep/plate.ts';
import { addSetupOptions, numberIn, type RawSetup, setupFrom } from './checkOptions.ts';

/** `sweep` as the user asked for it. */
export interface SweepOptions extends MeasureSettings {
  readonly out?: string;
  readonly json?: boolean;
  readonly rig?: string;
  readonly history?: string | false;
  /** Micrometres of camera travel for one step of the focuser position in the headers. */
  readonly umPerStep?: number;
  /** The frames stand at equal steps of so many micrometres, in the order given. */
  readonly stepUm?: number;
  /** Which way the camera moves as readings grow. */
  readonly largerReadings?: 'in' | 'out';
  /** Diameter of the secondary's shadow over the aperture. */
  readonly obstruction?: number;
  readonly cameraAngleDeg?: number;
  readonly spacingMm?: number;
  readonly plate?: Plate;
  /** Records of earlier sweeps, or their folders. */
  readonly against?: string;
  readonly turned: readonly string[];
  readonly calibration: readonly string[];
}

interface RawOptions extends RawSetup {
  readonly out?: string;
  readonly json?: boolean;
  readonly rig?: string;
  readonly history?: string | false;
  readonly umPerStep?: number;
  readonly step?: number;
  readonly largerReadings?: 'in' | 'out';
  readonly obstruction?: number;
  readonly cameraAngle?: number;
  readonly spacing?: number;
  readonly plate?: Plate;
  readonly against?: string;
  readonly turned?: readonly string[];
  readonly calibration?: readonly string[];
}

const STEP_UM = { from: 0.01, to: 1000, unit: 'µm', what: 'a step' } as const;
const SHARE = { from: 0, to: 0.7, unit: '', what: 'a share' } as const;
const ANGLE = { from: -360, to: 720, unit: 'degrees', what: 'an angle' } as const;
const SPACING_MM = { from: 1, to: 500, unit: 'mm', what: 'a spacing' } as const;

const PLATE_EXPECTED =
  'Expected RADIUS_MM,PITCH_MM[,SCREWS[,FIRST_DEG]], as 45,0.5,3,90 (pitch 0: shims), screws counted from FIRST_DEG counter-clockwise in the picture.';

function plateOf(text: string): Plate {
  const parts = text.split(',').map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  const [radiusMm, pitchMm = Number.NaN, screws = 3, firstDeg = 90] = parts;
  const right =
    parts.length <= 4 &&
    radiusMm >= 5 &&
    radiusMm <= 500 &&
    pitchMm >= 0 &&
    pitchMm <= 5 &&
    Number.isInteger(screws) &&
    screws >= 3 &&
    screws <= 8 &&
    Math.abs(firstDeg) <= 360;
  if (!right) throw new InvalidArgumentError(PLATE_EXPECTED);
  return { radiusMm, pitchMm: pitchMm === 0 ? null : pitchMm, screws, firstDeg };
}

export function addSweepOptions(command: Command): Command {
  command
    .option('--out <dir>', 'report folder (default: a new one named from the time)')
    .option('--json', 'print the record (sweep.json) and nothing else on standard output')
    .option('--um-per-step <um>', 'camera travel of one focuser step, micrometres', numberIn(STEP_UM))
    .option(
      '--step <um>',
      'no readings in the headers: frames stand at equal steps, in the order given',
      numberIn(STEP_UM),
    )
    .addOption(
      new Option(
        '--larger-readings <way>',
        'which way the camera moves as readings grow (out = away from the mirror)',
      ).choices(['in', 'out']),
    )
    .option(
      '--plate <radius,pitch,screws,first>',
      'tilt plate: mm, mm a turn (0: shims), how many, where the first stands',
      plateOf,
    )
    .option('--against <file>', 'an earlier sweep (sweep.json or its folder): before and after')
    .option(
      '--camera-angle <deg>',
      'how the camera stands in the tube; default: the rotator of the headers',
      numberIn(ANGLE),
    )
    .option('--turned <files...>', 'sweeps at other camera angles: what turns with the camera and what stays')
    .option('--spacing <mm>', 'known spacing of sensor and corrector in this run', numberIn(SPACING_MM))
    .option('--calibration <files...>', 'sweeps at other known spacings of this corrector')
    .option(
      '--obstruction <share>',
      `diameter of the secondary over the aperture (default ${USUAL_OBSTRUCTION})`,
      numberIn(SHARE),
    );
  return addSetupOptions(command)
    .option('--rig <name>', 'telescope and camera kept under this name')
    .option('--history <file>', 'note this run in a history of your own (default: the one in your data folder)')
    .option('--no-history', 'keep no note of this run');
}

export function sweepOptionsFrom(raw: RawOptions): SweepOptions {
  return {
    turned: raw.turned ?? [],
    calibration: raw.calibration ?? [],
    ...(raw.history !== undefined && { history: raw.history }),
    ...(raw.out !== undefined && { out: raw.out }),
    ...(raw.json !== undefined && { json: raw.json }),
    ...(raw.rig !== undefined && { rig: raw.rig }),
    ...setupFrom(raw),
    ...(raw.umPerStep !== undefined && { umPerStep: raw.umPerStep }),
    ...(raw.step !== undefined && { stepUm: raw.step }),
    ...(raw.largerReadings !== undefined && { largerReadings: raw.largerReadings }),
    ...(raw.obstruction !== undefined && { obstruction: raw.obstruction }),
    ...(raw.cameraAngle !== undefined && { cameraAngleDeg: raw.cameraAngle }),
    ...(raw.spacing !== undefined && { spacingMm: raw.spacing }),
    ...(raw.plate !== undefined && { plate: raw.plate }),
    ...(raw.against !== undefined && { against: raw.against }),
  };
}
