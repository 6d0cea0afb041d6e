import { type Diagnosis, diagnose, tooSoft, weigh } from './diagnosis/diagnose.ts';
import { refinedBy } from './diagnosis/refined.ts';
import { retrieveWavefront } from './diagnosis/retrieve.ts';
import type { Setup } from './diagnosis/setup.ts';
import { type MeasureSettings, type Orientation, orientationOf, setupFromFrames } from './diagnosis/setupFromFrames.ts';
import { type Field, fitField } from './field/fitField.ts';
import type { FrameStars } from './field/frameStars.ts';
import type { Frame } from './frame/frame.ts';
import { median } from './numeric/statistics.ts';
import { measureStars, type StarToMeasure, windowRadius } from './shapes/measureStar.ts';
import { type MoffatSummary, summariseMoffat } from './shapes/moffatFit.ts';
import type { Shape } from './shapes/shape.ts';
import { fitWidthField } from './shapes/widthField.ts';
import { levelAt, meshBackground } from './stars/background.ts';
import { type Candidate, detectStars } from './stars/detect.ts';
import type { LeftOutReason, LeftOutStar } from './stars/leftOut.ts';
import { filledPlane, planeForKernels, planeOf } from './stars/plane.ts';
import {
  chooseCandidates,
  judgeShape,
  judgeTogether,
  samplePerZone,
  saturationLevel,
  typicalStarOf,
} from './stars/select.ts';
import { measureSpikes, type SpikeAngle, type SpikesUnseen } from './stars/spikes.ts';

/** What was measured on one sub. */
export interface FrameMeasurement {
  readonly stars: FrameStars;
  /** Candidates found, stars or not. */
  readonly found: number;
  readonly leftOut: Readonly<Partial<Record<LeftOutReason, number>>>;
  /** The same one by one, with their places: stored pixels. */
  readonly leftOutStars: readonly LeftOutStar[];
  /** Wings of the typical star; null unless asked for. */
  readonly moffat: MoffatSummary | null;
  /** How the spider stands on the sensor, or why that cannot be told. */
  readonly spikes: SpikeAngle | SpikesUnseen;
}

export interface FrameOptions {
  /** Fit Moffat profiles to the brightest stars as well. */
  readonly moffat?: boolean;
  /** Look for diffraction spikes; false saves a third of the time. */
  readonly spikes?: boolean;
}

/** Everything the report tells, from the pixels to the verdict. */
export interface Measurement {
  readonly frames: readonly FrameMeasurement[];
  readonly setup: Setup;
  readonly orientation: Orientation;
  readonly field: Field;
  readonly diagnosis: Diagnosis;
}

/** Stars of an unknown width are first fitted as if they had this FWHM, pixels. */
const FALLBACK_FWHM = 3;
/** Stars of each ninth of the frame that are looked at first. */
const LOOK_PER_ZONE = 24;
/** Electrons per ADU where the header is silent: what today's cooled cameras have near unity gain (common practice). */
const FALLBACK_GAIN = 1;

