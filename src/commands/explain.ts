import { Argument, type Command } from 'commander';
import pc from 'picocolors';
import { CAUSES, type Cause } from '../diagnosis/finding.ts';
import { type Effects, wantsColour } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import { DRAWN_FAULTS, DRAWN_WITH } from '../explain/drawnFaults.ts';
import { EXPLANATIONS, type Explanation } from '../explain/explanations.ts';
import { faultPicture } from '../explain/faultPicture.ts';
import { terminalStars } from '../explain/terminalStars.ts';
import { CAUTIONS } from '../report/cautions.ts';
import { encodePng } from '../report/encodePicture.ts';
import { printable } from '../report/untrusted.ts';
import { describeUse } from './commandHelp.ts';

export type ExplainEffects = Pick<
  Effects,
  'out' | 'env' | 'outIsTerminal' | 'columns' | 'writeFile' | 'rename' | 'remove' | 'kindOf' | 'processId'
>;

const WIDTH = 80;
const WIDEST = 100;
const CAUSE_NAMES = Object.keys(CAUSES) as Cause[];

/** Prints what a fault is, or the list of faults; draws its stars where asked. */
export async function explain(
  cause: Cause | undefined,
  options: { readonly picture?: string },
  effects: ExplainEffects,
): Promise<void> {
  if (cause === undefined) {
    if (options.picture !== undefined)
      throw new UserError(
        `--picture ${options.picture}: of which fault? One of ${CAUSE_NAMES.join(', ')}.`,
        EXIT.wrongUsage,
      );
    effects.out(listOfCauses());
    return;
  }
  if (options.picture !== undefined) await writePicture(cause, options.picture, effects);
  const colours = pc.createColors(wantsColour(effects));
  const width = Math.max(40, Math.min(effects.columns ?? WIDTH, WIDEST));
  effects.out(`${explanationLines(cause, EXPLANATIONS[cause], width, colours.bold).join('\n')}\n`);
  if (options.picture !== undefined) effects.out(`\nPicture   ${printable(options.picture)}\n`);
}

function listOfCauses(): string {
  const longest = Math.max(...CAUSE_NAMES.map((name) => name.length));
  const rows = CAUSE_NAMES.map(
    (name) => `  ${name.padEnd(longest)}  ${EXPLANATIONS[name].title.replace(/^[^:]*: /, '')}`,
  );
  return `The faults that a report names; 'starplumb explain NAME' tells more of one:\n${rows.join('\n')}\n`;
}

function explanationLines(
  cause: Cause,
  { title, is, looks, cure, confusedWith }: Explanation,
  width: number,
  bold: (text: string) => string,
): string[] {
  const paragraph = (text: string, first = '', indent = ''): string[] =>
    wrap(text, width - indent.length).map((line, i) => (i === 0 && first !== '' ? first : indent) + line);
  const drawn = DRAWN_FAULTS[cause];
  return [
    ...wrap(title, width).map(bold),
    '',
    ...paragraph(is),
    '',
    bold('In the stars'),
    ...paragraph(looks),
    '',
    ...terminalStars(drawn),
    ...paragraph(`Drawn: ${drawn.amount}; ${DRAWN_WITH}.`),
    '',
    bold('How it is put right'),
    ...cure.flatMap((step, i) => paragraph(step, `${i + 1}. `, '   ')),
    '',
    bold('Taken for it, and what settles it'),
    ...confusedWith.flatMap(({ other, settledBy }) => paragraph(`${other}: ${settledBy}`, '- ', '  ')),
    '',
    bold('Cautions'),
    ...CAUTIONS.flatMap((text) => paragraph(text, '- ', '  ')),
  ];
}

function wrap(text: string, width: number): string[] {
  const lines: string[] = [];
  let current = '';
  for (const word of text.split(' ')) {
    if (current !== '' && current.length + 1 + word.length > width) {
      lines.push(current);
      current = word;
    } else current = current === '' ? word : `${current} ${word}`;
  }
  return current === '' ? lines : [...lines, current];
}

async function writePicture(cause: Cause, path: string, effects: ExplainEffects): Promise<void> {
  if ((await effects.kindOf(path)) === 'folder')
    throw new UserError(`--picture ${path}: this is a folder; expected the name of a PNG file`, EXIT.wrongUsage);
  const png = await encodePng(faultPicture(EXPLANATIONS[cause].title, DRAWN_FAULTS[cause]));
  const part = `${path}.${effects.processId}.part`;
  try {
    await effects.writeFile(part, png);
    await effects.rename(part, path);
  } catch (error) {
    await effects.remove(part);
    throw new UserError(`--picture ${path}: cannot be written: ${(error as Error).message}`, EXIT.wrongUsage, {
      cause: error,
    });
  }
}

/** Adds `explain` to the program. */
export function registerExplain(program: Command, tool: { readonly name: string }, effects: ExplainEffects): void {
  const command = program
    .command('explain')
    .summary('what a fault is, how it looks, how it is put right, what it is taken for')
    .description(
      'Explains one of the faults that a report names, with stars drawn by the simulator; lists them without a name.',
    )
    .addArgument(new Argument('[cause]', 'name of the fault, as in the report').choices(CAUSE_NAMES))
    .option('--picture <file>', 'draw its stars over the field into a PNG file, too')
    .action(async (cause: Cause | undefined, options: { picture?: string }) => {
      await explain(cause, options, effects);
    });
  describeUse(command, {
    examples: [
      [`${tool.name} explain`, 'the faults that there are'],
      [`${tool.name} explain sensor-tilt --picture tilt.png`, 'one of them, with a picture'],
    ],
    exits: { [EXIT.measured]: 'explained', [EXIT.wrongUsage]: 'no such fault, or the picture cannot be written' },
  });
}
