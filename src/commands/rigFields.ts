import type { Command } from 'commander';
import { EXIT, UserError } from '../errors.ts';
import type { FrameFacts } from '../frame/frame.ts';
import { type RigValues, rigSchema } from '../rig/rig.ts';

/** One value of a rig: how it is given as an option and asked for on a terminal. */
export interface RigField {
  readonly path: readonly [string] | readonly [string, string];
  readonly flags: string;
  readonly question: string;
  readonly kind: 'number' | 'text' | 'numbers' | 'corrector';
  /** Asked only where a field before it was answered. */
  readonly after?: string;
}

export const RIG_FIELDS: readonly RigField[] = [
  { path: ['apertureMm'], flags: '--aperture <mm>', question: 'aperture, mm', kind: 'number' },
  {
    path: ['primaryFocalMm'],
    flags: '--primary-focal <mm>',
    question: 'focal length of the primary, mm',
    kind: 'number',
  },
  {
    path: ['focalMm'],
    flags: '--focal <mm>',
    question: 'effective focal length, with the corrector or reducer, mm',
    kind: 'number',
  },
  {
    path: ['corrector'],
    flags: '--corrector <none|magnification>',
    question: 'coma corrector: none, or its magnification (1 where it does not change it)',
    kind: 'corrector',
  },
  {
    path: ['obstructionMm'],
    flags: '--obstruction <mm>',
    question: 'diameter of the central obstruction, mm',
    kind: 'number',
  },
  { path: ['pixelUm'], flags: '--pixel <um>', question: 'pixel size of the camera, unbinned, µm', kind: 'number' },
  {
    path: ['rowOrder'],
    flags: '--row-order <order>',
    question: 'first stored row on your screen: top-down or bottom-up',
    kind: 'text',
  },
  {
    path: ['telescope'],
    flags: '--telescope <name>',
    question: 'name the header gives the telescope (TELESCOP)',
    kind: 'text',
  },
  { path: ['camera'], flags: '--camera <name>', question: 'name the header gives the camera (INSTRUME)', kind: 'text' },
  {
    path: ['cameraAngleDeg'],
    flags: '--camera-angle <deg>',
    question: 'direction on the screen of a mark on the tube, degrees counter-clockwise from right',
    kind: 'number',
  },
  {
    path: ['rotatorAtDeg'],
    flags: '--rotator-at <deg>',
    question: 'what the rotator read then, degrees',
    kind: 'number',
    after: 'cameraAngleDeg',
  },
  {
    path: ['rotatorSense'],
    flags: '--rotator-sense <with|against>',
    question: 'as the reading grows, does the mark turn counter-clockwise: with or against',
    kind: 'text',
    after: 'rotatorAtDeg',
  },
  { path: ['screws', 'number'], flags: '--screws <n>', question: 'how many collimation screws', kind: 'number' },
  {
    path: ['screws', 'circleRadiusMm'],
    flags: '--screw-circle <mm>',
    question: 'radius of the circle they stand on, mm',
    kind: 'number',
    after: 'screws.number',
  },
  {
    path: ['screws', 'thread'],
    flags: '--thread <thread>',
    question: 'their thread, as M6, M6x0.75 or 1/4-20',
    kind: 'text',
    after: 'screws.number',
  },
  {
    path: ['screws', 'pitchMm'],
    flags: '--pitch <mm>',
    question: '',
    kind: 'number',
  },
  {
    path: ['screws', 'anglesDeg'],
    flags: '--screw-angles <deg,deg,...>',
    question: 'directions on the screen in which they move a star, degrees, with commas',
    kind: 'numbers',
    after: 'screws.number',
  },
  {
    path: ['tolerance', 'mirrorTiltArcmin'],
    flags: '--mirror-tilt-tolerance <arcmin>',
    question: '',
    kind: 'number',
  },
  { path: ['tolerance', 'sensorTiltUm'], flags: '--sensor-tilt-tolerance <um>', question: '', kind: 'number' },
];

