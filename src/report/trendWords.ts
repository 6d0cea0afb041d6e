import type { Dependence, EraFit, FittedVector, Knock } from '../stability/eraTrend.ts';
import type { ScalarTrend } from '../stability/scalarTrend.ts';
import type { Era, Stretch, Trend } from '../stability/trend.ts';
import { decimalsFor, fixed, plusMinus } from './amounts.ts';
import { directionWords } from './wording.ts';

/** The words of both forms of the trend (terminal and page): a sentence under a label each. */
export interface TrendWords {
  /** 'holds', 'moved' or 'open' for colour and shape; the headline says it in words. */
  readonly state: 'holds' | 'moved' | 'open';
  readonly headline: string;
  readonly items: readonly { readonly label: string; readonly text: string }[];
  /** What was left out or cannot be told, and why. */
  readonly notes: readonly string[];
}

/** A change is said to be there below this chance of noise alone (3 sigma). */
const SEEN_CHANCE = 0.0027;
/** Checks with a smaller weight are named as strays. */
export const STRAY_WEIGHT = 0.6;

/** 'It holds' is said only where a change of this share of the tolerance would have been noticed (95 %). */
const UNNOTICED_SHARE = 0.5;
/** And not before so many days. */
const LEAST_DAYS = 14;

export function trendWords(trend: Trend): TrendWords {
  const era = trend.eras.at(-1);
  const fit = era?.fit ?? null;
  const items: { label: string; text: string }[] = [];
  const say = (label: string, text: string | null): void => {
    if (text !== null) items.push({ label, text });
  };
  say('Checks', checksWords(trend));
  if (era !== undefined && fit !== null) {
    say('Now', nowWords(trend, fit));
    say('Change', changeWords(trend, fit, era));
    say('Drift', driftWords(trend, fit));
    fit.knocks.forEach((knock) => {
      say('Jump', knockWords(trend, knock));
    });
    if (fit.knocks.length === 0) say('Jumps', `None since ${sinceWords(era)}.`);
    for (const dependence of fit.dependences)
      if (dependence.on === 'temperature') say('Temperature', temperatureWords(trend, fit, dependence));
    say('Gravity', gravityWords(trend, fit));
    say('Outlook', outlookWords(trend));
    say('Scatter', scatterWords(trend, fit));
  }
  const earlier = trend.eras.slice(0, -1).flatMap((old) => old.fit?.knocks ?? []);
  earlier.forEach((knock) => {
    say('Earlier', knockWords(trend, knock));
  });
  say('Sensor tilt', scalarWords(trend.sensorTilt, 'µm', 'µm'));
  say('Curvature', scalarWords(trend.curvature, 'µm', 'µm'));
  say('FWHM floor', floorWords(trend));
  say('Elongation', scalarWords(trend.elongation, '', ''));
  return { ...headlineOf(trend, era, fit), items, notes: notesOf(trend, era, fit) };
}

function headlineOf(trend: Trend, era: Era | undefined, fit: EraFit | null): Pick<TrendWords, 'state' | 'headline'> {
  if (trend.points.length === 0) return { state: 'open', headline: 'No checks yet.' };
  if (era === undefined)
    return {
      state: 'open',
      headline: 'Cannot tell whether the collimation holds: how the camera stood in the tube is not known.',
    };
  if (fit === null)
    return {
      state: 'open',
      headline: `Cannot tell yet: too few nights since ${sinceWords(era)}.`,
    };
  const [knock] = fit.knocks.toSorted((a, b) => Math.hypot(b.step.x, b.step.y) - Math.hypot(a.step.x, a.step.y));
  const outside = trend.outlook?.kind === 'outside' ? ' It is out of tolerance now.' : '';
  if (knock)
    return {
      state: 'moved',
      headline: `The collimation jumped by ${lengthWords(trend, knock.step)} ${betweenWords(knock.before, knock.after)}.${outside}`,
    };
  if (fit.drift !== null && fit.drift.chance < SEEN_CHANCE)
    return {
      state: 'moved',
      headline: `The collimation drifts by ${lengthWords(trend, fit.drift)} a week.${outside}`,
    };
  if (outside !== '') return { state: 'moved', headline: 'The collimation keeps still, but out of tolerance.' };
  if (fit.drift === null) return { state: 'open', headline: 'No jump seen; too few nights to tell a drift.' };
  const unnoticed = Math.hypot(fit.change.x, fit.change.y) + 2 * fit.change.error;
  if (trend.tolerance !== null && unnoticed > UNNOTICED_SHARE * trend.tolerance)
    return {
      state: 'open',
      headline: `No jump and no drift seen since ${sinceWords(era)}, but a change of ${amount(trend, unnoticed, unnoticed)} would have passed unnoticed: more nights will tell.`,
    };
  if (era.last - era.first < LEAST_DAYS * 86_400_000)
    return {
      state: 'open',
      headline: `No jump and no drift seen since ${sinceWords(era)}: too short a time to say that it holds.`,
    };
  return {
    state: 'holds',
    headline: `The collimation holds: no jump and no drift since ${sinceWords(era)}.`,
  };
}

