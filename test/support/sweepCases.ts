import { seededRandom } from '../../src/numeric/random.ts';
import { EXAMPLE_TELESCOPE } from '../../src/optics/telescope.ts';
import { measureSweep, type SweepMeasurement } from '../../src/sweep/measureSweep.ts';
import { seriesOf } from '../../src/sweep/series.ts';
import type { SweepOptics } from '../../src/sweep/sweepOptics.ts';
import { drawSeries } from './drawnSeries.ts';

/** A focus run of an invented telescope in a known state. Directions in stored axes, radians. */
export interface SweepCase {
  readonly seed: number;
  readonly tiltUmAcross: number;
  readonly direction: number;
  readonly curvatureUm: number;
  readonly astigmatismUm: { readonly x: number; readonly y: number };
  readonly optics: SweepOptics;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly readings: readonly number[];
  readonly seeingArcsec: number;
  readonly seeingFactors: readonly number[];
  readonly clouds: readonly number[];
  readonly starsPerPlace: number;
  readonly faintestE: number;
}

const RAD_TO_ARCMIN = 10800 / Math.PI;

/** The n-th case: everything from its number. */
export function sweepCase(seed: number): SweepCase {
  const random = seededRandom(seed, 'sweep case');
  const between = (low: number, high: number): number => low + (high - low) * random.uniform();
  const focalRatio = [4, 4, 5, 6][random.integer(4)];
  const apertureMm = [200, 250][random.integer(2)];
  const optics = {
    apertureMm,
    focalLengthMm: apertureMm * focalRatio,
    pixelUm: [2.9, 3.76, 4.63][random.integer(3)],
    obstruction: 0.35,
  };
  const seeingArcsec = between(1.6, 3.6);
  const steps = 5 + random.integer(11);
  // A run that reaches discs of two to five times the focused size.
  const focusedUm = (seeingArcsec * optics.focalLengthMm) / 206.265;
  const half = between(2, 4.5) * focusedUm * focalRatio;
  const off = between(-0.25, 0.25) * half;
  const all = Array.from({ length: steps }, (_, i) => {
    const even = off - half + (2 * half * i) / (steps - 1);
    return even + (0.15 * between(-1, 1) * half * 2) / (steps - 1);
  });
  const missing = steps > 5 && random.uniform() < 0.35 ? 1 + random.integer(steps - 2) : -1;
  const readings = all.filter((_, i) => i !== missing);
  const clouded = random.uniform() < 0.35 ? random.integer(readings.length) : -1;
  const cloud = between(0.6, 0.95);
  const drift = between(-0.2, 0.2);
  const axis = between(0, 2 * Math.PI);
  const astigmatism = random.uniform() < 0.5 ? between(0.02, 0.12) : 0;
  const [widthMm, heightMm] = [
    [23.5, 15.7],
    [11.3, 11.3],
    [17.7, 13.4],
  ][random.integer(3)];
  return {
    seed,
    tiltUmAcross: between(10, 150),
    direction: between(0, 2 * Math.PI),
    curvatureUm: between(-80, 80),
    astigmatismUm: { x: astigmatism * Math.cos(axis), y: astigmatism * Math.sin(axis) },
    optics,
    widthMm,
    heightMm,
    readings,
    seeingArcsec,
    seeingFactors: readings.map((_, i) => (1 + (drift * i) / (readings.length - 1)) * Math.exp(0.04 * random.normal())),
    clouds: readings.map((_, i) => (i === clouded ? cloud : 0)),
    starsPerPlace: 1 + random.integer(4),
    faintestE: between(15_000, 40_000),
  };
}

/** Edge-to-edge extent of the frame along a direction, mm. */
const extent = ({ widthMm, heightMm }: SweepCase, direction: number): number =>
  widthMm * Math.abs(Math.cos(direction)) + heightMm * Math.abs(Math.sin(direction));

export function measureCase(one: SweepCase, places = 30): SweepMeasurement {
  const { optics } = one;
  const umPerMm = one.tiltUmAcross / extent(one, one.direction);
  const arcmin = (umPerMm / 1000) * RAD_TO_ARCMIN;
  const frames = drawSeries({
    seed: one.seed,
    telescope: {
      ...EXAMPLE_TELESCOPE,
      apertureMm: optics.apertureMm,
      primaryFocalLengthMm: optics.focalLengthMm,
      effectiveFocalLengthMm: optics.focalLengthMm,
    },
    state: {
      sensorTiltArcmin: { x: arcmin * Math.cos(one.direction), y: arcmin * Math.sin(one.direction) },
      fieldCurvatureUmPerMm2: (4 * one.curvatureUm) / (one.widthMm ** 2 + one.heightMm ** 2),
      astigmatismUm: one.astigmatismUm,
    },
    widthMm: one.widthMm,
    heightMm: one.heightMm,
    pixelUm: optics.pixelUm,
    readings: one.readings,
    seeingArcsec: one.seeingArcsec,
    seeingFactors: one.seeingFactors,
    clouds: one.clouds,
    places,
    starsPerPlace: one.starsPerPlace,
    faintestE: one.faintestE,
  });
  const series = seriesOf(
    frames.map(({ measured, reading }) => ({ measured, position: reading, dateObs: null })),
    null,
  );
  if (typeof series === 'string') throw new Error(series);
  return measureSweep(series, optics);
}

