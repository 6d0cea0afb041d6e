import type { CheckRow } from '../history/row.ts';
import { fTail, studentWidth } from '../numeric/fTail.ts';
import { fitGroupedVectors, type VectorFit, type VectorSeries } from '../numeric/groupedVectorFit.ts';
import { invertSymmetric, multiply } from '../numeric/linear.ts';
import { chanceOfStep, type StepSearch, searchStep } from '../numeric/stepSearch.ts';
import type { ComaVector } from './comaVector.ts';
import { type Condition, conditionsOf } from './conditions.ts';
import { nightsOf } from './nights.ts';

const WEEK = 7 * 86_400_000;

/** A fitted vector in the frame of the tube, in the trend's unit, with its covariance (1 sigma, as fitted). */
export interface FittedVector {
  readonly x: number;
  readonly y: number;
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
  /** 1 sigma along the vector, widened for the few degrees of freedom (Student). */
  readonly error: number;
  /** Chance that noise alone makes a vector this long. */
  readonly chance: number;
}

/** A step that no adjustment explains. */
export interface Knock {
  readonly step: FittedVector;
  /** Last check before and first check after the most likely place, milliseconds. */
  readonly before: number;
  readonly after: number;
  /** 95 % of the likelihood lies between these checks. */
  readonly earliest: number;
  readonly latest: number;
  /** Chance that a quiet telescope shows such a step anywhere in this era. */
  readonly chance: number;
}

export interface Dependence {
  readonly on: Condition['name'];
  /** For each deg C, or for gravity going from nothing across the tube to all of it. */
  readonly slope: FittedVector;
  readonly range: readonly [number, number];
  /** Length of the change over the range that was met. */
  readonly makes: number;
}

/** What was learnt between two adjustments (or breaks), coma in the tube's frame. */
export interface EraFit {
  /** Change a week; null where there are too few nights. */
  readonly drift: FittedVector | null;
  readonly knocks: readonly Knock[];
  readonly dependences: readonly Dependence[];
  /** Coma that turns with gravity, both halves together: chance that noise alone does it; null if it was not asked. */
  readonly gravityChance: number | null;
  /** Whether drift and temperature went so much together that neither can be told alone. */
  readonly driftOrTemperature: boolean;
  /** At usual conditions at the last check, and how far that is from the first. */
  readonly now: FittedVector;
  readonly change: FittedVector;
  /** Scatter beyond the checks' own errors, of each component. */
  readonly scatterWithinNight: number;
  readonly scatterFromNightToNight: number;
  readonly freedom: number;
  /** Weight 0..1 of each check. */
  readonly weights: Float64Array;
  /** Fitted coma at usual conditions at a time, milliseconds. */
  readonly at: (time: number) => { readonly x: number; readonly y: number };
  /** Draws state now and drift together: 4 numbers and their 4 x 4 covariance, for what comes next. */
  readonly outlook: { readonly values: readonly number[]; readonly covariance: readonly number[] } | null;
}

export interface EraOptions {
  /** Chance of a false knock that is put up with in this era. */
  readonly alpha: number;
}

/** A season raises a false knock with this chance at most, however often it was looked at (see the tests). */
export const FALSE_KNOCK_CHANCE = 0.002;
const LEAST_NIGHTS = 3;
const DRIFT_NIGHTS = 4;
const DRIFT_DAYS = 5;
const MOST_KNOCKS = 6;
/** Where a side of a step has no more nights than this, no single one of them may carry it alone: left out, the chance stays below. */
const FEW_NIGHTS = 6;
const CARRIED_CHANCE = 0.05;
/** Gain of log-likelihood x 2 that a place may lie below the best one. */
const PLACE_DROP = 6;
/** A condition that the others imitate but for this share of its variance is left out. */
const LEAST_OWN_SHARE = 0.04;
/** Drift and temperature correlated more than this are one thing. */
const INSEPARABLE = 0.9;

