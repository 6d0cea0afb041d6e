import { fileOf } from '../../src/commands/drawnFile.ts';
import type { Setup } from '../../src/diagnosis/setup.ts';
import { type Orientation, orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';
import { type FrameMeasurement, type Measurement, measureField, measureFrame, refine } from '../../src/measure.ts';
import { scenesOf } from '../../src/optics/night.ts';
import { drawFrame } from '../../src/optics/starField.ts';
import { composeReport } from '../../src/report/compose.ts';
import { type Report, reportSchema } from '../../src/report/record.ts';
import type { DrawnCase } from './drawnCase.ts';
import { type Truth, truthOf } from './truth.ts';

/** The stars of a case, measured on drawn frames, and what was drawn: all that the field and the diagnosis start from. */
export interface MeasuredCase {
  readonly drawn: DrawnCase;
  readonly truth: Truth;
  readonly stars: readonly FrameMeasurement[];
  readonly setup: Setup;
  readonly orientation: Orientation;
  /** The frames without their pixels. */
  readonly frames: readonly Omit<Frame, 'pixels' | 'mask'>[];
}

/** One case: what was drawn and what the record says of it. */
export interface Outcome {
  readonly drawn: DrawnCase;
  readonly truth: Truth;
  readonly report: Report;
  /** The record of `check --quick`, which leaves the whole-field fit out. */
  readonly quick: Report;
  /** Shares of the variance over the field that the whole-field model explains on held-out stars. */
  readonly explained: { readonly size: number | null; readonly elongation: number | null } | null;
}

/** Draws the case's subs as files, reads them back and measures their stars, as `check` does. */
export function measureCase(drawn: DrawnCase): MeasuredCase {
  const { scenario, settings } = drawn;
  const scenes = scenesOf(scenario);
  const frames = scenes.map((scene, i) => {
    const { bytes, ending } = fileOf(scenario, scene, drawFrame(scene), i);
    return frameFromFits(bytes, `${scenario.name}-${i + 1}${ending}`);
  });
  return {
    drawn,
    truth: truthOf(drawn, scenes),
    stars: frames.map((frame) => measureFrame(frame)),
    setup: setupFromFrames(frames, settings),
    orientation: orientationOf(frames, settings),
    frames: frames.map(({ name, width, height, facts, mosaic, notes }) => ({
      name,
      width,
      height,
      facts,
      mosaic,
      notes,
    })),
  };
}

/** From the measured stars to the validated records, with the whole-field fit and without. */
export function judgeCase(measured: MeasuredCase, quickOnly = false): Outcome {
  const { drawn, truth, stars, setup, orientation } = measured;
  const quick = measureField(stars, setup, orientation);
  const refined = quickOnly ? quick : refine(quick);
  const quickReport = recordOf(quick, measured);
  return {
    drawn,
    truth,
    report: refined === quick ? quickReport : recordOf(refined, measured),
    quick: quickReport,
    explained: refined.diagnosis.amounts?.retrieved?.explained ?? null,
  };
}

function recordOf(measurement: Measurement, { frames }: MeasuredCase): Report {
  return reportSchema.parse(
    composeReport(measurement, {
      created: '2030-01-01T00:00:00.000Z',
      tool: { name: 'starplumb', version: 'accuracy' },
      // The record takes facts and notes of a frame, never its pixels.
      frames: frames as readonly Frame[],
    }),
  );
}