const UNITS = { arcmin: '′', um: ' µm', coma3: '' } as const;

const amount = (trend: Trend, value: number, error: number): string => {
  const decimals = Math.min(trend.unit === 'coma3' ? 4 : 2, decimalsFor(error));
  return fixed(value, Math.max(trend.unit === 'coma3' ? 3 : 1, decimals)) + UNITS[trend.unit];
};

/** '0.42′ ± 0.05′'. */
function lengthWords(trend: Trend, v: FittedVector): string {
  const length = Math.hypot(v.x, v.y);
  return `${plusMinus({ value: length, error: v.error })}${UNITS[trend.unit]}`;
}

function directionOf(v: { readonly x: number; readonly y: number }): string {
  const deg = ((Math.atan2(v.y, v.x) * 180) / Math.PI + 360) % 360;
  return `the ${directionWords(deg)} (${deg.toFixed(0)}°)`;
}

/** What is there by its length and direction; what is not, by what it stays below (95 %). */
function vectorWords(trend: Trend, v: FittedVector, per: string): string {
  if (v.chance < SEEN_CHANCE) return `${lengthWords(trend, v)}${per} towards ${directionOf(v)}`;
  const most = Math.hypot(v.x, v.y) + 2 * v.error;
  return `not seen, below ${amount(trend, most, most)}${per}`;
}

/** The evening's date of a night, UTC. */
export function nightDate(time: number): string {
  return new Date(time - 12 * 3_600_000).toISOString().slice(0, 10);
}

const clock = (time: number): string => new Date(time).toISOString().slice(0, 16).replace('T', ' ');

function betweenWords(before: number, after: number): string {
  const [from, to] = [nightDate(before), nightDate(after)];
  return from === to ? `in the night of ${from}` : `between the nights of ${from} and ${to}`;
}

function sinceWords(era: Era): string {
  return era.after === null ? nightDate(era.first) : `the adjustment of ${era.after.time.slice(0, 10)}`;
}

function checksWords(trend: Trend): string | null {
  const { points } = trend;
  const [first, last] = [points[0], points.at(-1)];
  if (first === undefined || last === undefined) return null;
  const rig = trend.rig === null ? '' : ` of ${trend.rig}`;
  const adjustments = trend.events.filter(({ kind }) => kind === 'adjustment').length;
  const done = adjustments === 0 ? 'no adjustment noted' : `${adjustments} adjustment${adjustments > 1 ? 's' : ''}`;
  return `${points.length}${rig}, ${nightDate(first.time)} to ${nightDate(last.time)}; ${done}.`;
}

function nowWords(trend: Trend, fit: EraFit): string {
  const whose = trend.toleranceFrom === 'rig' ? ' by your rig’s own wish' : '';
  const tolerance = trend.tolerance === null ? '' : `; tolerance ${amount(trend, trend.tolerance, 0.01)}${whose}`;
  const what = { arcmin: 'Like a primary tilted by', um: 'Coma (W131) of', coma3: 'Coma (coma3) of' }[trend.unit];
  return `${what} ${lengthWords(trend, fit.now)}, tails towards ${directionOf(fit.now)}${tolerance}.`;
}