/** Fits one era: `coma` in the tube's frame, times ascending. Null when there are too few nights. */
export function fitEra(
  checks: readonly CheckRow[],
  times: readonly number[],
  coma: readonly ComaVector[],
  { alpha }: EraOptions,
): EraFit | null {
  const count = checks.length;
  const group = nightsOf(times);
  const nights = count === 0 ? 0 : group[count - 1] + 1;
  if (nights < LEAST_NIGHTS) return null;
  const first = times[0];
  const last = times[count - 1];
  const middle = (first + last) / 2;
  const drifts = nights >= DRIFT_NIGHTS && last - first >= DRIFT_DAYS * 86_400_000;
  const room = Math.floor(nights / 2) - 1 - (drifts ? 1 : 0);
  const weeks = Float64Array.from(times, (time) => (time - middle) / WEEK);
  const conditions = independent(conditionsOf(checks), drifts ? [weeks] : []).slice(0, Math.max(0, room));
  const columns: Float64Array[] = [
    new Float64Array(count).fill(1),
    ...(drifts ? [weeks] : []),
    ...conditions.map((condition) => condition.values),
  ];
  const base = columns.length;
  const values = {
    x: Float64Array.from(coma, (v) => v.x),
    y: Float64Array.from(coma, (v) => v.y),
    noise: Float64Array.from(coma, (v) => v.noise),
    lengthError: Float64Array.from(coma, (v) => v.lengthError),
    group,
  };
  const withSteps = (steps: readonly number[]): VectorSeries => {
    const terms = base + steps.length;
    const design = new Float64Array(count * terms);
    for (let i = 0; i < count; i++) {
      for (let k = 0; k < base; k++) design[i * terms + k] = columns[k][i];
      for (let k = 0; k < steps.length; k++) design[i * terms + base + k] = i >= steps[k] ? 1 : 0;
    }
    return { ...values, design, terms };
  };
  const found = findSteps(withSteps, base, alpha, nights);
  if (found === null) return null;
  const { fit, steps } = found;
  const vector = (weights: readonly (readonly [number, number])[]): FittedVector => combination(fit, weights);
  const stepTerms = steps.map((_, k) => [base + k, 1] as const);
  const now = vector([[0, 1], ...(drifts ? [[1, (last - middle) / WEEK] as const] : []), ...stepTerms]);
  const change = vector([...(drifts ? [[1, (last - first) / WEEK] as const] : []), ...stepTerms]);
  const dependences = conditions.map((condition, k): Dependence => {
    const slope = vector([[base - conditions.length + k, 1]]);
    return {
      on: condition.name,
      slope,
      range: [condition.least, condition.most],
      makes: Math.hypot(slope.x, slope.y) * (condition.most - condition.least),
    };
  });
  const gravity = conditions.flatMap(({ name }, k) => (name === 'temperature' ? [] : [base - conditions.length + k]));
  const warm = conditions.findIndex(({ name }) => name === 'temperature');
  return {
    drift: drifts ? vector([[1, 1]]) : null,
    knocks: steps.map((at, k) => {
      const search = found.searches[k];
      const places = [...search.gain.keys()].filter((i) => search.gain[i] > search.gain[at] - PLACE_DROP);
      return {
        step: vector([[base + k, 1]]),
        before: times[at - 1],
        after: times[at],
        earliest: times[Math.min(at, ...places) - 1],
        latest: times[Math.max(at, ...places)],
        chance: found.chances[k],
      };
    }),
    dependences,
    gravityChance: gravity.length === 0 ? null : jointChance(fit, gravity),
    driftOrTemperature: drifts && warm >= 0 && Math.abs(correlation(weeks, conditions[warm].values)) > INSEPARABLE,
    now,
    change,
    scatterWithinNight: fit.scatterWithin,
    scatterFromNightToNight: fit.scatterBetween,
    freedom: fit.freedom,
    weights: fit.weights,
    at: (time) => {
      const week = drifts ? (time - middle) / WEEK : 0;
      const on = (c: 0 | 1): number =>
        fit.parameters[c] +
        (drifts ? week * fit.parameters[2 + c] : 0) +
        steps.reduce((sum, at, k) => sum + (time >= times[at] ? fit.parameters[2 * (base + k) + c] : 0), 0);
      return { x: on(0), y: on(1) };
    },
    outlook: drifts ? jointOf(fit, [[[0, 1], [1, (last - middle) / WEEK], ...stepTerms], [[1, 1]]]) : null,
  };
}

