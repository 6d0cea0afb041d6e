import type { Command } from 'commander';
import type { Setup } from '../diagnosis/setup.ts';
import { orientationOf, setupFromFrames } from '../diagnosis/setupFromFrames.ts';
import { type Effects, wantsColour } from '../effects.ts';
import { EXIT, type ExitCode, UserError } from '../errors.ts';
import type { Frame } from '../frame/frame.ts';
import { USUAL_OBSTRUCTION } from '../optics/telescope.ts';
import { composeSweep } from '../report/sweepCompose.ts';
import type { EarlierSweep } from '../report/sweepContext.ts';
import { renderSweepPage } from '../report/sweepPage.ts';
import { parseSweep, type SweepRecord } from '../report/sweepRecord.ts';
import { renderSweepText } from '../report/sweepText.ts';
import { printable } from '../report/untrusted.ts';
import { type DiscFrame, findDiscs } from '../sweep/findDiscs.ts';
import { measureSweep } from '../sweep/measureSweep.ts';
import { type Series, type SeriesFault, seriesOf } from '../sweep/series.ts';
import type { SweepOptics } from '../sweep/sweepOptics.ts';
import { type CommandHelp, describeUse } from './commandHelp.ts';
import { resolveFrameArguments } from './frames.ts';
import { noteInHistory } from './noteInHistory.ts';
import {
  AlreadySaid,
  loadOrReject,
  progressLine,
  stopIfAsked,
  TEXT_WIDTH,
  withoutName,
  withoutPixels,
} from './readFrames.ts';
import { chooseFolder, writeReportFolder } from './reportFolder.ts';
import { rigsForCheck } from './rigForCheck.ts';
import { differences } from './sameSetup.ts';
import { loadSweep, SWEEP_FILE } from './sweepFile.ts';
import { addSweepOptions, type SweepOptions, sweepOptionsFrom } from './sweepOptions.ts';

/** Longer lines are harder to read. */
const WIDEST_TEXT = 110;

interface Read {
  readonly frames: readonly Frame[];
  readonly discs: readonly DiscFrame[];
  readonly sha256: readonly string[];
  readonly rejected: readonly { readonly file: string; readonly why: string }[];
}

/** Measures a through-focus series, writes the report folder and says what was found. */
export async function sweep(
  frameArguments: readonly string[],
  options: SweepOptions,
  tool: { readonly name: string; readonly version: string },
  effects: Effects,
): Promise<ExitCode> {
  const folder = await chooseFolder(options.out, effects);
  // Earlier records first: a wrong name costs no measuring.
  const against = options.against === undefined ? null : await earlier('--against', options.against, effects);
  const turned = await all('--turned', options.turned, effects);
  const calibration = await all('--calibration', options.calibration, effects);
  const rigFor = await rigsForCheck(options.rig, effects);
  const { frames, discs, sha256, rejected } = await readAll(frameArguments, effects);
  const series = seriesOf(
    frames.map((frame, i) => ({
      measured: discs[i],
      position: frame.facts.focusPosition?.value ?? null,
      dateObs: frame.facts.dateObs?.value ?? null,
    })),
    options.stepUm ?? null,
  );
  if (typeof series === 'string') throw new UserError(faultMessage(series, frames), EXIT.wrongUsage);
  const rig = rigFor(frames);
  const settled = { ...options, kept: rig.kept };
  const setup = setupFromFrames(frames, settled);
  const obstruction = obstructionOf(options, rig.kept.obstructionMm ?? null, setup);
  const progress = progressLine(effects);
  progress.show('best focus over the field');
  await effects.breathe();
  const measurement = measureSweep(series, opticsOf(setup, obstruction.value));
  progress.clear();
  const record = parseSweep(
    composeSweep(measurement, {
      created: effects.now().toISOString(),
      tool,
      frames,
      sha256,
      rejected,
      setup,
      orientation: orientationOf(frames, settled),
      obstruction,
      umPerStep: stepOf(options, frames),
      largerReadings: options.largerReadings ?? null,
      cameraAngleDeg: options.cameraAngleDeg ?? frames[0].facts.rotatorDeg?.value ?? null,
      spacingMm: options.spacingMm ?? null,
      plate: options.plate ?? null,
      against,
      turned,
      calibration,
      notes: [...rig.notes, ...assumptionNotes(series, setup, obstruction.from)],
      settings: settingsOf(options),
    }),
  );
  const json = `${JSON.stringify(record, null, 2)}\n`;
  const files = {
    'report.html': renderSweepPage(record),
    'report.txt': renderSweepText(record, { width: TEXT_WIDTH, colour: false, detail: 'full' }),
    [SWEEP_FILE]: json,
  };
  stopIfAsked(effects);
  await writeReportFolder(folder, files, effects);
  if (options.json === true) effects.out(json);
  else {
    const width = Math.min(effects.columns ?? TEXT_WIDTH, WIDEST_TEXT);
    effects.out(renderSweepText(record, { width, colour: wantsColour(effects) }));
    effects.out(`Report    ${printable(folder)}\n`);
  }
  if (options.history !== false && record.status === 'measured')
    await noteInHistory(
      { time: effects.now().toISOString(), rig: rig.name, kind: 'note', text: `Focus run: ${record.headline}` },
      options.history,
      effects,
    );
  return EXIT.measured;
}

