import { changeCells, sinceWords } from './againstText.ts';
import type { Report } from './record.ts';
import { escapeHtml as e } from './untrusted.ts';

/** The page's section on what changed since an earlier report; empty where none was given. */
export function againstSection({ against }: Report): string {
  if (against === null) return '';
  const rows = against.changes.map((change) => {
    const [what = '', ...cells] = changeCells(change).map(e);
    return `<tr><th scope="row">${what}</th>${cells.map((cell) => `<td>${cell}</td>`).join('')}</tr>`;
  });
  const table =
    rows.length === 0
      ? ''
      : `<div class="wide"><table>
<caption>Then and now, errors 1 sigma</caption>
<thead><tr><th scope="col">Quantity</th><th scope="col">Then</th><th scope="col">Now</th><th scope="col">Change</th><th scope="col">Sigma</th></tr></thead>
<tbody>
${rows.join('\n')}
</tbody>
</table></div>`;
  const caveats =
    against.caveats.length === 0 ? '' : `<ul>${against.caveats.map((text) => `<li>${e(text)}</li>`).join('')}</ul>`;
  return `<section aria-labelledby="since">
<h2 id="since">What changed since ${e(sinceWords(against))}</h2>
<p>${e(against.words)}</p>
${table}
${caveats}
</section>`;
}
