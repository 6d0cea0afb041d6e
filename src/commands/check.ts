import type { Command } from 'commander';
import { orientationOf, setupFromFrames } from '../diagnosis/setupFromFrames.ts';
import { type Effects, wantsColour } from '../effects.ts';
import { EXIT, type ExitCode, UserError } from '../errors.ts';
import type { Frame } from '../frame/frame.ts';
import { type FrameMeasurement, measureField, refine } from '../measure.ts';
import { compareReports } from '../report/against.ts';
import { composeReport } from '../report/compose.ts';
import { composePicture } from '../report/composePicture.ts';
import { encodeJpeg, encodePng } from '../report/encodePicture.ts';
import { drawFieldPicture } from '../report/fieldPicture.ts';
import { fact, renderPlain } from '../report/plainText.ts';
import { collectPortraits, type PlacePortrait } from '../report/portraits/collect.ts';
import { onScreen, PREVIEW_SIDE, type Preview } from '../report/preview.ts';
import type { Canvas } from '../report/raster.ts';
import type { Report } from '../report/record.ts';
import { recordText } from '../report/reportFormat.ts';
import { leftOutTable, starTable, type TableOrigin } from '../report/starTable.ts';
import { csvText, ecsvText } from '../report/tableText.ts';
import { renderText } from '../report/text.ts';
import { printable } from '../report/untrusted.ts';
import { firstFault } from '../report/wording.ts';
import { planeOf } from '../stars/plane.ts';
import { addCheckOptions, type CheckOptions, checkOptionsFrom } from './checkOptions.ts';
import { type CommandHelp, describeUse } from './commandHelp.ts';
import { type FrameArgument, loadFrame, resolveFrameArguments } from './frames.ts';
import { keepInHistory } from './keepInHistory.ts';
import { type Masters, measureSub, type SubSettings } from './measureSub.ts';
import { measureSubs } from './measureSubs.ts';
import { AlreadySaid, progressLine, stopIfAsked, TEXT_WIDTH, withoutName, withoutPixels } from './readFrames.ts';
import { chooseFolder, writeReportFolder } from './reportFolder.ts';
import { type RigForCheck, rigsForCheck } from './rigForCheck.ts';
import { differences, mixtureNotes } from './sameSetup.ts';

/** Longest side of the picture of a quick look. */
const QUICK_PREVIEW_SIDE = 1100;
/** Longer lines are harder to read. */
const WIDEST_TEXT = 110;

interface Measured {
  readonly measurement: ReturnType<typeof measureField>;
  readonly rig: RigForCheck;
  readonly frames: readonly Frame[];
  readonly sha256: readonly string[];
  readonly rejected: readonly { readonly file: string; readonly why: string }[];
  readonly preview: Preview;
  readonly portraits: readonly PlacePortrait[];
}

/** Measures the frames, writes the report folder and says what was found. */
export async function check(
  frameArguments: readonly string[],
  options: CheckOptions,
  tool: { readonly name: string; readonly version: string },
  effects: Effects,
): Promise<ExitCode> {
  const folder = await chooseFolder(options.out, effects);
  if (options.turnedDeg !== undefined && options.against === undefined)
    throw new UserError(
      '--turned says by how much the camera was turned since the report of --against, which is missing',
      EXIT.wrongUsage,
    );
  const earlier =
    options.against === undefined
      ? null
      : await (await import('./readReport.ts')).readReport(options.against, '--against', effects);
  const notesOfSweep = await sweepNotesOf(options.sweep, effects);
  const measured = await measureAll(frameArguments, options, effects);
  const { measurement, preview } = measured;
  const measuredReport = composeReport(measurement, {
    created: effects.now().toISOString(),
    tool,
    frames: measured.frames,
    sha256: measured.sha256,
    rejected: measured.rejected,
    settings: settingsRecord(options),
    rig: measured.rig.name,
    cameraAngle: measured.rig.cameraAngle,
    notes: [...measured.rig.notes, ...mixtureNotes(measured.frames), ...notesOfSweep(measured.frames)],
  });
  const composed =
    earlier === null
      ? measuredReport
      : {
          ...measuredReport,
          against: compareReports({ ...earlier, turnedDeg: options.turnedDeg ?? null }, measuredReport),
        };
  // What was composed has the schema's type; a quick look does without the proof, which takes a thirtieth of its time.
  const report = options.quick === true ? composed : (await import('../report/record.ts')).parseReport(composed);
  const json = recordText(report);
  const picture = drawFieldPicture(report, composePicture(preview, measurement));
  // report.json last: whoever waits for it finds the others new as well.
  const files = {
    'field.png': await encodePng(picture),
    ...(options.quick === true ? {} : await readableForms(report, picture, measured)),
    ...(options.stars === true ? starFiles(measurement, tool) : {}),
    'report.json': json,
  };
  stopIfAsked(effects);
  await writeReportFolder(folder, files, effects);
  if (options.json === true) effects.out(json);
  else if (options.plain === true) effects.out(renderPlain(report));
  else {
    const width = Math.min(effects.columns ?? TEXT_WIDTH, WIDEST_TEXT);
    effects.out(renderText(report, { width, colour: wantsColour(effects) }));
  }
  const say = (label: string, value: string): void => {
    if (options.json === true) return;
    effects.out(options.plain === true ? `${fact(label.toLowerCase(), value)}\n` : `${label.padEnd(10)}${value}\n`);
  };
  say('Report', printable(folder));
  const kept = options.history === false ? null : await keepInHistory(report, options.history, effects);
  if (kept !== null) say('History', kept);
  return EXIT.measured;
}

