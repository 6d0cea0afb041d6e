import type { Dependence, EraFit, FittedVector, Knock } from '../stability/eraTrend.ts';
import type { ScalarTrend } from '../stability/scalarTrend.ts';
import type { Trend } from '../stability/trend.ts';
import { TREND_FORMAT, TREND_VERSION, type TrendRecord } from './trendRecord.ts';
import { trendWords } from './trendWords.ts';

export interface TrendContext {
  /** ISO 8601, UTC. */
  readonly created: string;
  readonly tool: { readonly name: string; readonly version: string };
}

/** The trend for other programs. */
export function composeTrend(trend: Trend, { created, tool }: TrendContext): TrendRecord {
  const words = trendWords(trend);
  const { sensorTilt, curvature, fwhm, elongation, outlook } = trend;
  return {
    format: TREND_FORMAT,
    version: TREND_VERSION,
    created,
    tool,
    rig: trend.rig,
    state: words.state,
    headline: words.headline,
    said: [...words.items],
    coma: { unit: trend.unit, tolerance: trend.tolerance, toleranceFrom: trend.toleranceFrom },
    checks: trend.points.map(({ id, time, coma, length, stretch, era, weight }, i) => ({
      id,
      time: iso(time),
      coma,
      length,
      stretch,
      era,
      weight,
      sensorTiltUm: measuredAt(sensorTilt, i),
      curvatureUm: measuredAt(curvature, i),
      fwhm: measuredAt(fwhm, i),
      elongation: measuredAt(elongation, i),
    })),
    events: trend.events.map(({ id, time, rig, kind, text }) => ({ id, time, rig, kind, text })),
    stretches: trend.stretches.map(({ first, last, why }) => ({ first: iso(first), last: iso(last), why })),
    eras: trend.eras.map(({ stretch, first, last, checks, after, fit }) => ({
      stretch,
      first: iso(first),
      last: iso(last),
      checks,
      afterEvent: after?.id ?? null,
      fit: fit && fitRecord(fit),
    })),
    lastAdjustmentEvent: trend.lastAdjustment?.id ?? null,
    outlook: outlook && {
      kind: outlook.kind,
      from: outlook.kind === 'leaves' ? iso(outlook.from) : null,
      to: outlook.kind === 'leaves' ? iso(outlook.to) : null,
      why: outlook.kind === 'open' ? outlook.why : null,
    },
    sensorTiltUm: course(sensorTilt),
    curvatureUm: course(curvature),
    fwhm: {
      unit: trend.fwhmUnit,
      ...course(fwhm),
      floor: fwhm.floor.map(({ time, value }) => ({ time: iso(time), value })),
    },
    elongation: course(elongation),
    notes: [...words.notes],
  };
}

const iso = (time: number): string => new Date(time).toISOString();

function measuredAt({ points }: ScalarTrend, i: number): { value: number; error: number } | null {
  const { value, error } = points[i];
  return value === null || error === null ? null : { value, error };
}

function course({ nights, usual, perWeek }: ScalarTrend): TrendRecord['elongation'] {
  return {
    nights,
    usual,
    perWeek: perWeek && { value: perWeek.slope, low: perWeek.low, high: perWeek.high },
  };
}

type FitRecord = NonNullable<TrendRecord['eras'][number]['fit']>;

function fitRecord(fit: EraFit): FitRecord {
  const { gravityChance, driftOrTemperature, scatterWithinNight, scatterFromNightToNight, freedom } = fit;
  return {
    driftPerWeek: fit.drift && vector(fit.drift),
    jumps: fit.knocks.map(jump),
    dependences: fit.dependences.map(dependence),
    gravityChance,
    driftOrTemperature,
    now: vector(fit.now),
    change: vector(fit.change),
    scatterWithinNight,
    scatterFromNightToNight,
    freedom,
  };
}

function vector({ x, y, error, chance }: FittedVector): FitRecord['now'] {
  const directionDeg = ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360;
  return { x, y, length: Math.hypot(x, y), directionDeg, error, chance };
}

function jump({ step, before, after, earliest, latest, chance }: Knock): FitRecord['jumps'][number] {
  const times = { before: iso(before), after: iso(after), earliest: iso(earliest), latest: iso(latest) };
  return { step: vector(step), ...times, chance };
}

function dependence({ on, slope, range: [from, to], makes }: Dependence): FitRecord['dependences'][number] {
  return { on, slope: vector(slope), from, to, makes };
}
