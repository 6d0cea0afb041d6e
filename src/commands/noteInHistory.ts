import type { HistoryEffects } from '../history/openHistory.ts';
import type { EventRow } from '../history/row.ts';
import { printable } from '../report/untrusted.ts';

/** Notes an event in the history; trouble with it is said on standard error and stops nothing. */
export async function noteInHistory(
  event: Omit<EventRow, 'id'>,
  file: string | undefined,
  effects: HistoryEffects,
): Promise<void> {
  const { openHistory } = await import('../history/openHistory.ts');
  const { HistoryTrouble } = await import('../history/trouble.ts');
  try {
    const history = await openHistory(effects, file);
    try {
      history.addEvent(event);
    } finally {
      history.close();
    }
  } catch (error) {
    if (!(error instanceof HistoryTrouble)) throw error;
    effects.err(`This run is not noted in the history. ${printable(error.message)}\n`);
  }
}