function changeWords(trend: Trend, fit: EraFit, era: Era): string {
  return `Since ${sinceWords(era)}: ${vectorWords(trend, fit.change, '')}.`;
}

function driftWords(trend: Trend, fit: EraFit): string {
  if (fit.drift === null) return 'Cannot tell: fewer than four nights, or less than five days.';
  const mixed = fit.driftOrTemperature
    ? ' Drift and temperature went together: which of them it is cannot be told.'
    : '';
  const besides = fit.knocks.length > 0 ? ' beside the jumps' : '';
  return `${sentenceCase(vectorWords(trend, fit.drift, ' a week'))}${besides}.${mixed}`;
}

const sentenceCase = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

function knockWords(trend: Trend, knock: Knock): string {
  const wide =
    knock.earliest !== knock.before || knock.latest !== knock.after
      ? ` (95 %: ${nightDate(knock.earliest)} to ${nightDate(knock.latest)})`
      : '';
  const near = trend.events.find(({ kind, time }) => {
    const at = Date.parse(time);
    return kind === 'note' && at >= knock.earliest && at <= knock.latest;
  });
  const noted = near === undefined ? '' : ` Noted then: ${near.text}.`;
  return `${lengthWords(trend, knock.step)} towards ${directionOf(knock.step)} ${betweenWords(knock.before, knock.after)}${wide}; chance of a false alarm ${chanceWords(knock.chance)}.${noted}`;
}

function chanceWords(chance: number): string {
  return chance < 1e-6 ? 'below 1 in a million' : `1 in ${Number((1 / chance).toPrecision(1)).toLocaleString('en')}`;
}

function temperatureWords(trend: Trend, fit: EraFit, dependence: Dependence): string {
  const { slope, range, makes } = dependence;
  const over = `${fixed(range[0], 0)} to ${fixed(range[1], 0)} °C`;
  if (slope.chance >= SEEN_CHANCE) return `Dependence ${vectorWords(trend, slope, ' a degree')} (${over}).`;
  const doubt = fit.driftOrTemperature ? ' It may as well be the drift.' : '';
  return `Coma moves by ${lengthWords(trend, slope)} a degree towards ${directionOf(slope)} as it gets warmer: ${amount(trend, makes, makes / 10)} over ${over}.${doubt}`;
}

function gravityWords(trend: Trend, fit: EraFit): string | null {
  const altitude = fit.dependences.find(({ on }) => on === 'altitude');
  const pier = fit.dependences.find(({ on }) => on === 'pier side');
  if (fit.gravityChance === null) return 'Cannot tell: too little change of altitude and pier side.';
  const parts = [
    altitude && `from zenith to horizon ${vectorWords(trend, altitude.slope, '')}`,
    pier && `turned over (pier side) ${vectorWords(trend, pier.slope, '')}`,
  ].filter((part) => part !== undefined);
  if (fit.gravityChance >= SEEN_CHANCE) return `Coma does not follow it: ${parts.join('; ')}.`;
  return `Coma follows it: ${parts.join('; ')}. That is flexure of tube or drawtube, or a primary loose in its cell: a loose one does not come back the same way.`;
}

function outlookWords(trend: Trend): string | null {
  const { outlook } = trend;
  const last = trend.eras.at(-1)?.last ?? 0;
  if (outlook === null) return trend.tolerance === null ? 'No tolerance known: tell focal length and aperture.' : null;
  if (outlook.kind === 'outside') return 'Out of tolerance now.';
  if (outlook.kind === 'leaves') {
    const days = [outlook.from, outlook.to].map((time) => Math.max(0, Math.round((time - last) / 86_400_000)));
    return `Going on like this it leaves tolerance ${days[0]} to ${days[1]} days after the last check, ${nightDate(outlook.from)} to ${nightDate(outlook.to)} (68 %), at the usual temperature and altitude.`;
  }
  return {
    'no drift': 'No date: there is no sure drift to carry on.',
    'too far ahead': 'No date: it lies further ahead than the drift was watched.',
    'at the limit': 'No date: within its error it may be beyond the tolerance already.',
    'few nights': 'No date: too few nights.',
  }[outlook.why];
}