/** What a kept sweep says of the frames' focus; the sweep is read before the measuring. */
async function sweepNotesOf(
  sweep: string | undefined,
  effects: Effects,
): Promise<(frames: readonly Frame[]) => readonly string[]> {
  if (sweep === undefined) return () => [];
  const { loadSweep, sweepNotes } = await import('./sweepFile.ts');
  const record = await loadSweep('--sweep', sweep, effects);
  return (frames) => sweepNotes(record, frames);
}

/** The page and the full text: loaded only where they are wanted. */
async function readableForms(
  report: Report,
  picture: Canvas,
  { measurement, portraits }: Measured,
): Promise<Readonly<Record<string, string>>> {
  const { renderHtml } = await import('../report/html.ts');
  const { composeEvidence } = await import('../report/evidence.ts');
  const evidence = composeEvidence(measurement, portraits, firstFault(report)?.cause ?? null);
  return {
    'report.html': renderHtml(report, { pictureJpeg: await encodeJpeg(picture), evidence }),
    'report.txt': renderText(report, { width: TEXT_WIDTH, colour: false, detail: 'full' }),
  };
}

/** The stars themselves, for other programs. */
function starFiles(measurement: Measured['measurement'], tool: TableOrigin['tool']): Record<string, string> {
  const stars = starTable(measurement, { tool });
  const leftOut = leftOutTable(measurement, { tool });
  return {
    'stars.ecsv': ecsvText(stars),
    'stars.csv': csvText(stars),
    'left-out.ecsv': ecsvText(leftOut),
    'left-out.csv': csvText(leftOut),
  };
}

/** Every thread holds one frame at a time. */
async function measureAll(
  frameArguments: readonly string[],
  settings: CheckOptions,
  effects: Effects,
): Promise<Measured> {
  const wanted = await resolveFrameArguments(frameArguments, effects);
  const dark = await loadMaster('--dark', settings.dark, effects);
  const flat = await loadMaster('--flat', settings.flat, effects);
  const rigFor = await rigsForCheck(settings.rig, effects);
  const progress = progressLine(effects);
  const portraits = settings.quick === true ? null : collectPortraits(wanted.length);
  const subSettings = {
    moffat: settings.moffat === true,
    // A quick look is compared with an earlier report only where one is named.
    spikes: settings.quick !== true || settings.against !== undefined,
    previewSide: settings.quick === true ? QUICK_PREVIEW_SIDE : PREVIEW_SIDE,
  };
  const outcomes = await measureSubs(
    wanted,
    subSettings,
    {
      masters: { dark, flat },
      beforeEach: async (i) => {
        progress.show(`${wanted[i].name} (${i + 1} of ${wanted.length})`);
        await effects.breathe();
        stopIfAsked(effects);
      },
      withPixels: portraits === null ? null : (frame, measured) => portraits.add(planeOf(frame), measured.stars),
    },
    effects,
  );
  progress.clear();
  const frames: Frame[] = [];
  const measurements: FrameMeasurement[] = [];
  const sha256: string[] = [];
  const rejected: { file: string; why: string; message: string }[] = [];
  const unlike: string[] = [];
  let preview: Measured['preview'] | null = null;
  for (const [i, outcome] of outcomes.entries()) {
    const argument = wanted[i];
    if (outcome.kind === 'unreadable') {
      effects.err(`${printable(outcome.message)}\n`);
      rejected.push({ file: argument.name, why: withoutName(outcome.message, argument), message: outcome.message });
      continue;
    }
    const frame = withoutPixels(outcome.facts);
    unlike.push(...(frames[0] ? differences(frames[0], frame) : []));
    if (preview === null && outcome.measured.stars.shapes.length > 0)
      preview = outcome.preview ?? (await previewOf(argument, subSettings, { dark, flat }, effects));
    frames.push(frame);
    sha256.push(outcome.sha256);
    measurements.push(outcome.measured);
  }
  if (unlike.length > 0)
    throw new UserError(
      `These frames are not of the same set-up, and can only be checked apart:\n  ${[...new Set(unlike)].join('\n  ')}`,
      EXIT.wrongUsage,
    );
  if (frames.length === 0) {
    const [only] = rejected;
    if (only && rejected.length === 1) throw new AlreadySaid(new UserError(only.message, EXIT.unreadableInput));
    throw new UserError(`None of the ${rejected.length} frames could be read.`, EXIT.unreadableInput);
  }
  if (preview === null) throw new UserError(noStarsMessage(measurements), EXIT.noStars);
  progress.show('the field');
  await effects.breathe();
  const rig = rigFor(frames);
  const settled = { ...settings, kept: rig.kept };
  const orientation = orientationOf(frames, settled);
  const quick = measureField(measurements, setupFromFrames(frames, settled), orientation);
  progress.show(`${quick.diagnosis.headline} Refining ...`);
  await effects.breathe();
  const measurement =
    settings.quick === true ? quick : refine(quick, (share) => progress.show(`refining ${Math.round(100 * share)} %`));
  progress.clear();
  return {
    measurement,
    rig,
    frames,
    sha256,
    rejected: rejected.map(({ file, why }) => ({ file, why })),
    preview: onScreen(preview, orientation.rowOrder),
    portraits: portraits?.portraits() ?? [],
  };
}

