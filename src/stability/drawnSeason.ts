import type { CheckRow, EventRow } from '../history/row.ts';
import { type Random, seededRandom } from '../numeric/random.ts';

const DAY = 86_400_000;
const HOUR = 3_600_000;

interface Xy {
  readonly x: number;
  readonly y: number;
}

/** An invented season of checks: what the telescope does, and how well it is measured. Coma in arcminutes of primary tilt. */
export interface SeasonPlan {
  readonly seed: number;
  /** ISO 8601, noon before the first night. */
  readonly start: string;
  readonly weeks: number;
  /** Chance of a clear night, and the most checks in one. */
  readonly clear: number;
  readonly checksANight: number;
  /** Weeks (from 0) without any. */
  readonly missingWeeks: readonly number[];
  readonly coma: Xy;
  readonly driftPerWeek: Xy;
  readonly perDegree: Xy;
  /** With all of gravity across the tube; `overturned` changes sign with the pier side. */
  readonly gravity: Xy;
  readonly overturned: Xy;
  readonly knocks: readonly { readonly week: number; readonly step: Xy }[];
  readonly adjustments: readonly { readonly week: number; readonly to: Xy; readonly text: string }[];
  readonly notes: readonly { readonly week: number; readonly text: string }[];
  /** Scatter from night to night and from check to check beyond the measurement's errors, 1 sigma a component. */
  readonly nightScatter: number;
  readonly checkScatter: number;
  /** Measurement: 1 sigma of each component, and of the amount as a share of it. */
  readonly noise: number;
  readonly amountError: number;
  /** Share of nights on which everything goes wrong. */
  readonly badNights: number;
  /** Degrees Celsius at the start and at the end, and scatter from night to night. */
  readonly temperature: readonly [number, number];
  readonly temperatureScatter: number;
  /** The camera is turned at these weeks; whether a rotator tells it. */
  readonly cameraTurns: readonly { readonly week: number; readonly deg: number; readonly told: boolean }[];
  readonly rotator: boolean;
}

export const QUIET_SEASON: SeasonPlan = {
  seed: 1,
  start: '2031-09-01T12:00:00.000Z',
  weeks: 12,
  clear: 0.42,
  checksANight: 4,
  missingWeeks: [],
  coma: { x: 0.5, y: -0.3 },
  driftPerWeek: { x: 0, y: 0 },
  perDegree: { x: 0, y: 0 },
  gravity: { x: 0, y: 0 },
  overturned: { x: 0, y: 0 },
  knocks: [],
  adjustments: [],
  notes: [],
  nightScatter: 0.07,
  checkScatter: 0.04,
  noise: 0.05,
  amountError: 0.15,
  badNights: 0,
  temperature: [17, 2],
  temperatureScatter: 3,
  cameraTurns: [],
  rotator: false,
};

/** Twelve autumn weeks: a jump on a drive, and coma that follows the temperature. */
export const DEMO_SEASON: SeasonPlan = {
  ...QUIET_SEASON,
  seed: 21,
  clear: 0.45,
  coma: { x: 0.45, y: -0.2 },
  perDegree: { x: -0.03, y: 0.012 },
  knocks: [{ week: 6.6, step: { x: -0.15, y: 0.75 } }],
  notes: [{ week: 6.55, text: 'driven home from the hill' }],
};

/** A season as the history would hold it, oldest first; the same plan gives the same rows. */
export function drawSeason(plan: SeasonPlan): { readonly checks: CheckRow[]; readonly events: EventRow[] } {
  const weather = seededRandom(plan.seed, 'weather');
  const telescope = seededRandom(plan.seed, 'telescope');
  const stars = seededRandom(plan.seed, 'stars');
  const start = Date.parse(plan.start);
  const checks: CheckRow[] = [];
  for (let day = 0; day < 7 * plan.weeks; day++) {
    const clear = weather.uniform() < plan.clear;
    const wander = { x: plan.nightScatter * telescope.normal(), y: plan.nightScatter * telescope.normal() };
    const bad = telescope.uniform() < plan.badNights ? 8 : 1;
    const cold =
      plan.temperature[0] +
      ((plan.temperature[1] - plan.temperature[0]) * day) / (7 * plan.weeks) +
      plan.temperatureScatter * weather.normal();
    const seeing = Math.max(1.3, 2.4 * Math.exp(0.22 * weather.normal()));
    const number = 1 + weather.integer(plan.checksANight);
    const hours = Array.from({ length: number }, () => 7.5 + 8 * weather.uniform()).sort((a, b) => a - b);
    if (!clear || plan.missingWeeks.includes(Math.floor(day / 7))) continue;
    for (const hour of hours) {
      const week = (day + hour / 24) / 7;
      checks.push(
        drawCheck(plan, checks.length + 1, start, week, { wander, bad, cold, seeing, hour }, telescope, stars),
      );
    }
  }
  return { checks, events: eventsOf(plan, start) };
}

interface Night {
  readonly wander: Xy;
  readonly bad: number;
  readonly cold: number;
  readonly seeing: number;
  readonly hour: number;
}

