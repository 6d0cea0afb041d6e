import { COMA_TOLERANCE_UM, tiltForComa } from '../diagnosis/tolerances.ts';
import type { CheckRow, EventRow } from '../history/row.ts';
import { median } from '../numeric/statistics.ts';
import { type ComaUnit, type ComaVector, comaUnitOf, comaVectorsOf } from './comaVector.ts';
import { type EraFit, FALSE_KNOCK_CHANCE, fitEra } from './eraTrend.ts';
import { type Outlook, outlookOf } from './outlook.ts';
import { type ScalarPoint, type ScalarTrend, scalarTrend } from './scalarTrend.ts';
import { type StretchStart, stretchesOf, turned } from './stretches.ts';

/** One check as the trend shows it; times in milliseconds. */
export interface TrendPoint {
  readonly id: number;
  readonly time: number;
  /** Coma as on the screen of the stretch's last check; null where the amount or the camera's angle is not known. */
  readonly coma: ComaVector | null;
  /** Length of coma and its error, whatever the camera's angle. */
  readonly length: { readonly value: number; readonly error: number } | null;
  readonly stretch: number | null;
  readonly era: number | null;
  /** 0..1: below 1 where it strays from its fellows. */
  readonly weight: number;
}

/** Checks between two adjustments or breaks that can be compared as vectors. */
export interface Era {
  readonly stretch: number;
  readonly first: number;
  readonly last: number;
  readonly checks: number;
  /** The adjustment before it; null at the beginning or after a break. */
  readonly after: EventRow | null;
  /** Null with too few nights. */
  readonly fit: EraFit | null;
}

export interface Stretch {
  readonly first: number;
  readonly last: number;
  readonly why: StretchStart['why'];
}

export interface Trend {
  readonly rig: string | null;
  readonly unit: ComaUnit;
  /** Of the primary in the trend's unit: the trade's, or what the rig's owner wishes; null where it cannot be told. */
  readonly tolerance: number | null;
  readonly toleranceFrom: 'trade' | 'rig' | null;
  readonly points: readonly TrendPoint[];
  readonly events: readonly EventRow[];
  readonly stretches: readonly Stretch[];
  readonly eras: readonly Era[];
  /** Of the last era, where the tolerance is known. */
  readonly outlook: Outlook | null;
  readonly lastAdjustment: EventRow | null;
  /** 'arcsec' unless some check does not know its scale. */
  readonly fwhmUnit: 'arcsec' | 'px';
  readonly sensorTilt: ScalarTrend;
  readonly curvature: ScalarTrend;
  readonly fwhm: ScalarTrend;
  readonly elongation: ScalarTrend;
}

/**
 * What weeks of checks of one rig say together. Pure; the same rows give the same trend. Order of the rows does not matter.
 * `wishArcmin`: tilt of the primary that the rig's owner puts up with; it counts where the trend is in arcminutes.
 */
