import type { MeasureSettings } from '../../src/diagnosis/setupFromFrames.ts';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { type Measurement, measureField, measureFrame, refine } from '../../src/measure.ts';

/** Subs measured together, at once and with the whole-field fit. */
export function refined(
  frames: readonly Frame[],
  settings: MeasureSettings,
): { readonly quick: Measurement; readonly fine: Measurement } {
  const quick = measureField(
    frames.map((frame) => measureFrame(frame)),
    setupFromFrames(frames, settings),
    orientationOf(frames, settings),
  );
  return { quick, fine: refine(quick) };
}
