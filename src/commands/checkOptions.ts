import type { Command } from 'commander';
import { InvalidArgumentError, Option } from 'commander';
import type { MeasureSettings } from '../diagnosis/setupFromFrames.ts';

/** `check` as the user asked for it. */
export interface CheckOptions extends MeasureSettings {
  readonly out?: string;
  readonly json?: boolean;
  readonly plain?: boolean;
  readonly rig?: string;
  /** A file of the user's own, or false for --no-history. */
  readonly history?: string | false;
  readonly quick?: boolean;
  /** Fit Moffat profiles to the brightest stars as well. */
  readonly moffat?: boolean;
  /** Master dark and master flat, as frame arguments. */
  readonly dark?: string;
  readonly flat?: string;
  /** Write every star as tables. */
  readonly stars?: boolean;
  /** An earlier report (report.json or its folder) to compare with. */
  readonly against?: string;
  /** Degrees the field turned counter-clockwise on the screen since that report, where the camera was turned. */
  readonly turnedDeg?: number;
  /** The record of a focus run of this rig and night (sweep.json or its folder). */
  readonly sweep?: string;
}

/** Telescope and camera as commander hands them over: names from the long options. */
export interface RawSetup {
  readonly focal?: number;
  readonly aperture?: number;
  readonly pixel?: number;
  readonly primaryFocal?: number;
  readonly corrector?: 'none' | number;
  readonly rowOrder?: 'top-down' | 'bottom-up';
}

interface RawOptions extends RawSetup {
  readonly out?: string;
  readonly json?: boolean;
  readonly plain?: boolean;
  readonly rig?: string;
  readonly history?: string | false;
  readonly quick?: boolean;
  readonly moffat?: boolean;
  readonly dark?: string;
  readonly flat?: string;
  readonly stars?: boolean;
  readonly against?: string;
  readonly turned?: number;
  readonly sweep?: string;
}

/** Limits that catch a wrong unit, not an unusual telescope. */
const LENGTH_MM = { from: 20, to: 60_000, unit: 'mm', what: 'a length' } as const;
const PIXEL_UM = { from: 0.3, to: 100, unit: 'µm', what: 'a pixel size' } as const;
const MAGNIFICATION = { from: 0.3, to: 4, unit: '', what: 'a magnification' } as const;
const ANGLE_DEG = { from: -360, to: 360, unit: 'degrees', what: 'an angle' } as const;

interface Range {
  readonly from: number;
  readonly to: number;
  readonly unit: string;
  readonly what: string;
}

export function numberIn({ from, to, unit, what }: Range): (text: string) => number {
  return (text) => {
    const value = /^\s*$/.test(text) ? Number.NaN : Number(text);
    if (value >= from && value <= to) return value;
    const range = `${from} to ${to}${unit === '' ? '' : ` ${unit}`}`;
    throw new InvalidArgumentError(`Expected ${what} of ${range}, as a plain number.`);
  };
}

function correctorOf(text: string): 'none' | number {
  if (text === 'none') return 'none';
  try {
    return numberIn(MAGNIFICATION)(text);
  } catch {
    throw new InvalidArgumentError("Expected 'none', or its magnification from 0.3 to 4 (0.73 for a 0.73x reducer).");
  }
}

/** Declares the options that tell telescope and camera. */
export function addSetupOptions(command: Command): Command {
  return command
    .option('--focal <mm>', 'effective focal length, with corrector or reducer', numberIn(LENGTH_MM))
    .option('--aperture <mm>', 'aperture', numberIn(LENGTH_MM))
    .option('--pixel <um>', 'pixel size of the file, micrometres', numberIn(PIXEL_UM))
    .option('--primary-focal <mm>', 'focal length of the primary mirror alone', numberIn(LENGTH_MM))
    .option('--corrector <none|magnification>', 'coma corrector or reducer', correctorOf)
    .addOption(
      new Option('--row-order <order>', 'where the first stored row stands on your screen').choices([
        'top-down',
        'bottom-up',
      ]),
    );
}

/** Declares the options of `check`. */
export function addCheckOptions(command: Command): Command {
  command
    .option('--out <dir>', 'report folder (default: a new one named from the time)')
    .option('--json', 'print the record (report.json) and nothing else on standard output');
  return addSetupOptions(command)
    .option(
      '--dark <file>',
      'master dark of the same camera, exposure and temperature: taken off, its hot pixels left out',
    )
    .option('--flat <file>', 'master flat of the same camera and filter: every sub is divided by it')
    .option('--rig <name>', 'telescope and camera kept under this name')
    .option('--history <file>', 'keep this run in a history of your own (default: the one in your data folder)')
    .option('--no-history', 'keep no record of this run')
    .option('--against <report>', 'an earlier report.json, or its folder: what changed since, and did it help')
    .option(
      '--turned <degrees>',
      'with --against: the camera was turned, so that the field turned by so much counter-clockwise on the screen',
      numberIn(ANGLE_DEG),
    )
    .option('--stars', 'write every star as stars.ecsv and stars.csv (and left-out.*) into the report folder')
    .option(
      '--sweep <file>',
      'sweep.json of a focus run of this rig and night: which side of focus these subs stand on',
    )
    .option('--moffat', 'fit Moffat profiles to the 50 brightest stars of each sub as well: their wings')
    .option('--plain', 'print one fact a line in ASCII, without colour: for screen readers, grep and logs')
    .option('--quick', 'the fast estimate only: summary, report.json and field.png');
}

/** What the options say of telescope and camera. */
export function setupFrom(raw: RawSetup): MeasureSettings {
  return {
    ...(raw.focal !== undefined && { focalMm: raw.focal }),
    ...(raw.aperture !== undefined && { apertureMm: raw.aperture }),
    ...(raw.pixel !== undefined && { pixelUm: raw.pixel }),
    ...(raw.primaryFocal !== undefined && { primaryFocalMm: raw.primaryFocal }),
    ...(raw.corrector !== undefined && { corrector: raw.corrector }),
    ...(raw.rowOrder !== undefined && { rowOrder: raw.rowOrder === 'top-down' ? 'TOP-DOWN' : 'BOTTOM-UP' }),
  };
}

export function checkOptionsFrom(raw: RawOptions): CheckOptions {
  return {
    ...(raw.history !== undefined && { history: raw.history }),
    ...(raw.out !== undefined && { out: raw.out }),
    ...(raw.json !== undefined && { json: raw.json }),
    ...(raw.plain !== undefined && { plain: raw.plain }),
    ...(raw.rig !== undefined && { rig: raw.rig }),
    ...(raw.quick !== undefined && { quick: raw.quick }),
    ...(raw.moffat !== undefined && { moffat: raw.moffat }),
    ...(raw.dark !== undefined && { dark: raw.dark }),
    ...(raw.flat !== undefined && { flat: raw.flat }),
    ...(raw.stars !== undefined && { stars: raw.stars }),
    ...(raw.against !== undefined && { against: raw.against }),
    ...(raw.turned !== undefined && { turnedDeg: raw.turned }),
    ...(raw.sweep !== undefined && { sweep: raw.sweep }),
    ...setupFrom(raw),
  };
}
