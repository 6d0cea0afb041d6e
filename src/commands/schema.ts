import { Argument, type Command } from 'commander';
import type { Effects } from '../effects.ts';
import { reportJsonSchema } from '../report/record.ts';
import { sweepJsonSchema } from '../report/sweepRecord.ts';
import { trendJsonSchema } from '../report/trendRecord.ts';
import { describeUse, USUAL_EXITS } from './commandHelp.ts';

/** Every record that is published; the build writes each to dist/NAME.schema.json. */
const SCHEMAS = { report: reportJsonSchema, sweep: sweepJsonSchema, trend: trendJsonSchema } as const;

/** Adds `schema` to the program. */
export function registerSchema(program: Command, tool: { readonly name: string }, effects: Pick<Effects, 'out'>): void {
  const command = program
    .command('schema')
    .summary('print the JSON Schema of report.json, sweep.json or a trend')
    .description(
      'Prints the JSON Schema (draft 2020-12) of a record: report.json, the sweep.json of a focus run, or what history trend\n' +
        '--json prints. They stand in the package too, as report.schema.json, sweep.schema.json and trend.schema.json.\n' +
        'Records of older versions of the program fit as well: later fields are optional.',
    )
    .addArgument(new Argument('[record]', 'which record').choices(Object.keys(SCHEMAS)).default('report'))
    .action((record: keyof typeof SCHEMAS) => effects.out(`${JSON.stringify(SCHEMAS[record](), null, 2)}\n`));
  describeUse(command, {
    examples: [
      [`${tool.name} schema > report.schema.json`, 'for a program of yours that reads reports'],
      [`${tool.name} schema trend`, 'of history trend --json'],
    ],
    exits: USUAL_EXITS,
  });
}
