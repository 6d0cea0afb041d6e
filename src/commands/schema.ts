import type { Command } from 'commander';
import type { Effects } from '../effects.ts';
import { reportJsonSchema } from '../report/record.ts';
import { describeUse, USUAL_EXITS } from './commandHelp.ts';

/** The schema as it is published: dist/report.schema.json. */
export const schemaText = (): string => `${JSON.stringify(reportJsonSchema(), null, 2)}\n`;

/** Adds `schema` to the program. */
export function registerSchema(program: Command, tool: { readonly name: string }, effects: Pick<Effects, 'out'>): void {
  const command = program
    .command('schema')
    .summary('print the JSON Schema of report.json')
    .description(
      'Prints the JSON Schema (draft 2020-12) of report.json. It stands in the package too, as report.schema.json.\n' +
        'Records of older versions of the program fit it as well: later fields are optional.',
    )
    .action(() => effects.out(schemaText()));
  describeUse(command, {
    examples: [[`${tool.name} schema > report.schema.json`, 'for a program of yours that reads reports']],
    exits: USUAL_EXITS,
  });
}
