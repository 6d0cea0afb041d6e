import { LEFT_OUT } from '../stars/leftOut.ts';
import type { Report } from './record.ts';
import { escapeHtml as e } from './untrusted.ts';

/** Reasons of another version are told by their name alone. */
const REASON_WORDS: Readonly<Record<string, string>> = LEFT_OUT;

/** Candidates that were left out of all subs together, by reason. */
export function leftOutSection(report: Report): string {
  const totals = new Map<string, number>();
  for (const { leftOut } of report.frames)
    for (const [reason, count] of Object.entries(leftOut)) totals.set(reason, (totals.get(reason) ?? 0) + count);
  const found = report.frames.reduce((sum, frame) => sum + frame.starsFound, 0);
  const fitted = report.frames.reduce((sum, frame) => sum + frame.starsFitted, 0);
  const items = [...totals]
    .toSorted((a, b) => b[1] - a[1])
    .map(([reason, count]) => {
      const why = REASON_WORDS[reason];
      return `<li><strong>${count}</strong> ${e(reason.replaceAll('-', ' '))}${why === undefined ? '' : `: ${e(why)}`}</li>`;
    });
  return `<section aria-labelledby="left-out">
<h2 id="left-out">Stars left out</h2>
<p>${found} candidates were found in all subs, ${fitted} stars measured. No star is left out for being long or skewed: that is what is looked for.</p>
${items.length === 0 ? '' : `<ul>${items.join('\n')}</ul>`}
</section>`;
}
