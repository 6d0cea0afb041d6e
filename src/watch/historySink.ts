import type { Effects } from '../effects.ts';
import type { HistoryEffects } from '../history/openHistory.ts';
import type { History } from '../history/store.ts';
import type { TrendPoint } from '../live/liveState.ts';
import type { HistorySink } from './watch.ts';

/** As much as the page shows. */
const SHOWN = 120;

/** Finished sets go into the history of all checks; opened for each, so that other processes may write as well. */
export function historySink(file: string | undefined, effects: Effects & HistoryEffects): HistorySink {
  const using = async <T>(work: (history: History) => T): Promise<T> => {
    const { openHistory } = await import('../history/openHistory.ts');
    const history = await openHistory(effects, file);
    try {
      return work(history);
    } finally {
      history.close();
    }
  };
  return {
    keep: (report) =>
      using((history) => {
        history.add(report);
      }),
    trend: () => using(trendOf),
  };
}

function trendOf(history: History): TrendPoint[] {
  const adjusted = history.events().filter((event) => event.kind === 'adjustment');
  let before = '';
  return history.latest(SHOWN).flatMap((check) => {
    const since = before;
    before = check.time;
    if (check.mirrorTilt === null) return [];
    const { arcmin, minus, plus } = check.mirrorTilt;
    return [
      {
        at: check.time,
        tiltArcmin: arcmin,
        errorArcmin: Math.max(minus, plus),
        adjusted: adjusted.some(({ time }) => time > since && time <= check.time),
      },
    ];
  });
}