/** One frame in memory at a time. */
async function readAll(frameArguments: readonly string[], effects: Effects): Promise<Read> {
  const wanted = await resolveFrameArguments(frameArguments, effects);
  const progress = progressLine(effects);
  const frames: Frame[] = [];
  const discs: DiscFrame[] = [];
  const sha256: string[] = [];
  const rejected: { file: string; why: string; error: UserError }[] = [];
  const unlike: string[] = [];
  for (const [i, argument] of wanted.entries()) {
    progress.show(`${argument.name} (${i + 1} of ${wanted.length})`);
    await effects.breathe();
    stopIfAsked(effects);
    const loaded = await loadOrReject(argument, effects);
    if (loaded instanceof UserError) {
      progress.clear();
      effects.err(`${printable(loaded.message)}\n`);
      rejected.push({ file: argument.name, why: withoutName(loaded.message, argument), error: loaded });
      continue;
    }
    unlike.push(...(frames[0] ? differences(frames[0], loaded.frame) : []));
    if (unlike.length > 0) continue;
    discs.push(findDiscs(loaded.frame));
    frames.push(withoutPixels(loaded.frame));
    sha256.push(loaded.sha256);
  }
  progress.clear();
  if (unlike.length > 0)
    throw new UserError(
      `These frames are not of the same set-up, and make no series:\n  ${[...new Set(unlike)].join('\n  ')}`,
      EXIT.wrongUsage,
    );
  const [only] = rejected;
  if (frames.length === 0 && only !== undefined) {
    if (rejected.length === 1) throw new AlreadySaid(only.error);
    throw new UserError(`None of the ${rejected.length} frames could be read.`, EXIT.unreadableInput);
  }
  if (discs.every((d) => d.discs.length === 0))
    throw new UserError('No star could be measured in any frame of the run.', EXIT.noStars);
  return { frames, discs, sha256, rejected: rejected.map(({ file, why }) => ({ file, why })) };
}

async function earlier(option: string, named: string, effects: Effects): Promise<EarlierSweep> {
  return { file: named, record: await loadSweep(option, named, effects) };
}

async function all(option: string, names: readonly string[], effects: Effects): Promise<EarlierSweep[]> {
  const sweeps: EarlierSweep[] = [];
  for (const name of names) sweeps.push(await earlier(option, name, effects));
  return sweeps;
}

function faultMessage(fault: SeriesFault, frames: readonly Frame[]): string {
  const without = frames.filter((f) => f.facts.focusPosition === null).map((f) => f.name);
  switch (fault) {
    case 'no-positions':
      return 'No frame tells its focuser position (FOCUSPOS or FOCPOS); give the frames in order with --step UM, the camera travel from one to the next.';
    case 'some-positions':
      return `These frames do not tell their focuser position (FOCUSPOS or FOCPOS): ${without.join(', ')}. Leave them out, or give --step UM and all frames in order.`;
    case 'one-position':
      return 'All frames stand at one focuser position; a sweep needs several, best nine, on both sides of focus.';
  }
}