function scatterWords(trend: Trend, fit: EraFit): string {
  const part = (value: number): string => amount(trend, value, Math.max(value / 3, 0.01));
  return `Beyond the checks' own errors: ${part(fit.scatterFromNightToNight)} from night to night, ${part(fit.scatterWithinNight)} within a night (each component).`;
}

function perWeekWords(scalar: ScalarTrend, unit: string): string {
  const { perWeek } = scalar;
  if (perWeek === null) return 'too few nights for a change a week';
  const error = Math.max((perWeek.high - perWeek.low) / 2, 1e-6);
  return `changes by ${plusMinus({ value: perWeek.slope, error })}${unit === '' ? '' : ` ${unit}`} a week`;
}

function scalarWords(scalar: ScalarTrend, unit: string, rateUnit: string): string | null {
  if (scalar.usual === null) return null;
  const spaced = unit === '' ? '' : ` ${unit}`;
  return `Usually ${fixed(scalar.usual, unit === '' ? 3 : 0)}${spaced}; ${perWeekWords(scalar, rateUnit)}.`;
}

function floorWords(trend: Trend): string | null {
  const { fwhm } = trend;
  if (fwhm.usual === null) return null;
  const unit = trend.fwhmUnit === 'arcsec' ? '″' : ' px';
  const low = fwhm.floor.at(-1);
  const now = low === undefined ? '' : `, the best tenth of the last weeks ${fixed(low.value, 2)}${unit}`;
  return `Best zone of the best check of a night: usually ${fixed(fwhm.usual, 2)}${unit}${now}; ${perWeekWords(fwhm, trend.fwhmUnit === 'arcsec' ? '″' : 'px')}.`;
}

const BREAK_WORDS: Record<Stretch['why'], string> = {
  first: '',
  turned: 'the camera was turned, by how many quarter turns beyond that spikes cannot tell',
  'sources disagree': 'the spikes do not stand where the told angle of the camera puts them',
  'sense unknown': 'the rotator moved, and which way it counts is not known',
  'nothing in common': "the camera's angle comes from another source than before",
};

/** What is drawn and said at the beginning of a stretch. */
export const breakWords = (stretch: Stretch): string => BREAK_WORDS[stretch.why];

function notesOf(trend: Trend, era: Era | undefined, fit: EraFit | null): string[] {
  const notes: string[] = [];
  for (const stretch of trend.stretches)
    if (stretch.why !== 'first')
      notes.push(`Directions before and after ${clock(stretch.first)} cannot be compared: ${breakWords(stretch)}.`);
  const lost = trend.points.filter((point) => point.length !== null && point.coma === null).length;
  if (lost > 0)
    notes.push(
      `${lost} check${lost > 1 ? 's' : ''} without any camera angle (told, rotator or spikes): only the length of coma is shown.`,
    );
  const none = trend.points.filter((point) => point.length === null).length;
  if (none > 0) notes.push(`${none} check${none > 1 ? 's' : ''} without an amount of coma left out.`);
  const strays = [...new Set(trend.points.filter((p) => p.weight < STRAY_WEIGHT).map((p) => nightDate(p.time)))];
  if (strays.length > 0)
    notes.push(
      `Strayed and counts for less: ${strays.slice(0, 4).join(', ')}${strays.length > 4 ? ` and ${strays.length - 4} more nights` : ''}.`,
    );
  const newest = trend.points.at(-1);
  if (era !== undefined && fit !== null && newest !== undefined && newest.weight < STRAY_WEIGHT)
    notes.push('The last night stands apart: whether it was a jump or a bad night, one more night will tell.');
  if (trend.unit === 'coma3' && trend.points.length > 0)
    notes.push('Amounts are not known (focal length, aperture, pixel): coma3 also changes with seeing and focus.');
  return notes;
}