export function trendOf(rows: readonly CheckRow[], marks: readonly EventRow[], wishArcmin?: number): Trend {
  const timed = rows.map((check) => ({ check, time: Date.parse(check.time) })).sort((a, b) => a.time - b.time);
  const checks = timed.map(({ check }) => check);
  const times = timed.map(({ time }) => time);
  const events = [...marks].sort((a, b) => Date.parse(a.time) - Date.parse(b.time));
  const unit = comaUnitOf(checks);
  const vectors = comaVectorsOf(checks, unit);
  const { placed, starts } = stretchesOf(checks);
  const inTube = vectors.map((v, i) => (v === null || placed[i].stretch === null ? null : turned(v, placed[i].turn)));
  const adjustments = events.filter(({ kind }) => kind === 'adjustment');
  const parts = partsOf(times, inTube, placed, adjustments);
  const alpha = FALSE_KNOCK_CHANCE / Math.max(1, parts.length);
  const era: (number | null)[] = checks.map(() => null);
  const weight = new Float64Array(checks.length).fill(1);
  const eras = parts.map((part, e): Era => {
    const own = part.members.map((i) => times[i]);
    const fit = fitEra(
      part.members.map((i) => checks[i]),
      own,
      part.members.flatMap((i) => inTube[i] ?? []),
      { alpha },
    );
    part.members.forEach((i, k) => {
      era[i] = e;
      weight[i] = fit?.weights[k] ?? 1;
    });
    const { stretch, after } = part;
    return { stretch, after, first: own[0], last: own[own.length - 1], checks: own.length, fit };
  });
  const ends = new Map<number, number>();
  placed.forEach(({ stretch }, i) => {
    if (stretch !== null) ends.set(stretch, times[i]);
  });
  const wished = unit === 'arcmin' && wishArcmin !== undefined;
  const tolerance = wished ? wishArcmin : toleranceOf(checks, unit);
  const lastEra = eras.at(-1);
  const lastAdjustment = adjustments.at(-1) ?? null;
  const since = lastAdjustment === null ? -Infinity : Date.parse(lastAdjustment.time);
  const scalar = (
    pick: (check: CheckRow) => { readonly value: number; readonly error: number } | null,
    summary: 'median' | 'least' = 'median',
  ): ScalarTrend =>
    scalarTrend(
      checks.map((check, i): ScalarPoint => {
        const measured = pick(check);
        return { time: times[i], value: measured?.value ?? null, error: measured?.error ?? null };
      }),
      summary,
      since,
    );
  const fwhmUnit = checks.every((check) => check.fwhmFloorPx === null || check.fwhmFloorArcsec !== null)
    ? 'arcsec'
    : 'px';
  return {
    rig: checks.at(-1)?.rig ?? null,
    unit,
    tolerance,
    toleranceFrom: tolerance === null ? null : wished ? 'rig' : 'trade',
    points: checks.map((check, i) => ({
      id: check.id,
      time: times[i],
      coma: inTube[i],
      length: lengthOf(vectors[i]),
      stretch: placed[i].stretch,
      era: era[i],
      weight: weight[i],
    })),
    events,
    stretches: starts.map(({ first, why }, s) => ({ first: times[first], last: ends.get(s) ?? times[first], why })),
    eras,
    outlook: tolerance !== null && lastEra?.fit ? outlookOf(lastEra.fit, lastEra.first, lastEra.last, tolerance) : null,
    lastAdjustment,
    fwhmUnit,
    sensorTilt: scalar((check) => check.sensorTilt?.um ?? null),
    curvature: scalar((check) => check.curvatureUm),
    fwhm: scalar((check) => (fwhmUnit === 'arcsec' ? check.fwhmFloorArcsec : check.fwhmFloorPx), 'least'),
    elongation: scalar((check) => check.elongation),
  };
}

interface Part {
  readonly stretch: number;
  readonly after: EventRow | null;
  readonly members: number[];
}

/** Runs of checks with a vector, cut at breaks and adjustments. */
function partsOf(
  times: readonly number[],
  coma: readonly (ComaVector | null)[],
  placed: readonly { readonly stretch: number | null }[],
  adjustments: readonly EventRow[],
): Part[] {
  const parts: Part[] = [];
  const when = adjustments.map(({ time }) => Date.parse(time));
  let passed = 0;
  let cut = true;
  let after: EventRow | null = null;
  times.forEach((time, i) => {
    while (passed < when.length && when[passed] <= time) {
      after = adjustments[passed];
      passed++;
      cut = true;
    }
    const { stretch } = placed[i];
    if (coma[i] === null || stretch === null) return;
    const open = parts.at(-1);
    if (cut || open?.stretch !== stretch) {
      parts.push({ stretch, after: cut ? after : null, members: [i] });
      cut = false;
    } else open.members.push(i);
  });
  return parts;
}

function lengthOf(v: ComaVector | null): TrendPoint['length'] {
  if (v === null) return null;
  const value = Math.hypot(v.x, v.y);
  return { value, error: Math.hypot(v.noise, v.lengthError * value) };
}

/** 0.156 um of W131 at every focal ratio; as a tilt of the primary where the optics are known. */
function toleranceOf(checks: readonly CheckRow[], unit: ComaUnit): number | null {
  if (unit === 'um') return COMA_TOLERANCE_UM;
  if (unit === 'coma3') return null;
  const known = checks.flatMap(({ apertureMm, primaryFocalLengthMm, focalLengthMm }) => {
    const focal = primaryFocalLengthMm ?? focalLengthMm;
    if (apertureMm === null || focal === null) return [];
    return [tiltForComa(COMA_TOLERANCE_UM, apertureMm, focal)];
  });
  return known.length === 0 ? null : median(known);
}
