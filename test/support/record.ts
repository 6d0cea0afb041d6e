import type { MeasureSettings } from '../../src/diagnosis/setupFromFrames.ts';
import type { Frame } from '../../src/frame/frame.ts';
import { measure, refine } from '../../src/measure.ts';
import { composeReport } from '../../src/report/compose.ts';
import { type Finding, type Report, reportSchema } from '../../src/report/record.ts';

/** Subs to a validated record, the clock held still; `fitted`: with the whole-field fit. */
export function recordOf(
  frames: readonly Frame[],
  settings: MeasureSettings = {},
  { fitted = false }: { readonly fitted?: boolean } = {},
): Report {
  const quick = measure(frames, settings);
  const measurement = fitted ? refine(quick) : quick;
  return reportSchema.parse(
    composeReport(measurement, {
      created: '2030-01-01T00:00:00.000Z',
      tool: { name: 'starplumb', version: 'test' },
      frames,
    }),
  );
}

export function findingOf(report: Report, cause: string): Finding {
  const finding = report.findings.find((f) => f.cause === cause);
  if (finding === undefined) throw new Error(`the report has no finding '${cause}'`);
  return finding;
}

/** Smallest difference of two directions (period 360) or axes (period 180), degrees. */
export function angleBetween(a: number, b: number, period = 360): number {
  const d = (((a - b) % period) + period) % period;
  return Math.min(d, period - d);
}
