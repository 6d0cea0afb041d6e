import type { Command } from 'commander';
import { effectOf } from '../adjust/screwPrior.ts';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { printable } from '../report/untrusted.ts';
import type { Rig, RigValues } from '../rig/rig.ts';
import { isRigName } from '../rig/rigName.ts';
import { loadFrame, resolveFrameArguments } from './frames.ts';
import { describeRig } from './keptHelp.ts';
import {
  addRigOptions,
  type Draft,
  draftFromFacts,
  draftFromOptions,
  finishDraft,
  RIG_FIELDS,
  troubleWith,
  valueIn,
  valueOf,
  withValue,
} from './rigFields.ts';
import { putRigAway, readInUse, readRig, readRigs, rigNames, rigPath, writeInUse, writeRig } from './rigFolder.ts';

const line = (text: string): string => `${printable(text)}\n`;

async function list(effects: Effects): Promise<void> {
  const { rigs, troubles } = await readRigs(effects);
  const inUse = await readInUse(effects);
  if (rigs.length === 0 && troubles.length === 0)
    effects.out('No rig is kept yet: starplumb rig add NAME (it asks), or with options (rig add --help).\n');
  const widest = Math.max(0, ...rigs.map(({ name }) => name.length));
  for (const { name, values } of rigs)
    effects.out(line(`${name.padEnd(widest)} ${name === inUse ? '*' : ' '} ${summaryOf(values)}`));
  if (rigs.some(({ name }) => name === inUse)) effects.out('* in use where the header does not decide\n');
  for (const trouble of troubles) for (const text of trouble.split('\n')) effects.err(line(text));
}

/** '203 mm f/3.9, no corrector, 3.76 µm pixels, Invented 26C'. */
function summaryOf({ apertureMm, focalMm, primaryFocalMm, corrector, pixelUm, camera }: RigValues): string {
  const focal = focalMm ?? primaryFocalMm;
  const parts = [
    apertureMm === undefined ? '' : `${apertureMm} mm`,
    focal === undefined
      ? ''
      : apertureMm === undefined
        ? `${focal} mm focal length`
        : `f/${(focal / apertureMm).toFixed(1)}`,
  ].filter((part) => part !== '');
  const rest = [
    corrector === undefined ? '' : corrector === 'none' ? 'no corrector' : `corrector ${corrector}x`,
    pixelUm === undefined ? '' : `${pixelUm} µm pixels`,
    camera ?? '',
  ].filter((part) => part !== '');
  return [parts.join(' '), ...rest].filter((part) => part !== '').join(', ');
}

async function show(name: string, effects: Effects): Promise<void> {
  const rig = await readRig(name, effects);
  effects.out(line(`${rig.name}: ${summaryOf(rig.values)}`));
  for (const [key, value] of entriesOf(rig.values)) effects.out(line(`  ${key.padEnd(28)} ${value}`));
  for (const text of derivedOf(rig)) effects.out(line(`  ${text}`));
  effects.out(line(`Kept in ${rigPath(rig.name, effects)}`));
}

function entriesOf(values: object, prefix = ''): [string, string][] {
  return Object.entries(values).flatMap(([key, value]: [string, unknown]) =>
    typeof value === 'object' && value !== null && !Array.isArray(value)
      ? entriesOf(value, `${prefix}${key}.`)
      : [[`${prefix}${key}`, Array.isArray(value) ? value.join(', ') : String(value)] as [string, string]],
  );
}

/** Arcseconds in a radian, times the millimetres in a micrometre. */
const ARCSEC_MM_PER_UM = 206.264806;

function derivedOf({ values }: Rig): string[] {
  const { focalMm, pixelUm, screws } = values;
  const derived: string[] = [];
  if (focalMm !== undefined && pixelUm !== undefined)
    derived.push(`One unbinned pixel is ${((ARCSEC_MM_PER_UM * pixelUm) / focalMm).toFixed(2)}" of sky.`);
  const effect = screws?.number === 3 ? effectOf(screws) : null;
  if (effect !== null)
    derived.push(`One turn of one screw tilts the primary by ${effect.toFixed(0)}' (three screws evenly spaced).`);
  return derived;
}

interface AddOptions extends Readonly<Record<string, unknown>> {
  readonly frame?: string;
}