interface FoundSteps {
  readonly fit: VectorFit;
  readonly steps: readonly number[];
  readonly chances: readonly number[];
  readonly searches: readonly StepSearch[];
}

/** The most likely step, then the next with that one in the fit, as long as each is unlikely to be noise. */
function findSteps(
  withSteps: (steps: readonly number[]) => VectorSeries,
  base: number,
  alpha: number,
  nights: number,
): FoundSteps | null {
  const series = withSteps([]);
  const plain = fitGroupedVectors(series);
  if (plain === null) return null;
  let best: FoundSteps = { fit: plain, steps: [], chances: [], searches: [] };
  while (best.steps.length < MOST_KNOCKS && base + best.steps.length + 1 < nights) {
    const search = searchStep(withSteps(best.steps), best.fit, best.steps);
    if (search === null) break;
    const next = accept(withSteps, base, [...best.steps, search.at], [...best.searches, search], alpha);
    if (next === null) break;
    best = next;
  }
  return best.steps.length > 1 ? settled(withSteps, base, best, alpha) : best;
}

/** Null unless the last step is significant in the fit that holds all. */
function accept(
  withSteps: (steps: readonly number[]) => VectorSeries,
  base: number,
  steps: readonly number[],
  searches: readonly StepSearch[],
  alpha: number,
): FoundSteps | null {
  const fit = fitGroupedVectors(withSteps(steps));
  if (fit === null) return null;
  const chances = steps.map((_, k) => {
    const wald = waldOf(fit, base + k);
    return chanceOfStep(wald, fit.freedom, searches[k].variation);
  });
  if (!chances.every((chance) => chance < alpha)) return null;
  const latest = steps.length - 1;
  if (carriedByOneNight(withSteps(steps), base, steps, latest, searches[latest].variation)) return null;
  return { fit, steps, chances, searches };
}

/** Whether a step vanishes when one night next to it is left out: then it was that night, and no step. */
function carriedByOneNight(
  series: VectorSeries,
  base: number,
  steps: readonly number[],
  k: number,
  variation: number,
): boolean {
  const { group } = series;
  const at = steps[k];
  const start = Math.max(0, ...steps.filter((other) => other < at));
  const end = Math.min(group.length, ...steps.filter((other) => other > at));
  const sides = [
    [start, at - 1],
    [at, end - 1],
  ].filter(([from, to]) => group[to] - group[from] < FEW_NIGHTS);
  return sides.some(([from, to]) => {
    for (let night = group[from]; night <= group[to]; night++) {
      const fit = fitGroupedVectors(without(series, night));
      if (fit === null || chanceOfStep(waldOf(fit, base + k), fit.freedom, variation) > CARRIED_CHANCE) return true;
    }
    return false;
  });
}

function without(series: VectorSeries, night: number): VectorSeries {
  const { terms, design } = series;
  const kept = Array.from(series.group).flatMap((group, i) => (group === night ? [] : [i]));
  const pick = (values: ArrayLike<number>): Float64Array => Float64Array.from(kept, (i) => values[i]);
  return {
    terms,
    design: Float64Array.from(
      { length: kept.length * terms },
      (_, j) => design[kept[Math.floor(j / terms)] * terms + (j % terms)],
    ),
    x: pick(series.x),
    y: pick(series.y),
    noise: pick(series.noise),
    lengthError: pick(series.lengthError),
    group: pick(series.group).map((g) => (g > night ? g - 1 : g)),
  };
}

/** Looks for each step's place once more with the others known. */
function settled(
  withSteps: (steps: readonly number[]) => VectorSeries,
  base: number,
  found: FoundSteps,
  alpha: number,
): FoundSteps {
  let best = found;
  found.steps.forEach((_, k) => {
    const others = best.steps.filter((_, j) => j !== k);
    const fit = fitGroupedVectors(withSteps(others));
    const search = fit && searchStep(withSteps(others), fit, others);
    if (!search) return;
    const steps = best.steps.map((at, j) => (j === k ? search.at : at));
    const searches = best.searches.map((old, j) => (j === k ? search : old));
    best = accept(withSteps, base, steps, searches, alpha) ?? best;
  });
  return best;
}