const optionOf = (field: RigField): string => field.flags.split(' ')[0] ?? '';
const attributeOf = (field: RigField): string =>
  optionOf(field)
    .slice(2)
    .replace(/-(\w)/g, (_, letter: string) => letter.toUpperCase());

export function addRigOptions(command: Command): Command {
  for (const field of RIG_FIELDS) command.option(field.flags, DESCRIPTIONS[optionOf(field)] ?? field.question);
  return command;
}

const DESCRIPTIONS: Readonly<Record<string, string>> = {
  '--pitch': 'advance of a screw a turn, mm, where the thread is not a usual one',
  '--mirror-tilt-tolerance': 'tilt of the primary you put up with, arcminutes (default: the trade tolerance)',
  '--sensor-tilt-tolerance': 'tilt of the sensor you put up with, µm edge to edge (default: the critical focus zone)',
};

/** A rig in the making: not checked yet. */
export type Draft = Record<string, unknown>;

/** What a user typed, as the value it means; what makes no number stays text for the schema to refuse. */
export function valueOf(field: RigField, typed: string): unknown {
  const text = typed.trim();
  const number = (part: string): unknown => (part.trim() !== '' && Number.isFinite(Number(part)) ? Number(part) : part);
  if (field.kind === 'numbers') return text.split(/[,;]/).map(number);
  if (field.kind === 'number') return number(text);
  if (field.kind === 'corrector') return text === 'none' ? text : number(text);
  return text;
}

export function withValue(draft: Draft, { path: [table, key] }: RigField, value: unknown): Draft {
  return key === undefined
    ? { ...draft, [table]: value }
    : { ...draft, [table]: { ...(draft[table] as Draft | undefined), [key]: value } };
}

export function valueIn(draft: Draft, { path: [table, key] }: RigField): unknown {
  return key === undefined ? draft[table] : (draft[table] as Draft | undefined)?.[key];
}

export function draftFromOptions(raw: Readonly<Record<string, unknown>>): Draft {
  return RIG_FIELDS.reduce<Draft>((draft, field) => {
    const typed = raw[attributeOf(field)];
    return typeof typed === 'string' ? withValue(draft, field, valueOf(field, typed)) : draft;
  }, {});
}

/** What a frame's header tells of its telescope and camera; sizes are those of the chip. */
export function draftFromFacts(facts: FrameFacts): Draft {
  const pixelUm = facts.pixelUm === null ? undefined : facts.pixelUm.value / (facts.binning?.value ?? 1);
  const told = {
    apertureMm: facts.apertureMm?.value,
    focalMm: facts.focalLengthMm?.value,
    pixelUm,
    rowOrder: facts.rowOrder?.value.toLowerCase(),
    telescope: facts.telescope?.value,
    camera: facts.camera?.value,
  };
  return Object.fromEntries(Object.entries(told).filter(([, value]) => value !== undefined));
}

/** What is wrong about one field of a draft; null where it is in order. */
export function troubleWith(draft: Draft, field: RigField): string | null {
  const result = rigSchema.safeParse(draft);
  const issue = result.error?.issues.find(({ path }) => field.path.every((part, i) => path[i] === part));
  return issue === undefined ? null : issue.message;
}

/** The finished rig; throws UserError naming the option of everything that is wrong. */
export function finishDraft(draft: Draft): RigValues {
  const result = rigSchema.safeParse(draft);
  if (result.success) return result.data;
  const problems = result.error.issues.map(({ path, message }) => {
    const field = RIG_FIELDS.find((one) => one.path.every((part, i) => path[i] === part));
    const found = field === undefined ? undefined : valueIn(draft, field);
    return `${field === undefined ? path.join('.') : optionOf(field)}: ${message}${
      found === undefined ? ', found nothing' : `, found ${JSON.stringify(found)}`
    }`;
  });
  throw new UserError([...new Set(problems)].join('\n'), EXIT.wrongUsage);
}
