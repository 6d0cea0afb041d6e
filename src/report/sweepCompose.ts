import { median } from '../numeric/statistics.ts';
import { umPerUnit } from '../sweep/donut.ts';
import type { FocusFit } from '../sweep/focusFit.ts';
import { CLOUDED, readingAt, type SweepMeasurement } from '../sweep/measureSweep.ts';
import { type Screen, screenOf } from './screen.ts';
import { astigmatismOf, comaOf, curvatureOf, errorAt, focusOf, lengthsOf, tiltOf } from './sweepAmounts.ts';
import { againstOf, plateOf, spacingOf, turnedOf } from './sweepCompare.ts';
import type { SweepContext } from './sweepContext.ts';
import { SWEEP_FORMAT, SWEEP_VERSION, type SweepRecord } from './sweepRecord.ts';
import { sweepWords } from './sweepWords.ts';

const CURVE_POINTS = 121;
/** The curve is kept beyond the run's ends: plots shift it. */
const CURVE_REACH = 1.8;
/** What the model curve leaves uncertain of the growth of stars, and an obstruction of 25 to 40 % where the middle is taken. */
const GROWTH_SHARE = 0.023;
/** A ninth whose best focus is less sure than this, in half lengths of the run, says nothing. */
const LEAST_KNOWN = 0.5;

type Measured = { value: number; error: number };

export function composeSweep(measurement: SweepMeasurement, context: SweepContext): SweepRecord {
  const { series, focus } = measurement;
  const { setup, orientation } = context;
  const screen = screenOf(setup.width, setup.height, orientation.screenY);
  const stars = umByStars(measurement);
  const umPerStep = series.unit === 'um' ? 1 : (context.umPerStep?.value ?? stars?.value ?? null);
  const lengths = focus === null ? null : lengthsOf(focus, setup, umPerStep);
  const record: SweepRecord = {
    format: SWEEP_FORMAT,
    version: SWEEP_VERSION,
    created: context.created,
    tool: context.tool,
    status: focus === null ? 'inconclusive' : 'measured',
    headline: '-',
    next: '',
    needs: measurement.needs,
    frames: framesOf(measurement, context, umPerStep),
    widthPx: setup.width,
    heightPx: setup.height,
    camera: context.frames[0]?.facts.camera?.value ?? null,
    cameraAngleDeg: context.cameraAngleDeg,
    spacingMm: context.spacingMm,
    scale: {
      pixelUm: setup.pixelUm.value,
      focalLengthMm: setup.focalLengthMm.value,
      primaryFocalLengthMm: setup.primaryFocalLengthMm.value,
      apertureMm: setup.apertureMm.value,
      obstruction: context.obstruction.value,
      from: {
        pixelUm: setup.pixelUm.from,
        focalLengthMm: setup.focalLengthMm.from,
        primaryFocalLengthMm: setup.primaryFocalLengthMm.from,
        apertureMm: setup.apertureMm.from,
        obstruction: context.obstruction.from,
      },
    },
    orientation: { rowOrder: orientation.rowOrder, assumed: orientation.assumed },
    focuser: {
      unit: series.unit,
      umPerStep,
      umPerStepFrom:
        series.unit === 'um' ? 'option' : (context.umPerStep?.from ?? (stars === null ? 'unknown' : 'stars')),
      umPerStepByStars: stars,
      largerReadings: context.largerReadings,
      backlash:
        focus?.backlash == null
          ? null
          : { value: focus.backlash.value * focus.scale.half, error: focus.backlash.error * focus.scale.half },
      order: series.ordered,
    },
    focus: focus === null ? null : focusOf(measurement, focus, context),
    tilt: focus === null || lengths === null ? null : tiltOf(focus, lengths, screen, context),
    curvature: focus === null || lengths === null ? null : curvatureOf(focus, lengths, context),
    zones: zonesOf(measurement, screen),
    surfaceMisfitSigma: misfitOf(measurement),
    astigmatism: astigmatismOf(measurement, lengths, screen, context),
    coma: comaOf(measurement, screen, context),
    spacing: null,
    plate: null,
    turned: null,
    against: null,
    curve: curveOf(focus),
    notes: [...series.notes, ...frameNotes(measurement), ...context.notes],
    settings: context.settings,
  };
  const compared: SweepRecord = {
    ...record,
    spacing: spacingOf(record, context),
    plate: plateOf(record, context),
    turned: turnedOf(record, context),
    against: againstOf(record, context),
  };
  return { ...compared, ...sweepWords(compared) };
}

/** Camera travel of one step by the growth of the discs; null where the optics are not known. */
function umByStars({ focus, optics, series }: SweepMeasurement): Measured | null {
  if (focus === null || optics === null || series.unit === 'um') return null;
  const value = umPerUnit(focus, optics) / focus.scale.half;
  return { value, error: value * Math.hypot(0.5 * (focus.growthError / focus.growth), GROWTH_SHARE) };
}

