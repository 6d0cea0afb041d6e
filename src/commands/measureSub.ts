import { UserError } from '../errors.ts';
import { divideFlat, subtractDark } from '../frame/calibrate.ts';
import type { Frame } from '../frame/frame.ts';
import { type FrameMeasurement, measureFrame } from '../measure.ts';
import { type Preview, stretchPreview } from '../report/preview.ts';
import type { FrameArgument } from './frames.ts';
import { loadOrReject, type ReadingEffects } from './readFrames.ts';

/** A sub without its megabytes: what crosses from thread to thread. */
export type SubFacts = Omit<Frame, 'pixels' | 'mask'>;

/** What one sub gave, or why it could not be read. */
export type SubOutcome =
  | {
      readonly kind: 'measured';
      readonly facts: SubFacts;
      readonly measured: FrameMeasurement;
      readonly sha256: string;
      /** Where one was asked for. */
      readonly preview: Preview | null;
    }
  | { readonly kind: 'unreadable'; readonly message: string };

/** How all subs of a check are measured. */
export interface SubSettings {
  readonly moffat: boolean;
  /** Look for diffraction spikes. */
  readonly spikes: boolean;
  /** Longest side of the small picture, pixels. */
  readonly previewSide: number;
}

export interface Masters {
  readonly dark: Frame | null;
  readonly flat: Frame | null;
}

/** Told of each sub while its pixels are there. */
export type WithPixels = (frame: Frame, measured: FrameMeasurement) => void;

export const NO_MASTERS: Masters = { dark: null, flat: null };

/** Reads and measures one sub; its pixels are gone afterwards. */
export async function measureSub(
  argument: FrameArgument,
  settings: SubSettings,
  masters: Masters,
  withPreview: boolean,
  withPixels: WithPixels | null,
  effects: ReadingEffects,
): Promise<SubOutcome> {
  const loaded = await loadOrReject(argument, effects);
  if (loaded instanceof UserError) return { kind: 'unreadable', message: loaded.message };
  const { sha256 } = loaded;
  const frame = calibrate(loaded.frame, masters);
  const preview = withPreview ? stretchPreview(frame, settings.previewSide) : null;
  const measured = measureFrame(frame, settings);
  withPixels?.(frame, measured);
  const { name, width, height, facts, mosaic, notes } = frame;
  return { kind: 'measured', facts: { name, width, height, facts, mosaic, notes }, measured, sha256, preview };
}

function calibrate(frame: Frame, { dark, flat }: Masters): Frame {
  const darkened = dark === null ? frame : subtractDark(frame, dark);
  return flat === null ? darkened : divideFlat(darkened, flat);
}