function obstructionOf(
  options: SweepOptions,
  keptMm: number | null,
  setup: Setup,
): { readonly value: number; readonly from: 'option' | 'rig' | 'assumed' } {
  if (options.obstruction !== undefined) return { value: options.obstruction, from: 'option' };
  const aperture = setup.apertureMm.value;
  if (keptMm !== null && aperture !== null) return { value: keptMm / aperture, from: 'rig' };
  return { value: USUAL_OBSTRUCTION, from: 'assumed' };
}

function opticsOf(setup: Setup, obstruction: number): SweepOptics | null {
  const [focalLengthMm, apertureMm, pixelUm] = [setup.focalLengthMm.value, setup.apertureMm.value, setup.pixelUm.value];
  return focalLengthMm === null || apertureMm === null || pixelUm === null
    ? null
    : { focalLengthMm, apertureMm, pixelUm, obstruction };
}

function stepOf(
  options: SweepOptions,
  frames: readonly Frame[],
): { readonly value: number; readonly from: 'option' | 'header' } | null {
  if (options.umPerStep !== undefined) return { value: options.umPerStep, from: 'option' };
  const told = frames.map((f) => f.facts.focusStepUm?.value).find((value) => value !== undefined);
  return told === undefined ? null : { value: told, from: 'header' };
}

function assumptionNotes(series: Series, setup: Setup, obstruction: 'option' | 'rig' | 'assumed'): string[] {
  const optics = opticsOf(setup, USUAL_OBSTRUCTION);
  return [
    ...(optics === null
      ? [
          'Focal length, aperture or pixel size is not known (--focal, --aperture, --pixel): no coma, and curves as for 200 mm f/4.',
        ]
      : obstruction === 'assumed'
        ? [`Obstruction taken as ${USUAL_OBSTRUCTION} of the aperture (--obstruction).`]
        : []),
    ...(series.ordered === 'given' && series.unit === 'steps'
      ? ['The frames do not all tell their time: their order is that in which they were given.']
      : []),
  ];
}

function settingsOf(options: SweepOptions): SweepRecord['settings'] {
  const { umPerStep, stepUm, largerReadings, obstruction, focalMm, apertureMm, pixelUm, primaryFocalMm, corrector } =
    options;
  const told = {
    umPerStep,
    stepUm,
    largerReadings,
    obstruction,
    focalMm,
    apertureMm,
    pixelUm,
    primaryFocalMm,
    corrector,
  };
  return Object.fromEntries(
    Object.entries(told).flatMap(([name, value]) => (value === undefined ? [] : [[name, value]])),
  );
}

const SWEEP_HELP: CommandHelp = {
  examples: [
    [
      'starplumb sweep run/ --um-per-step 1.2 --larger-readings out',
      'a focus run whose headers tell the focuser position',
    ],
    [
      'starplumb sweep f1.fits f2.fits f3.fits f4.fits f5.fits --step 60',
      'no positions in the headers: equal steps, in order',
    ],
    [
      'starplumb sweep run2/ --against run1/sweep --plate 45,0.5',
      'did it help, and how far to turn each screw of the plate',
    ],
  ],
  exits: {
    [EXIT.measured]: 'measured, whatever was found',
    [EXIT.wrongUsage]: 'wrong usage, frames of different set-ups, or no focuser positions',
    [EXIT.unreadableInput]: 'no frame, or an earlier record, could be read',
    [EXIT.noStars]: 'no star could be measured',
    [EXIT.interrupted]: 'interrupted (Ctrl-C); nothing was written',
  },
};

/** Adds `sweep` to the program. */
export function registerSweep(
  program: Command,
  tool: { readonly name: string; readonly version: string },
  effects: Effects,
): void {
  const command = program
    .command('sweep')
    .summary('a through-focus series: which side is too near, curvature, best focus')
    .description(
      'Measures a series of frames taken through focus: best focus over the field, tilt with its side, curvature, astigmatism\n' +
        'and coma; writes a report folder (report.html, report.txt, sweep.json).',
    )
    .argument('<frame...>', 'frames at different focus: FITS, PNG or TIFF files, or folders of them');
  addSweepOptions(command).action(async (frames: string[], raw: Parameters<typeof sweepOptionsFrom>[0]) => {
    await sweep(frames, sweepOptionsFrom(raw), tool, effects);
  });
  describeUse(command, SWEEP_HELP);
}
