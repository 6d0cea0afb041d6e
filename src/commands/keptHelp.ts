import type { Command } from 'commander';
import { EXIT } from '../errors.ts';
import { type CommandHelp, describeUse, USUAL_EXITS } from './commandHelp.ts';

const exits = {
  ...USUAL_EXITS,
  [EXIT.wrongUsage]: 'wrong usage, or nothing of that name or number is kept',
};
const readingExits = { ...exits, [EXIT.unreadableInput]: 'an input could not be read' };

const example = (line: string, does: string, codes: CommandHelp['exits'] = exits): CommandHelp => ({
  examples: [[line, does]],
  exits: codes,
});

/** Examples and exit codes of the commands below `rig` and `history`. */
const RIG_HELP: Readonly<Record<string, CommandHelp>> = {
  list: example('starplumb rig list', 'the rigs kept, the one in use marked'),
  show: example('starplumb rig show garden', 'all that is kept of one'),
  add: example('starplumb rig add garden --frame a.fits', 'what the header tells, the rest asked', readingExits),
  remove: example('starplumb rig remove garden', 'its file stays under another name'),
  use: example('starplumb rig use garden', 'where the header does not decide'),
};

const HISTORY_HELP: Readonly<Record<string, CommandHelp>> = {
  list: example('starplumb history list --last 10', 'the last ten checks, and the notes between them'),
  show: example('starplumb history show 17', 'the whole report of check 17'),
  trend: example('starplumb history trend --rig garden', 'what changed since the last adjustment'),
  note: example('starplumb history note --adjustment new collimation', 'a new stretch of the trend begins'),
  export: example('starplumb history export --csv --out checks.csv', 'for a spreadsheet'),
  import: example('starplumb history import old-reports', 'every report.json below that folder', readingExits),
  prune: example('starplumb history prune --before 2030-01-01', 'says what would go; --yes removes it'),
};

/** Lets the --help of each command below `command` begin with an example; what is not in the table stays as it is. */
function describeAll(command: Command, table: Readonly<Record<string, CommandHelp>>): void {
  for (const sub of command.commands) {
    const help = table[sub.name()];
    if (help !== undefined) describeUse(sub, help);
  }
}

export const describeRig = (rig: Command): void => describeAll(rig, RIG_HELP);
export const describeHistory = (history: Command): void => describeAll(history, HISTORY_HELP);
