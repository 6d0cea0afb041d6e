import { type Effects, wantsColour } from '../effects.ts';
import { UserError } from '../errors.ts';
import type { CheckRow, EventRow } from '../history/row.ts';
import type { TrendContext } from '../report/trendCompose.ts';
import { renderTrendHtml } from '../report/trendHtml.ts';
import { renderTrendText } from '../report/trendText.ts';
import { printable } from '../report/untrusted.ts';
import { trendOf } from '../stability/trend.ts';
import { readRig, rigNames } from './rigFolder.ts';
import { writeWhole } from './writeWhole.ts';

export interface TrendOptions {
  readonly rig?: string;
  /** A page is written there. */
  readonly out?: string;
  readonly json?: boolean;
}

const TEXT_WIDTH = 80;
const WIDEST_TEXT = 110;

/** Whether the collimation holds, in the terminal or for programs, and as a page. Checks oldest first. */
export async function showTrend(
  checks: readonly CheckRow[],
  events: readonly EventRow[],
  options: TrendOptions,
  tool: TrendContext['tool'],
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
    rig === null ? undefined : await wishOf(rig, effects),
  );
  if (options.out !== undefined)
    await writeWhole(options.out, renderTrendHtml(trend, { created: effects.now().toISOString() }), effects);
  if (options.json === true) {
    const { composeTrend } = await import('../report/trendCompose.ts');
    const record = composeTrend(trend, { created: effects.now().toISOString(), tool });
    effects.out(`${JSON.stringify(record, null, 1)}\n`);
    return;
  }
  const width = Math.min(effects.columns ?? TEXT_WIDTH, WIDEST_TEXT);
  effects.out(renderTrendText(trend, { width, colour: wantsColour(effects) }));
  if (options.out !== undefined) effects.out(`Page         ${printable(options.out)}\n`);
}

/** The tilt of the primary that the owner of a kept rig puts up with; a rig that is gone or broken wishes nothing. */
async function wishOf(rig: string, effects: Effects): Promise<number | undefined> {
  if (!(await rigNames(effects)).includes(rig)) return undefined;
  try {
    return (await readRig(rig, effects)).values.tolerance?.mirrorTiltArcmin;
  } catch (error) {
    if (!(error instanceof UserError)) throw error;
    effects.err(`${printable(error.message)}\n`);
    return undefined;
  }
}