/** A master frame named by an option; null where none is. */
async function loadMaster(option: string, name: string | undefined, effects: Effects): Promise<Frame | null> {
  if (name === undefined) return null;
  const [argument, ...more] = await resolveFrameArguments([name], effects);
  if (argument === undefined || more.length > 0)
    throw new UserError(`${option} ${name}: expected one master frame, not a folder of frames`, EXIT.wrongUsage);
  return await loadFrame(argument, effects);
}

/** The picture of a later sub, where the first shows no star. */
async function previewOf(
  argument: FrameArgument,
  settings: SubSettings,
  masters: Masters,
  effects: Effects,
): Promise<Preview | null> {
  const again = await measureSub(argument, settings, masters, true, null, effects);
  return again.kind === 'measured' ? again.preview : null;
}

function noStarsMessage(measurements: readonly FrameMeasurement[]): string {
  return measurements
    .map(({ stars, found, leftOut }) => {
      const reasons = Object.entries(leftOut).map(([reason, count]) => `${reason} ${count}`);
      const why = reasons.length === 0 ? '' : ` (left out: ${reasons.join(', ')})`;
      return `${stars.name}: no star could be fitted: ${found} candidates found${why}`;
    })
    .join('\n');
}

function settingsRecord(options: CheckOptions): Report['settings'] {
  const { focalMm, primaryFocalMm, apertureMm, pixelUm, corrector, rowOrder, rig, quick, dark, flat, moffat } = options;
  const told = { focalMm, primaryFocalMm, apertureMm, pixelUm, corrector, rowOrder, rig, quick, dark, flat, moffat };
  return Object.fromEntries(
    Object.entries(told).flatMap(([name, value]) => (value === undefined ? [] : [[name, value]])),
  );
}

const CHECK_HELP: CommandHelp = {
  examples: [
    ['starplumb check night/*.fits', 'all subs of a set-up together; the report folder is named from the time'],
    ['starplumb check a.fits b.fits --corrector 0.95 --out report', 'tell what the header does not, choose the folder'],
    ['starplumb check new/*.fits --against report', 'what changed since that report: did the adjustment help?'],
    ['starplumb check a.fits --stars', 'write every star, too, as tables for other programs'],
  ],
  exits: {
    [EXIT.measured]: "measured, whatever the verdict ('cannot tell' included)",
    [EXIT.wrongUsage]: 'wrong usage, or frames that are not of the same set-up',
    [EXIT.unreadableInput]: 'no frame (or master, or the report of --against) could be read',
    [EXIT.noStars]: 'no star could be fitted',
    [EXIT.interrupted]: 'interrupted (Ctrl-C); nothing was written',
  },
};

/** Adds `check` to the program. */
export function registerCheck(
  program: Command,
  tool: { readonly name: string; readonly version: string },
  effects: Effects,
): void {
  const command = program
    .command('check')
    .summary('measure subs: is the telescope collimated, what is wrong, which way to move')
    .description(
      'Measures one or more subs of the same set-up together, prints a summary and writes a report folder\n' +
        '(report.html, report.txt, report.json, field.png; with --quick the last two only).',
    )
    .argument('<frame...>', 'FITS, PNG or TIFF files, folders of them, or FILE[n] for a FITS extension');
  addCheckOptions(command).action(async (frames: string[], raw: Parameters<typeof checkOptionsFrom>[0]) => {
    await check(frames, checkOptionsFrom(raw), tool, effects);
  });
  describeUse(command, CHECK_HELP);
}
