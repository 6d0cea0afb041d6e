import { classOf, falseFaults, isClear, topOf, trueFaults } from './judge.ts';
import type { Precision } from './precision.ts';
import { directionsOf, NUMBERS, pullsOf } from './pulls.ts';
import type { Outcome } from './runCase.ts';
import { percent, percentText, quantile, type Share, shareOf } from './statistics.ts';

/** One figure against its target. */
export interface Target {
  readonly what: string;
  readonly target: string;
  readonly found: string;
  /** Cases, directions or numbers behind it. */
  readonly of: number;
  /** Null where there is nothing to judge by. */
  readonly met: boolean | null;
}

/** Subs this far apart in focus tell defocus from seeing, um. */
const APART_UM = 40;

const inBand = (s: Share, from: number, to: number): boolean | null =>
  s.of === 0 ? null : percent(s) >= from && percent(s) <= to;

/** The same outcomes as `check --quick` tells them. */
export const quickOutcomes = (outcomes: readonly Outcome[]): Outcome[] =>
  outcomes.map((outcome) => ({ ...outcome, report: outcome.quick, explained: null }));

export function targetsOf(outcomes: readonly Outcome[], precision: readonly Precision[]): Target[] {
  const clear = outcomes.filter(isClear);
  const right = shareOf(clear, (o) => topOf(o) === trueFaults(o)[0]);
  const wrong = shareOf(clear, (o) => !['none', 'cannot tell', trueFaults(o)[0]].includes(topOf(o)));
  const good = outcomes.filter((o) => classOf(o) === 'good');
  const falsely = shareOf(good, (o) => falseFaults(o).length > 0);
  const directions = outcomes.flatMap(directionsOf);
  const sure = directions.filter((d) => d.significance >= 10).map((d) => d.off);
  const unsure = shareOf(
    directions.filter((d) => d.significance < 10),
    (d) => d.off <= 2 * d.error,
  );
  const percentTarget = (what: string, target: string, s: Share, from: number, to: number): Target => ({
    what,
    target,
    found: percentText(s),
    of: s.of,
    met: inBand(s, from, to),
  });
  const limit = (what: string, target: string, value: number, most: number, unit: string, of: number): Target => ({
    what,
    target,
    found: of === 0 ? 'none' : `${value.toFixed(2)}${unit}`,
    of,
    met: of === 0 ? null : value < most,
  });
  return [
    percentTarget('right cause on top, single faults above 1.3 tolerances and 0.3 px', '>= 95 %', right, 95, 100),
    percentTarget('another cause on top of these', '(told)', wrong, 0, 5),
    percentTarget('false fault where nothing is wrong', '< 2 %', falsely, 0, 2),
    limit('direction above 10 sigma, median', '< 4 deg', quantile(sure, 0.5), 4, ' deg', sure.length),
    limit('direction above 10 sigma, 95 % of them', '< 12 deg', quantile(sure, 0.95), 12, ' deg', sure.length),
    percentTarget('direction below 10 sigma, within two errors', '90-98 %', unsure, 90, 98),
    ...tiltTargets(outcomes, percentTarget),
    nodeTarget(outcomes, limit),
    ...NUMBERS.map((name) => {
      const pulls = outcomes.flatMap(pullsOf).filter((p) => p.name === name);
      return percentTarget(
        `68 % error of ${name}`,
        '60-76 %',
        shareOf(pulls, (p) => Math.abs(p.value - p.truth) <= p.error),
        60,
        76,
      );
    }),
    ...precisionTargets(precision, limit),
    ...(['size', 'elongation'] as const).map((name) => explainedTarget(outcomes, name)),
  ];
}

function tiltTargets(
  outcomes: readonly Outcome[],
  percentTarget: (what: string, target: string, s: Share, from: number, to: number) => Target,
): Target[] {
  const told = outcomes.flatMap((o) => {
    const tilt = o.report.field.coma.mirrorTilt;
    return tilt === null ? [] : [{ tilt, truth: o.truth, real: o.truth.mirrorTiltArcmin }];
  });
  const apart = told.filter(
    ({ truth }) => truth.focusSpreadUm >= APART_UM && (truth.causes.miscollimation.ratio ?? 0) >= 1,
  );
  const within = shareOf(apart, ({ tilt, real }) => Math.abs(tilt.arcmin - real) <= 0.25 * real);
  const holds = ({ tilt, real }: (typeof told)[number]): boolean =>
    real >= tilt.arcmin - tilt.minus && real <= tilt.arcmin + tilt.plus;
  const others = told.filter(
    ({ truth }) => truth.focusSpreadUm < APART_UM && (truth.causes.miscollimation.ratio ?? 0) >= 0.1,
  );
  const pick = (bare: boolean): Share => {
    const some = others.filter(({ truth }) => truth.bare === bare);
    return shareOf(some, holds);
  };
  return [
    percentTarget('primary tilt within 25 %, foci 40 um or more apart', '>= 90 %', within, 90, 100),
    percentTarget('interval of the primary tilt holds it, one focus, corrected', '60-76 %', pick(false), 60, 76),
    percentTarget('the same, bare mirror', '60-76 %', pick(true), 60, 76),
  ];
}

function nodeTarget(
  outcomes: readonly Outcome[],
  limit: (what: string, target: string, value: number, most: number, unit: string, of: number) => Target,
): Target {
  const off = outcomes.flatMap(({ report, truth }) => {
    const node = report.field.coma.node;
    return node === null || truth.nodeMm === null
      ? []
      : [Math.hypot(node.xMm - truth.nodeMm.x, node.yMm - truth.nodeMm.y)];
  });
  return limit('coma node of a bare mirror, median', '< 0.1 mm', quantile(off, 0.5), 0.1, ' mm', off.length);
}

/** What the whole-field model explains of how stars differ over the field, on stars it was not fitted to. */
function explainedTarget(outcomes: readonly Outcome[], name: 'size' | 'elongation'): Target {
  const shares = outcomes.flatMap(({ explained }) => explained?.[name] ?? []).map((value) => 100 * value);
  const middle = quantile(shares, 0.5);
  return {
    what: `variance of ${name} over the field explained on held-out stars, median`,
    target: '> 95 %',
    found:
      shares.length === 0 ? 'none' : `${middle.toFixed(1)} % (nine in ten above ${quantile(shares, 0.1).toFixed(0)} %)`,
    of: shares.length,
    met: shares.length === 0 ? null : middle > 95,
  };
}

function precisionTargets(
  precision: readonly Precision[],
  limit: (what: string, target: string, value: number, most: number, unit: string, of: number) => Target,
): Target[] {
  if (precision.length === 0) return [];
  const n = precision.length;
  const quoted = precision.reduce((sum, p) => sum + p.errorArcsec, 0) / n;
  const mean = {
    x: precision.reduce((sum, p) => sum + p.arcsec.x, 0) / n,
    y: precision.reduce((sum, p) => sum + p.arcsec.y, 0) / n,
  };
  const scatter = Math.sqrt(
    precision.reduce((sum, p) => sum + (p.arcsec.x - mean.x) ** 2 + (p.arcsec.y - mean.y) ** 2, 0) / (2 * (n - 1)),
  );
  const what = 'f/4, three subs of 500 stars at 2.5": error of coma as mirror tilt';
  return [
    limit(`${what}, quoted`, '<= 10"', quoted, 10, '"', n),
    ...(n > 2 ? [limit(`${what}, scatter of repeats`, '<= 10"', scatter, 10, '"', n)] : []),
  ];
}
