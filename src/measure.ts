import { type Diagnosis, diagnose } from './diagnosis/diagnose.ts';
import type { Setup } from './diagnosis/setup.ts';
import { type MeasureSettings, type Orientation, orientationOf, setupFromFrames } from './diagnosis/setupFromFrames.ts';
import { type Field, fitField } from './field/fitField.ts';
import type { FrameStars } from './field/frameStars.ts';
import type { Frame } from './frame/frame.ts';
import { measureStar } from './shapes/measureStar.ts';
import type { Shape } from './shapes/shape.ts';
import { levelAt, meshBackground } from './stars/background.ts';
import { detectStars } from './stars/detect.ts';
import type { LeftOutReason } from './stars/leftOut.ts';
import { filledPlane, planeOf } from './stars/plane.ts';
import { chooseCandidates, judgeShapes, saturationLevel } from './stars/select.ts';

/** What was measured on one sub. */
export interface FrameMeasurement {
  readonly stars: FrameStars;
  /** Candidates found, stars or not. */
  readonly found: number;
  readonly leftOut: Readonly<Partial<Record<LeftOutReason, number>>>;
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
/** Electrons per ADU where the header is silent: what today's cooled cameras have near unity gain (common practice). */
const FALLBACK_GAIN = 1;

/** One sub: frame -> stars -> shapes. */
export function measureFrame(frame: Frame): FrameMeasurement {
  const plane = planeOf(frame);
  const finding = filledPlane(plane);
  const background = meshBackground(plane);
  const { candidates, fwhmGuess } = detectStars(finding, background);
  const fwhm = fwhmGuess ?? FALLBACK_FWHM;
  const saturation = saturationLevel(plane, frame.facts.saturationAdu?.value ?? null, candidates);
  const { chosen, leftOut } = chooseCandidates(candidates, plane, saturation, fwhm);
  const counts: Partial<Record<LeftOutReason, number>> = {};
  const count = (reason: LeftOutReason): void => {
    counts[reason] = (counts[reason] ?? 0) + 1;
  };
  for (const reason of leftOut.values()) count(reason);
  const shapes: Shape[] = [];
  for (const star of chosen) {
    const sky = levelAt(background, star.x, star.y);
    const gainEPerAdu = frame.facts.gainEPerAdu?.value ?? FALLBACK_GAIN;
    const measured = measureStar(plane, {
      x: star.x,
      y: star.y,
      fwhm,
      peak: star.peak,
      sky,
      noise: star.noise,
      gainEPerAdu,
    });
    if (measured.status === 'measured') shapes.push(measured.shape);
    else count(measured.reason);
  }
  const judged = judgeShapes(shapes, frame.width, frame.height);
  for (const reason of judged) if (reason !== null) count(reason);
  return {
    stars: {
      name: frame.name,
      width: frame.width,
      height: frame.height,
      shapes: shapes.filter((_, i) => judged[i] === null),
    },
    found: candidates.length,
    leftOut: counts,
  };
}

/** The subs together: shapes -> field -> diagnosis. */
export function measureField(frames: readonly FrameMeasurement[], setup: Setup, orientation: Orientation): Measurement {
  const stars = frames.map((frame) => frame.stars);
  const field = fitField(stars);
  return { frames, setup, orientation, field, diagnosis: diagnose(stars, field, setup, orientation.screenY) };
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
