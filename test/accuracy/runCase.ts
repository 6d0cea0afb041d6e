import { frameFromFits } from '../../src/frame/fromFits.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { fileOf } from '../../src/commands/drawnFile.ts';
import { measureField, measureFrame } from '../../src/measure.ts';
import { orientationOf, setupFromFrames } from '../../src/diagnosis/setupFromFrames.ts';
import { scenesOf } from '../../src/optics/night.ts';
import { drawFrame } from '../../src/optics/starField.ts';
import { composeReport } from '../../src/report/compose.ts';
import { type Report, reportSchema } from '../../src/report/record.ts';
import { type DrawnCase, drawCase } from './drawnCase.ts';
import { type Truth, truthOf } from './truth.ts';

/** One case: what was drawn and what the record says of it. */
export interface Outcome {
  readonly drawn: DrawnCase;
  readonly truth: Truth;
  readonly report: Report;
  readonly seconds: { readonly draw: number; readonly measure: number };
}

/** Draws the case's subs as files, reads them back, measures them and composes the record, as `check` does. */
export function measureCase({ scenario, settings }: DrawnCase): Pick<Outcome, 'report' | 'seconds'> {
  const started = performance.now();
  const frames: Frame[] = scenesOf(scenario).map((scene, i) => {
    const { bytes, ending } = fileOf(scenario, scene, drawFrame(scene), i);
    return frameFromFits(bytes, `${scenario.name}-${i + 1}${ending}`);
  });
  const drawnAt = performance.now();
  const measured = frames.map((frame) => measureFrame(frame));
  const measurement = measureField(measured, setupFromFrames(frames, settings), orientationOf(frames, settings));
  const report = reportSchema.parse(
    composeReport(measurement, {
      created: '2030-01-01T00:00:00.000Z',
      tool: { name: 'starplumb', version: 'accuracy' },
      frames,
    }),
  );
  return {
    report,
    seconds: { draw: (drawnAt - started) / 1000, measure: (performance.now() - drawnAt) / 1000 },
  };
}

export function runCase(seed: number, index: number): Outcome {
  const drawn = drawCase(seed, index);
  return { drawn, truth: truthOf(drawn, scenesOf(drawn.scenario)), ...measureCase(drawn) };
}