function framesOf(
  measurement: SweepMeasurement,
  context: SweepContext,
  umPerStep: number | null,
): SweepRecord['frames'] {
  const { series, focus, used } = measurement;
  const measured = series.frames.map((entry, i): SweepRecord['frames'][number] => {
    const facts = context.frames[i]?.facts;
    const inFit = used.indexOf(entry);
    const floor = inFit < 0 ? undefined : focus?.floors[inFit];
    const away = focus === null ? null : entry.reading - readingAt(focus, focus.best[0]);
    return {
      file: entry.measured.name,
      used: measurement.whyNot[i] === null,
      whyNot: measurement.whyNot[i] ?? null,
      reading: entry.reading,
      fromFocusUm: away === null || umPerStep === null ? null : away * umPerStep,
      order: entry.order,
      dateObs: facts?.dateObs?.value ?? null,
      exposureS: facts?.exposureS?.value ?? null,
      filter: facts?.filter?.value ?? null,
      starsFound: entry.measured.found,
      starsMeasured: entry.measured.discs.length,
      halfFluxDiameterPx: entry.measured.hfd,
      fwhmPx: entry.measured.fwhm,
      floorPx:
        floor === undefined ? null : { value: 2 * Math.sqrt(floor.value), error: floor.error / Math.sqrt(floor.value) },
      light: measurement.transparency[i] ?? null,
      sha256: context.sha256[i] ?? null,
      notes: [...(context.frames[i]?.notes ?? [])],
    };
  });
  const rejected = context.rejected.map(({ file, why }): SweepRecord['frames'][number] => ({
    file,
    used: false,
    whyNot: why,
    reading: null,
    fromFocusUm: null,
    order: null,
    dateObs: null,
    exposureS: null,
    filter: null,
    starsFound: 0,
    starsMeasured: 0,
    halfFluxDiameterPx: null,
    fwhmPx: null,
    floorPx: null,
    light: null,
    sha256: null,
    notes: [],
  }));
  return [...measured, ...rejected];
}

function frameNotes({ series, transparency, whyNot, focus }: SweepMeasurement): string[] {
  const clouded = series.frames.flatMap(({ measured, reading }, i) => {
    const light = transparency[i];
    return whyNot[i] === null && light !== null && light < CLOUDED
      ? [`Clouds took ${(100 * (1 - light)).toFixed(0)} % of the light at reading ${reading} (${measured.name}).`]
      : [];
  });
  const comatic =
    focus !== null && focus.leftOut > 0
      ? [`${focus.leftOut} star images far from the coma node were left out: coma outweighs the seeing there.`]
      : [];
  return [...clouded, ...comatic];
}

function zonesOf(measurement: SweepMeasurement, screen: Screen): SweepRecord['zones'] {
  const { zones, used, focus } = measurement;
  const byReading = [...used].sort((a, b) => a.reading - b.reading);
  return Array.from({ length: 9 }, (_, i) => {
    const row = Math.floor(i / 3);
    const column = i % 3;
    const sizesPx = byReading.map(({ measured }) => {
      const own = measured.discs.filter(
        (d) =>
          Math.min(2, Math.floor((3 * d.x) / measured.width)) === column &&
          Math.min(2, Math.floor((3 * d.y) / measured.height)) === row,
      );
      return own.length < 3 ? null : 2 * Math.sqrt(median(own.map((d) => d.q0)));
    });
    const error = zones === null ? Infinity : Math.sqrt(zones.covariance[i * 9 + i]);
    return {
      row: screen.zoneRow(row),
      column,
      // Without stars the prior alone speaks.
      bestReading:
        zones === null || focus === null || error > LEAST_KNOWN
          ? null
          : {
              value: readingAt(zones, zones.best[i] + smoothAt(focus, row, column, used[0].measured)),
              error: error * zones.scale.half,
            },
      sizesPx,
    };
  }).sort((a, b) => a.row - b.row || a.column - b.column);
}

/** Tilt and curvature of the fit in the middle of a ninth of the frame, stored order. */
function smoothAt(
  { best }: FocusFit,
  row: number,
  column: number,
  { width, height }: { readonly width: number; readonly height: number },
): number {
  const half = 0.5 * Math.hypot(width, height);
  const u = ((column - 1) * width) / 3 / half;
  const v = ((row - 1) * height) / 3 / half;
  return best[1] * u + best[2] * v + best[3] * (u * u + v * v);
}

/** Scatter of the zones' own best focus about the smooth surface, in their errors. */
function misfitOf({ focus, zones }: SweepMeasurement): number | null {
  if (focus === null || zones === null) return null;
  const apart = Array.from({ length: 9 }, (_, i) => {
    const error = Math.sqrt(zones.covariance[i * 9 + i]);
    // Without what all zones share, which both fits leave open alike.
    return {
      by: zones.best[i],
      error: Math.sqrt(Math.max(error * error - errorAt(focus, 0) ** 2, (0.3 * error) ** 2)),
    };
  }).filter((a) => a.error < LEAST_KNOWN);
  if (apart.length < 6) return null;
  const common = median(apart.map((a) => a.by));
  return Math.sqrt(apart.reduce((sum, a) => sum + ((a.by - common) / a.error) ** 2, 0) / (apart.length - 4));
}

function curveOf(fit: FocusFit | null): SweepRecord['curve'] {
  if (fit === null) return [];
  const floor = median(fit.floors.map((f) => f.value));
  return Array.from({ length: CURVE_POINTS }, (_, i) => {
    const t = CURVE_REACH * ((2 * i) / (CURVE_POINTS - 1) - 1);
    const x = (fit.growth * (t - fit.best[0]) ** 2) / floor;
    return { reading: readingAt(fit, t), middlePx: 2 * Math.sqrt(floor * fit.curve.at(x).g) };
  });
}
