import { type Effects, wantsColour } from '../effects.ts';
import type { CheckRow, EventRow } from '../history/row.ts';
import { renderTrendHtml } from '../report/trendHtml.ts';
import { renderTrendText } from '../report/trendText.ts';
import { printable } from '../report/untrusted.ts';
import { trendOf } from '../stability/trend.ts';
import { writeWhole } from './writeWhole.ts';

export interface TrendOptions {
  readonly rig?: string;
  /** A page is written there. */
  readonly out?: string;
}

const TEXT_WIDTH = 80;
const WIDEST_TEXT = 110;

/** Whether the collimation holds, in the terminal and as a page. Checks oldest first, at least one. */
export async function showTrend(
  checks: readonly CheckRow[],
  events: readonly EventRow[],
  options: TrendOptions,
  effects: Effects,
): Promise<void> {
  const rig = checks.at(-1)?.rig ?? null;
  const own = checks.filter((check) => check.rig === rig);
  const others = new Set(checks.filter((check) => check.rig !== rig).map((check) => check.rig ?? '(no rig)'));
  if (others.size > 0)
    effects.err(
      `Only checks of ${printable(rig === null ? 'no rig' : `the rig ${rig}`)} (the last one's) are trended; --rig chooses ${printable([...others].sort().join(', '))}.\n`,
    );
  const trend = trendOf(
    own,
    events.filter((event) => event.rig === null || event.rig === rig),
  );
  if (options.out !== undefined)
    await writeWhole(options.out, renderTrendHtml(trend, { created: effects.now().toISOString() }), effects);
  const width = Math.min(effects.columns ?? TEXT_WIDTH, WIDEST_TEXT);
  effects.out(renderTrendText(trend, { width, colour: wantsColour(effects) }));
  if (options.out !== undefined) effects.out(`Page         ${printable(options.out)}\n`);
}
