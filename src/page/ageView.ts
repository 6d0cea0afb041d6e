import type { LiveState } from '../live/liveState.ts';
import { byId, setText } from './dom.ts';

/** How old the newest sub is, and what goes on now; `now` is the measuring machine's clock, ms. */
export function drawAge(state: LiveState, now: number): void {
  const { last } = state;
  const age = last === null ? null : Math.max(0, (now - Date.parse(last.at)) / 1000);
  setText('age', age === null ? 'No sub yet' : `Newest sub ${span(age)} ago`);
  const interval = last === null ? null : intervalOf(last);
  setText('exposing', goingOn(state, age, interval));
  const share = age === null || interval === null || interval <= 0 ? 0 : Math.min(1, age / interval);
  byId('course-done').style.width = `${(100 * share).toFixed(1)}%`;
}

/** Subs of a burst come one upon another, but none can come sooner than it was exposed. */
function intervalOf({ gapS, exposureS }: NonNullable<LiveState['last']>): number | null {
  return gapS === null && exposureS === null ? null : Math.max(gapS ?? 0, exposureS ?? 0, 1);
}

function goingOn(state: LiveState, age: number | null, interval: number | null): string {
  if (state.waiting > 0) return state.waiting === 1 ? 'measuring …' : `measuring, ${state.waiting} subs to go`;
  if (state.arriving !== null)
    return state.arriving.share === null
      ? 'a sub is being written'
      : `a sub is being written, ${(100 * state.arriving.share).toFixed(0)} %`;
  if (age === null || interval === null) return 'waiting for a sub';
  const left = interval - age;
  if (left > 1.5) return `the next is still exposing, about ${span(left)} to go`;
  if (age < 2.5 * interval + 15) return 'the next is due';
  return `they came every ${span(interval)}: is the camera still running?`;
}

/** '42 s', '6 min', '3 h'. */
export function span(seconds: number): string {
  if (seconds < 90) return `${seconds.toFixed(0)} s`;
  if (seconds < 5400) return `${(seconds / 60).toFixed(0)} min`;
  return `${(seconds / 3600).toFixed(0)} h`;
}
