import { join } from 'node:path';
import { prettifyError, ZodError } from 'zod';
import type { Effects } from '../effects.ts';
import { EXIT, UserError } from '../errors.ts';
import type { Frame } from '../frame/frame.ts';
import { plusMinus } from '../report/amounts.ts';
import { sweepKnowledge } from '../report/sweepKnowledge.ts';
import { parseSweep, type SweepRecord } from '../report/sweepRecord.ts';
import { defocusUmAt } from '../sweep/knowledge.ts';

/** Name of the record in a sweep's folder. */
export const SWEEP_FILE = 'sweep.json';

/** Reads the record that an option names: the file, or the folder that holds it. */
export async function loadSweep(
  option: string,
  named: string,
  effects: Pick<Effects, 'readFile' | 'kindOf'>,
): Promise<SweepRecord> {
  const path = (await effects.kindOf(named)) === 'folder' ? join(named, SWEEP_FILE) : named;
  let text: string;
  try {
    text = new TextDecoder('utf-8', { fatal: true }).decode(await effects.readFile(path));
  } catch (cause) {
    throw new UserError(
      `${option} ${path}: cannot be read; expected the ${SWEEP_FILE} of a sweep`,
      EXIT.unreadableInput,
      {
        cause,
      },
    );
  }
  try {
    return parseSweep(JSON.parse(text));
  } catch (cause) {
    const why = cause instanceof ZodError ? `\n${prettifyError(cause)}` : '';
    throw new UserError(`${option} ${path}: not the record of a sweep (${SWEEP_FILE})${why}`, EXIT.unreadableInput, {
      cause,
    });
  }
}

/** What a sweep tells of subs taken at known focuser readings. */
export function sweepNotes(sweep: SweepRecord, frames: readonly Frame[]): string[] {
  const knowledge = sweepKnowledge(sweep);
  const told = frames.flatMap((frame) => {
    const reading = frame.facts.focusPosition?.value;
    const away = reading === undefined ? null : defocusUmAt(knowledge, reading);
    if (away === null) return [];
    const amount = plusMinus({ value: Math.abs(away.value), error: away.error });
    const side = !knowledge.signKnown ? 'off' : away.value > 0 ? 'inside' : 'outside';
    return [`${frame.name} stands ${amount} µm ${side} best focus of the middle, by the sweep of ${sweep.created}.`];
  });
  return told.length > 0
    ? told
    : ['The sweep says nothing of these subs: no focuser reading in their headers, or none in the sweep.'];
}