/** One case against its truth; readings are um, larger ones further out. */
export interface JudgedCase {
  readonly seed: number;
  readonly frames: number;
  readonly left: number;
  readonly tiltUm: number;
  readonly foundUm: number;
  readonly tiltErrorUm: number;
  readonly significance: number;
  /** Degrees between the found and the true direction, -180..180. */
  readonly turnedDeg: number;
  readonly curvatureUm: number;
  readonly foundCurvatureUm: number;
  readonly bestUm: number;
  /** (found - true)/error. */
  readonly pulls: Readonly<Record<'tiltX' | 'tiltY' | 'curvature' | 'best' | 'astigmatismX' | 'astigmatismY', number>>;
  readonly curvatureSigma: number;
  /** Growth of the discs over the geometric one. */
  readonly growth: number;
}

/** Null where nothing could be measured. */
export function judgeCase(one: SweepCase, measured: SweepMeasurement): JudgedCase | null {
  const { focus, astigmatism } = measured;
  if (focus === null) return null;
  const um = focus.scale.half;
  const halfMm = Math.hypot(one.widthMm, one.heightMm) / 2;
  const n = one.optics.focalLengthMm / one.optics.apertureMm;
  const error = (j: number): number => Math.sqrt(focus.covariance[j * 4 + j]) * um;
  const perMm = one.tiltUmAcross / extent(one, one.direction);
  const [x, y] = [focus.best[1] * um, focus.best[2] * um];
  const found = Math.atan2(y, x);
  const turned = ((((found - one.direction) * 180) / Math.PI + 540) % 360) - 180;
  const bestUm = focus.scale.middle + focus.best[0] * um;
  // Moving out makes d smaller: a = -A/(8 N^2).
  const toA = -um / (8 * n * n);
  const a = astigmatism?.uniform;
  const { pixelUm, obstruction } = one.optics;
  return {
    seed: one.seed,
    frames: measured.series.frames.length,
    left: measured.used.length,
    tiltUm: one.tiltUmAcross,
    foundUm: (Math.hypot(x, y) / halfMm) * extent(one, found),
    tiltErrorUm: (error(1) / halfMm) * extent(one, found),
    significance: Math.hypot(x / error(1), y / error(2)),
    turnedDeg: turned,
    curvatureUm: one.curvatureUm,
    foundCurvatureUm: focus.best[3] * um,
    bestUm,
    pulls: {
      tiltX: (x - perMm * halfMm * Math.cos(one.direction)) / error(1),
      tiltY: (y - perMm * halfMm * Math.sin(one.direction)) / error(2),
      curvature: (focus.best[3] * um - one.curvatureUm) / error(3),
      best: bestUm / error(0),
      astigmatismX: a ? (a.x * toA - one.astigmatismUm.x) / Math.abs(a.error * toA) : 0,
      astigmatismY: a ? (a.y * toA - one.astigmatismUm.y) / Math.abs(a.error * toA) : 0,
    },
    curvatureSigma: Math.abs((focus.best[3] * um) / error(3)),
    growth: focus.growth / um ** 2 / ((1 + obstruction ** 2) / (8 * n * n) / pixelUm ** 2),
  };
}

/** What the whole set shows. */
export function summariseCases(cases: readonly JudgedCase[]): Record<string, number> {
  const at = (values: readonly number[], share: number): number =>
    [...values].sort((p, q) => p - q)[Math.min(values.length - 1, Math.floor(share * values.length))] ?? Number.NaN;
  const share = (values: readonly boolean[]): number => values.filter(Boolean).length / Math.max(1, values.length);
  const sure = cases.filter((c) => c.significance >= 5);
  const amount = sure.map((c) => Math.abs(c.foundUm / c.tiltUm - 1));
  const curved = cases.filter((c) => c.curvatureSigma >= 10);
  const curvature = curved.map((c) => Math.abs(c.foundCurvatureUm / c.curvatureUm - 1));
  const nine = cases.filter((c) => c.left >= 9);
  const coverage = (pick: (c: JudgedCase) => number): number => share(cases.map((c) => Math.abs(pick(c)) < 1));
  const names = ['tiltX', 'tiltY', 'curvature', 'best', 'astigmatismX', 'astigmatismY'] as const;
  return {
    cases: cases.length,
    axisMedianDeg: at(
      cases.map((c) => Math.abs(c.turnedDeg)),
      0.5,
    ),
    axis95Deg: at(
      sure.map((c) => Math.abs(c.turnedDeg)),
      0.95,
    ),
    above5Sigma: sure.length,
    rightSide: share(sure.map((c) => Math.abs(c.turnedDeg) < 90)),
    amountMedian: at(amount, 0.5),
    amount95: at(amount, 0.95),
    amountWithin10: share(amount.map((v) => v < 0.1)),
    curvatureMedian: at(curvature, 0.5),
    curvatureWithin15: share(curvature.map((v) => v < 0.15)),
    bestRmsUm9: Math.sqrt(nine.reduce((sum, c) => sum + c.bestUm ** 2, 0) / Math.max(1, nine.length)),
    growthMedian: at(
      cases.map((c) => c.growth),
      0.5,
    ),
    ...Object.fromEntries(names.map((name) => [`coverage-${name}`, coverage((c) => c.pulls[name])])),
  };
}