/** Conditions that are not imitated by time and the ones before them. */
function independent(conditions: readonly Condition[], others: readonly Float64Array[]): Condition[] {
  const kept: Condition[] = [];
  const basis = others.map((column) => centredUnit(column)).filter((column) => column !== null);
  for (const condition of conditions) {
    const own = centredUnit(condition.values);
    if (own === null) continue;
    for (const column of basis) {
      const share = dot(own, column);
      for (let i = 0; i < own.length; i++) own[i] -= share * column[i];
    }
    if (dot(own, own) < LEAST_OWN_SHARE) continue;
    const unit = centredUnit(own);
    if (unit === null) continue;
    basis.push(unit);
    kept.push(condition);
  }
  return kept;
}

function centredUnit(values: Float64Array): Float64Array | null {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  const out = values.map((value) => value - mean);
  const length = Math.sqrt(dot(out, out));
  return length > 1e-12 ? out.map((value) => value / length) : null;
}

function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}

function correlation(a: Float64Array, b: Float64Array): number {
  const [u, v] = [centredUnit(a), centredUnit(b)];
  return u === null || v === null ? 0 : dot(u, v);
}

function waldOf(fit: VectorFit, k: number): number {
  const { parameters, covariance } = fit;
  const n = parameters.length;
  const at = 2 * k;
  return quadratic(
    parameters[at],
    parameters[at + 1],
    covariance[at * n + at],
    covariance[at * n + at + 1],
    covariance[(at + 1) * n + at + 1],
  );
}

/** v' C^-1 v. */
function quadratic(x: number, y: number, xx: number, xy: number, yy: number): number {
  const det = xx * yy - xy * xy;
  return det > 0 ? (yy * x * x - 2 * xy * x * y + xx * y * y) / det : 0;
}

/** sum of weight x parameter vector, with its covariance. */
function combination(fit: VectorFit, weights: readonly (readonly [number, number])[]): FittedVector {
  const { values, covariance } = jointOf(fit, [weights]);
  const [x = 0, y = 0] = values;
  const [xx = 0, xy = 0, , yy = 0] = covariance;
  const length = Math.hypot(x, y);
  const along = length > 0 ? (xx * x * x + 2 * xy * x * y + yy * y * y) / length ** 2 : (xx + yy) / 2;
  return {
    x,
    y,
    xx,
    xy,
    yy,
    error: Math.sqrt(along) * studentWidth(fit.freedom),
    chance: length === 0 ? 1 : fTail(quadratic(x, y, xx, xy, yy) / 2, 2, fit.freedom),
  };
}

/** Several such sums at once: 2 m values and their 2 m x 2 m covariance. */
function jointOf(
  fit: VectorFit,
  sums: readonly (readonly (readonly [number, number])[])[],
): { values: number[]; covariance: number[] } {
  const { parameters, covariance } = fit;
  const n = parameters.length;
  const rows = sums.flatMap((weights) => [0, 1].map((c) => weights.map(([k, weight]) => [2 * k + c, weight] as const)));
  return {
    values: rows.map((row) => row.reduce((sum, [k, weight]) => sum + weight * parameters[k], 0)),
    covariance: rows.flatMap((a) =>
      rows.map((b) =>
        a.reduce((sum, [k, w]) => sum + b.reduce((inner, [l, v]) => inner + w * v * covariance[k * n + l], 0), 0),
      ),
    ),
  };
}

/** F test of several parameter vectors together. */
function jointChance(fit: VectorFit, terms: readonly number[]): number {
  const { values, covariance } = jointOf(
    fit,
    terms.map((k) => [[k, 1]]),
  );
  const m = values.length;
  const inverse = invertSymmetric(covariance, m);
  if (inverse === null) return 1;
  const solved = multiply(inverse, values, m);
  const wald = values.reduce((sum, value, j) => sum + value * solved[j], 0);
  return fTail(wald / m, m, fit.freedom);
}
