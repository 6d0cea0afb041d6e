import { CAUSE_NAMES, classOf, counted, foundFaults, type TruthClass, topOf, trueFaults } from './judge.ts';
import { directionsOf } from './pulls.ts';
import type { Outcome } from './runCase.ts';
import { percentText, quantile, shareOf } from './statistics.ts';
import type { Target } from './targets.ts';

/** Rows of cells as a Markdown table, its columns lined up for the terminal. */
export function markdown(header: readonly string[], rows: readonly (readonly string[])[]): string {
  const widths = header.map((cell, i) => Math.max(cell.length, ...rows.map((row) => row[i]?.length ?? 0), 3));
  const line = (cells: readonly string[]): string =>
    `| ${cells.map((cell, i) => cell.padEnd(widths[i])).join(' | ')} |`;
  return [line(header), `|${widths.map((w) => '-'.repeat(w + 2)).join('|')}|`, ...rows.map(line)].join('\n');
}

const blankZero = (n: number): string => (n === 0 ? '.' : String(n));

/** Truth down, the record's top cause across. */
export function confusionTable(outcomes: readonly Outcome[]): string {
  const columns = [...CAUSE_NAMES, 'none', 'cannot tell'];
  const row = (name: string, some: readonly Outcome[]): string[] => [
    name,
    String(some.length),
    ...columns.map((column) => blankZero(some.filter((o) => topOf(o) === column).length)),
  ];
  const of = (kind: TruthClass): Outcome[] => outcomes.filter((o) => classOf(o) === kind);
  const rows = [
    row('nothing wrong', of('good')),
    ...CAUSE_NAMES.map((cause) =>
      row(
        cause,
        of('single').filter((o) => trueFaults(o)[0] === cause),
      ),
    ),
    row('several', of('mixture')),
    row('at a tolerance', of('between')),
  ].filter((cells) => cells[1] !== '0');
  return markdown(['drawn', 'cases', ...columns], rows);
}

const VERDICTS = ['good', 'adjust', 'inconclusive'] as const;
const OPTICAL = ['miscollimation', 'sensor-tilt', 'corrector-spacing', 'pinched-optics', 'astigmatism'];

export function verdictTable(outcomes: readonly Outcome[]): string {
  const rows = (
    [
      ['nothing wrong', (o: Outcome) => classOf(o) === 'good'],
      ['only mount, air or focus', (o: Outcome) => classOf(o) === 'single' && !OPTICAL.includes(trueFaults(o)[0])],
      ['one optical fault', (o: Outcome) => classOf(o) === 'single' && OPTICAL.includes(trueFaults(o)[0])],
      [
        'several, at least one optical',
        (o: Outcome) => classOf(o) === 'mixture' && trueFaults(o).some((cause) => OPTICAL.includes(cause)),
      ],
    ] as const
  ).map(([name, holds]) => {
    const some = outcomes.filter(holds);
    return [
      name,
      String(some.length),
      ...VERDICTS.map((verdict) => blankZero(some.filter((o) => o.report.verdict === verdict).length)),
    ];
  });
  return markdown(['drawn', 'cases', ...VERDICTS], rows);
}

/** Figures against targets; beside them those of the quick path where they differ. */
export function targetTable(targets: readonly Target[], quick: readonly Target[]): string {
  const met = (t: Target): string => (t.met === null ? '' : t.met ? 'met' : 'missed');
  const rows = targets.map((t) => {
    const other = quick.find((q) => q.what === t.what);
    const differs = other !== undefined && other.of > 0 && other.found !== t.found;
    return [
      t.what,
      t.target,
      t.found,
      String(t.of),
      met(t),
      differs ? `${other.found}${other.of === t.of ? '' : ` of ${other.of}`}` : '',
    ];
  });
  const differing = rows.some((row) => row[5] !== '');
  const header = ['what', 'target', 'found', 'of', '', 'with --quick'];
  return differing
    ? markdown(header, rows)
    : markdown(
        header.slice(0, 5),
        rows.map((row) => row.slice(0, 5)),
      );
}

