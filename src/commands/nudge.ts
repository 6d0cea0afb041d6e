import { realpathSync } from 'node:fs';
import { resolve } from 'node:path';
import type { Command } from 'commander';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import type { NextTurn, Turn } from '../live/liveState.ts';
import { nextLines } from '../live/nextLines.ts';
import { turnWords } from '../live/turnWords.ts';
import { SHORT_CAUTION } from '../report/cautions.ts';
import { printable } from '../report/untrusted.ts';
import { Adjusting } from '../screws/adjusting.ts';
import { latestTelescope, telescopeFor } from '../screws/telescope.ts';
import { describeUse } from './commandHelp.ts';
import { readReport } from './readReport.ts';
import { turnFrom } from './turnArguments.ts';

interface RawNudge {
  readonly rig?: string;
  readonly folder?: string;
  readonly look?: string;
  readonly new?: boolean;
  readonly moved?: boolean;
  readonly undo?: boolean;
  readonly list?: boolean;
  readonly json?: boolean;
}

/** Adds `nudge` to the program. */
export function registerNudge(program: Command, _tool: unknown, effects: Effects): void {
  const command = program
    .command('nudge')
    .summary('note one screw turned once, and learn which turn comes next')
    .description(
      'Notes that a collimation screw of the primary was turned, for the running watch or for reports given by --look;\n' +
        'learns from the subs what each screw does, and proposes the smallest next turns. Alone it tells what is known.',
    )
    .argument('[words...]', 'screw, part of a turn, and cw or ccw as the hand sees it: A 1/8 cw')
    .option('--look <report>', 'what subs taken since the last turn say: report.json, or its folder')
    .option('--rig <name>', 'the telescope kept under this name (default: the one watched or turned last)')
    .option('--folder <dir>', 'the telescope whose subs are watched in this folder')
    .option('--new', 'the screw is one more, of a name not used yet')
    .option('--moved', 'something else was moved: the camera, the flat, the tube')
    .option('--undo', 'take back the turn noted last')
    .option('--list', 'all turns noted')
    .option('--json', 'the answer as JSON')
    .action(async (words: string[], raw: RawNudge) => nudge(words, raw, effects));
  describeUse(command, {
    examples: [
      ['starplumb nudge A 1/8 cw', 'screw A was turned by an eighth, clockwise'],
      ['starplumb nudge b 45deg ccw', 'the same size, screw B, the other way'],
      ['starplumb nudge --look report', 'without watch: what "check" said of subs taken since'],
      ['starplumb nudge', 'what is known, and which turn comes next'],
    ],
    exits: {
      [EXIT.measured]: 'noted, or told',
      [EXIT.wrongUsage]: 'wrong usage: no such screw, no such turn, no telescope named',
      [EXIT.unreadableInput]: 'the report could not be read',
    },
  });
}

async function nudge(words: readonly string[], raw: RawNudge, effects: Effects): Promise<void> {
  const single = [words.length > 0, raw.moved, raw.undo, raw.list].filter((asked) => asked === true);
  if (single.length > 1) throw new UserError('One at a time: a turn, --moved, --undo or --list', EXIT.wrongUsage);
  const turn = words.length > 0 ? turnFrom(words) : null;
  // A look belongs to the subs before a turn that is noted with it.
  const look = raw.look === undefined ? null : (await readReport(raw.look, '--look', effects)).report;
  const adjusting = await openFor(raw, effects);
  const say = (text: string): void => {
    if (raw.json !== true) effects.out(`${printable(text)}\n`);
  };
  if (look !== null) {
    await adjusting.see({ report: look, first: null, last: null });
    const after = (await adjusting.turns()).at(-1);
    if (after !== undefined && after.at > look.created)
      say(`The report is older than ${turnWords(after)}: kept as what was seen before that.`);
  }
  if (turn !== null) {
    const noted = await adjusting.recordTurn({ ...turn, at: effects.now().toISOString() }, raw.new);
    say(`Noted: ${turnWords(noted)}.`);
    say('Re-centre and refocus, then take a sub: a running watch goes on by itself, else give its report by --look.');
    say(SHORT_CAUTION);
  } else if (raw.moved === true) {
    await adjusting.recordMoved(effects.now().toISOString());
    say('Noted: something else was moved. What the screws do may have to be learnt again.');
  } else if (raw.undo === true) {
    const undone = await adjusting.undo();
    say(undone === null ? 'No turn is noted.' : `Taken back: ${turnWords(undone)}.`);
  }
  const turns = await adjusting.turns();
  if (raw.json === true) effects.out(`${JSON.stringify(await asJson(adjusting, turns), null, 2)}\n`);
  else if (raw.list === true) for (const text of listOf(turns)) say(text);
  else if (turn === null) for (const text of proposalLines(await adjusting.proposal())) say(text);
}

async function openFor({ rig, folder }: RawNudge, effects: Effects): Promise<Adjusting> {
  if (folder === undefined && rig === undefined) return Adjusting.open(await latestTelescope(effects), effects);
  if (folder !== undefined && (await effects.kindOf(folder)) !== 'folder')
    throw new UserError(`--folder ${folder}: no such folder`, EXIT.wrongUsage);
  return Adjusting.open(
    await telescopeFor({ rig, folder: folder === undefined ? '' : realPath(folder) }, effects),
    effects,
  );
}

/** As `watch` names it, whatever links lead there. */
function realPath(folder: string): string {
  try {
    return realpathSync(resolve(folder));
  } catch {
    return resolve(folder);
  }
}

async function asJson(adjusting: Adjusting, turns: readonly Turn[]): Promise<object> {
  return {
    format: 'starplumb-screws',
    version: 1,
    screws: adjusting.screws(),
    turns,
    next: await adjusting.proposal(),
  };
}

function listOf(turns: readonly Turn[]): string[] {
  if (turns.length === 0) return ['No turn is noted.'];
  return turns.map((turn) => `${turn.at.slice(0, 16).replace('T', ' ')} UTC  ${turnWords(turn)}`);
}

function proposalLines(next: NextTurn): string[] {
  const turns = next.status === 'move' || next.status === 'learn';
  return [...nextLines(next), next.because, ...(turns ? [HOW, SHORT_CAUTION] : [])];
}

/** Seen by the hand that turns, from behind the closed cell. */
const HOW =
  'From behind the closed cell, nothing above the mirror: release the lock screws, turn, lock, re-centre, refocus, take a sub.';
