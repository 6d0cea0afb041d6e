import type { Setup } from '../diagnosis/setup.ts';
import type { Orientation } from '../diagnosis/setupFromFrames.ts';
import type { Frame } from '../frame/frame.ts';
import type { Plate } from '../sweep/plate.ts';
import type { SweepRecord } from './sweepRecord.ts';

/** An earlier sweep's record with the name of its file. */
export interface EarlierSweep {
  readonly file: string;
  readonly record: SweepRecord;
}

/** What the record says beside the measurement. */
export interface SweepContext {
  readonly created: string;
  readonly tool: { readonly name: string; readonly version: string };
  /** Without pixels, in the order of the series. */
  readonly frames: readonly Frame[];
  readonly sha256: readonly (string | null)[];
  readonly rejected: readonly { readonly file: string; readonly why: string }[];
  readonly setup: Setup;
  readonly orientation: Orientation;
  readonly obstruction: { readonly value: number; readonly from: 'option' | 'rig' | 'assumed' };
  readonly umPerStep: { readonly value: number; readonly from: 'option' | 'header' } | null;
  readonly largerReadings: 'in' | 'out' | null;
  readonly cameraAngleDeg: number | null;
  readonly spacingMm: number | null;
  readonly plate: Plate | null;
  readonly against: EarlierSweep | null;
  /** Earlier sweeps at other camera angles, and at other known spacings. */
  readonly turned: readonly EarlierSweep[];
  readonly calibration: readonly EarlierSweep[];
  readonly notes: readonly string[];
  readonly settings: SweepRecord['settings'];
}