function drawCheck(
  plan: SeasonPlan,
  id: number,
  start: number,
  week: number,
  night: Night,
  telescope: Random,
  stars: Random,
): CheckRow {
  const altitudeDeg = 32 + 50 * telescope.uniform();
  const pierSide = telescope.uniform() < 0.5 ? 'east' : 'west';
  const temperatureC = night.cold - 0.35 * (night.hour - 7.5);
  const across = Math.cos((altitudeDeg * Math.PI) / 180);
  const side = pierSide === 'east' ? across : -across;
  const usual = (plan.temperature[0] + plan.temperature[1]) / 2;
  const component = (key: 'x' | 'y'): number => {
    const adjusted = plan.adjustments.filter((a) => a.week <= week).at(-1);
    const knocked = plan.knocks
      .filter((k) => k.week <= week && k.week > (adjusted?.week ?? -1))
      .reduce((sum, k) => sum + k.step[key], 0);
    return (
      (adjusted?.to ?? plan.coma)[key] +
      plan.driftPerWeek[key] * (week - (adjusted?.week ?? 0)) +
      knocked +
      plan.perDegree[key] * (temperatureC - usual) +
      plan.gravity[key] * across +
      plan.overturned[key] * side +
      night.bad * night.wander[key] +
      plan.checkScatter * telescope.normal()
    );
  };
  const truth = { x: component('x'), y: component('y') };
  const turns = plan.cameraTurns.filter((turn) => turn.week <= week);
  const turnDeg = turns.reduce((sum, turn) => sum + turn.deg, 0);
  const c = Math.cos((turnDeg * Math.PI) / 180);
  const s = Math.sin((turnDeg * Math.PI) / 180);
  const amount = Math.exp(plan.amountError * stars.normal() - plan.amountError ** 2 / 2);
  const x = amount * (c * truth.x - s * truth.y) + plan.noise * stars.normal();
  const y = amount * (s * truth.x + c * truth.y) + plan.noise * stars.normal();
  const length = Math.hypot(x, y);
  const error = Math.hypot(plan.noise, plan.amountError * length);
  /** coma3 of one arcminute falls with seeing: 0.022 at 1.5", 0.0062 at 2.5", 0.0028 at 4". */
  const perArcmin = 0.0062 * (2.5 / night.seeing) ** 2.2;
  const rotatorDeg = turns.filter((turn) => turn.told).reduce((sum, turn) => sum + turn.deg, 40);
  const fwhmPx = 1.12 * night.seeing * (1 + 0.02 * length ** 2);
  const middle = new Date(start + week * 7 * DAY);
  return {
    id,
    time: middle.toISOString(),
    timeFrom: 'subs',
    created: new Date(start + week * 7 * DAY + 0.1 * HOUR).toISOString(),
    rig: 'hill-shed',
    telescope: 'Invented 200 mm f/4',
    camera: 'Invented 26C',
    filter: 'L',
    subs: 3,
    exposureS: 360,
    stars: 1400 + stars.integer(500),
    widthPx: 6248,
    heightPx: 4176,
    altitudeDeg,
    azimuthDeg: 360 * stars.uniform(),
    pierSide,
    temperatureC,
    temperatureFrom: 'focuser',
    focuserPosition: Math.round(12_000 - 18 * temperatureC),
    rotatorAngleDeg: plan.rotator ? ((rotatorDeg % 360) + 360) % 360 : null,
    cameraAngle: null,
    spikeAngle: {
      deg: (((27 + turnDeg + 0.15 * stars.normal()) % 90) + 90) % 90,
      errorDeg: 0.15,
      moduloDeg: 90,
    },
    pixelUm: 3.76,
    focalLengthMm: 800,
    primaryFocalLengthMm: 800,
    apertureMm: 200,
    arcsecPerPx: 0.9694,
    coma3: { x: perArcmin * x, y: perArcmin * y, error: perArcmin * plan.noise },
    // W131 of one arcminute: 0.156 um is the tolerance of 1.375 arcminutes (200 mm f/4).
    comaUm: { x: UM_PER_ARCMIN * x, y: UM_PER_ARCMIN * y, error: UM_PER_ARCMIN * error },
    mirrorTilt: { arcmin: length, minus: error, plus: error },
    sensorTilt: {
      um: { value: Math.abs(24 + 7 * stars.normal()), error: 7 },
      upperLimitUm: null,
      axisDeg: null,
      axisErrorDeg: null,
    },
    curvatureUm: { value: 14 + 4 * stars.normal(), error: 4 },
    astigmatism: null,
    astigmatismRadial: null,
    trefoil3: null,
    smearPx: null,
    smearAxisDeg: null,
    fwhmFloorPx: { value: fwhmPx, error: 0.02 },
    fwhmFloorArcsec: { value: 0.9694 * fwhmPx, error: 0.02 },
    elongation: { value: 1.035 + 0.02 * length ** 2 + Math.abs(0.01 * stars.normal()), error: 0.008 },
    verdict: length > 1.375 ? 'adjust' : 'good',
    headline: length > 1.375 ? 'The primary is off.' : 'Within tolerance.',
    faults: length > 1.375 ? ['miscollimation'] : [],
    sha256: [`${plan.seed.toString(16)}${id.toString(16)}`.padStart(64, '0')],
    reportVersion: 1,
  };
}

const UM_PER_ARCMIN = 0.15625 / 1.375;

function eventsOf(plan: SeasonPlan, start: number): EventRow[] {
  const at = (week: number): string => new Date(start + week * 7 * DAY).toISOString();
  return [
    ...plan.adjustments.map(({ week, text }) => ({ week, text, kind: 'adjustment' as const })),
    ...plan.notes.map(({ week, text }) => ({ week, text, kind: 'note' as const })),
  ]
    .sort((a, b) => a.week - b.week)
    .map(({ week, text, kind }, i) => ({ id: i + 1, time: at(week), rig: null, kind, text }));
}