/** Found shares of the faults in mixtures, and how often something not drawn was named. */
export function mixtureTable(outcomes: readonly Outcome[]): string {
  const mixed = outcomes.filter((o) => classOf(o) === 'mixture');
  const rows = CAUSE_NAMES.flatMap((cause) => {
    const among = mixed.filter((o) => counted(o).includes(cause));
    const drawn = among.filter((o) => (o.truth.causes[cause].ratio ?? 0) > 1.3);
    const absent = among.filter((o) => (o.truth.causes[cause].ratio ?? 0) < 0.8);
    const found = (o: Outcome): boolean => foundFaults(o).some((f) => f.cause === cause);
    if (drawn.length === 0 && absent.length === 0) return [];
    return [
      [
        cause,
        percentText(shareOf(drawn, found)),
        String(drawn.length),
        percentText(shareOf(absent, found)),
        String(absent.length),
      ],
    ];
  });
  return markdown(['in mixtures', 'named where drawn', 'of', 'named where not', 'of'], rows);
}

export function directionTable(outcomes: readonly Outcome[]): string {
  const all = outcomes.flatMap(directionsOf);
  const rows = CAUSE_NAMES.flatMap((cause) => {
    const own = all.filter((d) => d.cause === cause);
    if (own.length === 0) return [];
    const sure = own.filter((d) => d.significance >= 10).map((d) => d.off);
    const unsure = own.filter((d) => d.significance < 10);
    return [
      [
        cause,
        String(sure.length),
        quantile(sure, 0.5).toFixed(1),
        quantile(sure, 0.95).toFixed(1),
        String(unsure.length),
        percentText(shareOf(unsure, (d) => d.off <= 2 * d.error)),
      ],
    ];
  });
  return markdown(['direction', 'above 10 sigma', 'median deg', '95 % deg', 'below', 'within two errors'], rows);
}

/** Cases worth a look: wrong cause, false fault, a direction or number far off. */
export function missList(outcomes: readonly Outcome[]): string[] {
  return outcomes.flatMap((o) => {
    const real = trueFaults(o);
    const kind = classOf(o);
    const top = topOf(o);
    const bad =
      (kind === 'good' && foundFaults(o).length > 0) ||
      (kind === 'single' && (o.truth.causes[real[0]].ratio ?? 0) > 1.3 && top !== real[0]) ||
      (kind === 'mixture' && !real.some((cause) => cause === top));
    return bad ? [`${describe(o)}\n    record: ${o.report.verdict}, ${findingsLine(o)}`] : [];
  });
}

export function describe(o: Outcome): string {
  const { drawn, truth } = o;
  const { telescope, camera, sky, stars, filter } = drawn.scenario;
  const amounts = CAUSE_NAMES.filter((cause) => (truth.causes[cause].ratio ?? 0) > 0.15)
    .map((cause) => {
      const { ratio, widensPx, directionDeg, identifiable } = truth.causes[cause];
      return `${cause} ${(ratio ?? 0).toFixed(2)} tol (${widensPx.toFixed(2)} px${directionDeg === null ? '' : `, ${directionDeg.toFixed(0)} deg`}${identifiable ? '' : ', not identifiable'})`;
    })
    .join(', ');
  const glass = telescope.corrector === 'none' ? 'bare' : `corrector ${telescope.corrector.magnification}`;
  const foci = drawn.scenario.subs.map((s) => (s.focusUm ?? 0).toFixed(0)).join('/');
  const seeing = drawn.scenario.subs[0]?.seeingArcsec ?? 0;
  const fwhm = o.report.frames[0]?.fwhmPx;
  return `case ${drawn.index} (${classOf(o)}): ${telescope.apertureMm} mm f/${(telescope.primaryFocalLengthMm / telescope.apertureMm).toFixed(2)} ${glass}, ${camera.pixelUm} um ${camera.mosaic ?? 'mono'} ${filter}, ${seeing.toFixed(1)}", FWHM ${fwhm?.toFixed(1) ?? '?'} px, ${stars.count} stars, alt ${sky.altitudeDeg.toFixed(0)}, foci ${foci} um${drawn.bracketed ? ' (bracketed)' : ''}\n    truth: ${amounts || 'nothing above 0.15 tolerances'}`;
}

export function findingsLine(o: Outcome): string {
  return o.report.findings
    .filter((f) => f.status !== 'not-detected')
    .map(
      (f) =>
        `${f.cause} ${f.status} ${f.significance?.toFixed(1) ?? '-'} sigma ${f.widensPx?.toFixed(2) ?? '-'} px${f.directionDeg === null && f.axisDeg === null ? '' : ` ${(f.directionDeg ?? f.axisDeg)?.toFixed(0)} deg`}`,
    )
    .join('; ');
}
