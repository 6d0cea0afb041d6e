import type { HistoryEffects } from '../history/openHistory.ts';
import type { Report } from '../report/record.ts';
import { printable } from '../report/untrusted.ts';

/**
 * Keeps a report in the history and says how in a few words. Trouble with the history is no trouble with the measurement:
 * it is said on standard error, and null is returned.
 */
export async function keepInHistory(
  report: Report,
  file: string | undefined,
  effects: HistoryEffects,
): Promise<string | null> {
  // Loaded here, so that a run without history does without it.
  const { openHistory } = await import('../history/openHistory.ts');
  const { HistoryTrouble } = await import('../history/trouble.ts');
  try {
    const history = await openHistory(effects, file);
    try {
      const { id, replaced } = history.add(report);
      return replaced ? `check ${id}, measured again: it replaces what was kept` : `check ${id}`;
    } finally {
      history.close();
    }
  } catch (error) {
    if (!(error instanceof HistoryTrouble)) throw error;
    effects.err(`This check is not in the history. ${printable(error.message)}\n`);
    return null;
  }
}