/** One sub: frame -> stars -> shapes. */
export function measureFrame(frame: Frame, options: FrameOptions = {}): FrameMeasurement {
  const plane = planeForKernels(planeOf(frame));
  const finding = filledPlane(plane);
  const background = meshBackground(plane);
  const { candidates, fwhmGuess } = detectStars(finding, background);
  const fwhm = fwhmGuess ?? FALLBACK_FWHM;
  const saturation = saturationLevel(plane, frame.facts.saturationAdu?.value ?? null, candidates);
  const gainEPerAdu = frame.facts.gainEPerAdu?.value ?? FALLBACK_GAIN;
  const { chosen, leftOut } = chooseCandidates(candidates, plane, saturation, fwhm, gainEPerAdu);
  const counts: Partial<Record<LeftOutReason, number>> = {};
  const leftOutStars: LeftOutStar[] = [];
  const leaveOut = ({ x, y }: { readonly x: number; readonly y: number }, reason: LeftOutReason): void => {
    counts[reason] = (counts[reason] ?? 0) + 1;
    leftOutStars.push({ x, y, reason });
  };
  for (const [star, reason] of leftOut) leaveOut(star, reason);
  const toMeasure = (star: Candidate, fwhmThere: number, window: number | null): StarToMeasure => ({
    x: star.x,
    y: star.y,
    fwhm: fwhmThere,
    peak: star.peak,
    sky: levelAt(background, star.x, star.y),
    noise: star.noise,
    gainEPerAdu,
    window,
  });
  // A first look at some stars tells how wide they are over the frame; then every star gets the window of its place.
  const some = samplePerZone(chosen, plane, LOOK_PER_ZONE).map((star) => toMeasure(star, fwhm, null));
  const look = measureStars(plane, some).flatMap((m) => (m.status === 'measured' ? [m.shape] : []));
  const widthAt = fitWidthField(look, frame.width, frame.height);
  const typicalOf = typicalStarOf(look);
  const widths = chosen.map((star) => widthAt?.(star.x, star.y) ?? fwhm);
  const all = chosen.map((star, i) => toMeasure(star, widths[i], windowRadius(widths[i])));
  const shapes: Shape[] = [];
  measureStars(plane, all).forEach((measured, i) => {
    const reason = measured.status === 'measured' ? judgeShape(measured.shape, typicalOf(widths[i])) : measured.reason;
    if (reason !== null) leaveOut(chosen[i], reason);
    else if (measured.status === 'measured') shapes.push(measured.shape);
  });
  const judged = judgeTogether(shapes, (s) => widthAt?.(s.x, s.y) ?? fwhm);
  judged.forEach((reason, i) => {
    if (reason !== null) leaveOut(shapes[i], reason);
  });
  const used = shapes.filter((_, i) => judged[i] === null);
  return {
    stars: {
      name: frame.name,
      width: frame.width,
      height: frame.height,
      shapes: used,
    },
    found: candidates.length,
    leftOut: counts,
    leftOutStars,
    moffat: options.moffat === true ? summariseMoffat(plane, used) : null,
    spikes:
      options.spikes === false
        ? { why: 'not looked for' }
        : measureSpikes(finding, background, candidates, used.length === 0 ? fwhm : median(used.map((s) => s.fwhm))),
  };
}

/** The subs together: shapes -> field -> diagnosis. */
export function measureField(frames: readonly FrameMeasurement[], setup: Setup, orientation: Orientation): Measurement {
  const stars = frames.map((frame) => frame.stars);
  const field = fitField(stars);
  return { frames, setup, orientation, field, diagnosis: diagnose(stars, field, setup, orientation.screenY) };
}

/**
 * The same measurement after all zone shapes of all subs were fitted at once with drawn stars: amounts in real units with their
 * errors. Takes seconds; without known optics, or where the fit does not settle, the measurement stays as it is.
 */
export function refine(measurement: Measurement, progress?: (share: number) => void): Measurement {
  const { frames, setup, orientation, field, diagnosis } = measurement;
  const { amounts } = diagnosis;
  if (amounts === null || tooSoft(amounts)) return measurement;
  const stars = frames.map((frame) => frame.stars);
  const retrieved = retrieveWavefront(stars, amounts, setup, progress);
  if (retrieved === null) return measurement;
  return {
    ...measurement,
    diagnosis: weigh(refinedBy(amounts, retrieved, setup), stars, field, setup, orientation.screenY),
  };
}

/** Told after each finished step: steps done, steps in all, what comes next. */
export type Progress = (done: number, of: number, what: string) => void;

/** One or more subs of the same set-up, from pixels to verdict. */
export function measure(frames: readonly Frame[], settings: MeasureSettings = {}, progress?: Progress): Measurement {
  const steps = frames.length + 1;
  const measured = frames.map((frame, i) => {
    progress?.(i, steps, frame.name);
    return measureFrame(frame);
  });
  progress?.(frames.length, steps, 'the field');
  const result = measureField(measured, setupFromFrames(frames, settings), orientationOf(frames, settings));
  progress?.(steps, steps, 'done');
  return result;
}