async function add(name: string, options: AddOptions, effects: Effects): Promise<void> {
  if (!isRigName(name))
    throw new UserError(
      `${name}: expected a name of up to 40 letters, digits, spaces, - and _, beginning with a letter or digit`,
      EXIT.wrongUsage,
    );
  const taken = (await rigNames(effects)).find((one) => one.toLowerCase() === name.toLowerCase());
  if (taken !== undefined)
    throw new UserError(
      `${taken} is kept already: change it in ${rigPath(taken, effects)}, or take it out first by starplumb rig remove ${taken}`,
      EXIT.wrongUsage,
    );
  const header = options.frame === undefined ? {} : await draftOfFrame(options.frame, effects);
  const told = draftFromOptions(options);
  const draft = effects.inIsTerminal ? await askForRest(told, header, effects) : { ...header, ...told };
  const values = finishDraft(draft);
  if (Object.keys(values).length === 0)
    throw new UserError(
      'Nothing to keep: give options (rig add --help), --frame FILE, or run it on a terminal',
      EXIT.wrongUsage,
    );
  const path = await writeRig(name, values, effects);
  effects.out(line(`${name}: ${summaryOf(values)}`));
  effects.out(line(`Kept in ${path}`));
}

async function draftOfFrame(argument: string, effects: Effects): Promise<Draft> {
  const [first] = await resolveFrameArguments([argument], effects);
  if (first === undefined) throw new UserError(`--frame ${argument}: no frame`, EXIT.unreadableInput);
  return draftFromFacts((await loadFrame(first, effects)).facts);
}

/** Asks for what no option told; an empty answer takes what the header says, or leaves it out. */
async function askForRest(told: Draft, header: Draft, effects: Effects): Promise<Draft> {
  effects.err('Enter alone leaves a value out, or takes the one in brackets.\n');
  let draft = told;
  for (const field of RIG_FIELDS) {
    if (field.question === '' || valueIn(draft, field) !== undefined) continue;
    const before = RIG_FIELDS.find(({ path }) => path.join('.') === field.after);
    if (before !== undefined && valueIn(draft, before) === undefined) continue;
    for (;;) {
      const offered = valueIn(header, field);
      const shown = offered === undefined ? '' : ` [${printable(JSON.stringify(offered))}]`;
      const answer = (await effects.ask(`${field.question}${shown}: `)).trim();
      if (answer === '' && offered === undefined) break;
      const next = withValue(draft, field, answer === '' ? offered : valueOf(field, answer));
      const trouble = troubleWith(next, field);
      if (trouble === null) {
        draft = next;
        break;
      }
      effects.err(line(`  ${trouble}`));
    }
  }
  return draft;
}

async function remove(name: string, effects: Effects): Promise<void> {
  const names = await rigNames(effects);
  // A rig whose file cannot be read can still be removed.
  const found = names.find((one) => one.toLowerCase() === name.toLowerCase()) ?? (await readRig(name, effects)).name;
  const away = await putRigAway(found, effects);
  effects.out(line(`${found} is no rig any more. Its file is kept as ${away}; its history stays.`));
}

async function use(name: string, effects: Effects): Promise<void> {
  const rig = await readRig(name, effects);
  await writeInUse(rig.name, effects);
  effects.out(line(`${rig.name} is used where neither --rig nor the header decides.`));
}

/** Adds `rig` to the program. */
export function registerRig(program: Command, _tool: unknown, effects: Effects): void {
  const rig = program
    .command('rig')
    .summary('keep telescope and camera once')
    .description(
      'Keeps what is known of a telescope and its camera in a TOML file of its own. check takes the rig named by --rig, or\n' +
        'the one whose telescope, camera, focal length and pixel size are those of the header, or the one in use, or the only one.',
    );
  rig
    .command('list')
    .summary('the rigs kept')
    .action(async () => list(effects));
  rig
    .command('show')
    .summary('all that is kept of one rig')
    .argument('<name>')
    .action(async (name: string) => show(name, effects));
  addRigOptions(
    rig
      .command('add')
      .summary('keep a new rig: asks on a terminal, takes options otherwise')
      .argument('<name>')
      .option('--frame <file>', 'take what the header of this frame tells'),
  ).action(async (name: string, options: AddOptions) => add(name, options, effects));
  rig
    .command('remove')
    .summary('take a rig out; its file is kept under another name')
    .argument('<name>')
    .action(async (name: string) => remove(name, effects));
  rig
    .command('use')
    .summary('use this rig where the header does not decide')
    .argument('<name>')
    .action(async (name: string) => use(name, effects));
  describeRig(rig);
}
