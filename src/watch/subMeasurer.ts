import { createHash } from 'node:crypto';
import { createRequire } from 'node:module';
import { deserialize, serialize } from 'node:v8';
import ndarray from 'ndarray';
import type Sharp from 'sharp';
import { type StarPlaces, starPlaces } from '../adjust/starTravel.ts';
import { DISK, type FrameEffects, loadFrame } from '../commands/frames.ts';
import type { RigForCheck } from '../commands/rigForCheck.ts';
import { mixtureNotes } from '../commands/sameSetup.ts';
import { type MeasureSettings, orientationOf, setupFromFrames } from '../diagnosis/setupFromFrames.ts';
import { UserError } from '../errors.ts';
import type { Frame } from '../frame/frame.ts';
import { type SubSummary, subFacts, typicalShape } from '../live/subRecord.ts';
import { thinStars } from '../live/thinStars.ts';
import { type FrameMeasurement, measureField, measureFrame } from '../measure.ts';
import { composeReport } from '../report/compose.ts';
import { onScreen, stretchPreview } from '../report/preview.ts';
import { parseReport, type Report } from '../report/record.ts';

/** A sub as it was measured, without its pixels. */
export interface MeasuredSub extends SubSummary {
  /** To be found again in the next sub. */
  readonly brightest: StarPlaces;
  /** Frame and stars, to be handed back to `restore` after a restart. */
  readonly packed: Uint8Array;
}

/** A file that could not be measured, in words. `gone`: it is not there any more. */
export interface Unmeasured {
  readonly problem: string;
  readonly gone: boolean;
  readonly sha256: string;
}

/** Measures subs one by one and those of a set together. Subs are named by their checksum. */
export interface Measurer {
  measure(path: string, name: string): Promise<MeasuredSub | Unmeasured>;
  /** All named subs together; null where none of them is at hand. */
  field(subs: readonly string[], created: string): Promise<Report | null>;
  /** JPEG of the sub measured last as it stands on the report's screen; null where there is none. */
  picture(): Promise<Uint8Array | null>;
  /** False where the packed stars cannot be used (another version of the program). */
  restore(sha256: string, packed: Uint8Array): Promise<boolean>;
  /** Only these are kept at hand. */
  keepOnly(subs: readonly string[]): Promise<void>;
  close(): Promise<void>;
}

interface Kept {
  readonly frame: Frame;
  readonly measured: FrameMeasurement;
}

/** Stars that the subs of a set bring together: more only make the answer late. */
export const LIVE_STARS = 1800;
/** Longest side of the picture, pixels: sharp on a phone, small enough for a slow radio link. */
const PICTURE_SIDE = 1200;
const JPEG_QUALITY = 82;
const NO_PIXELS = ndarray(new Uint8Array(0), [0, 0]);

/** Does the work itself, in whatever process it is made in. */
export class SubMeasurer implements Measurer {
  readonly #settings: MeasureSettings;
  readonly #tool: { readonly name: string; readonly version: string };
  readonly #rigFor: (frames: readonly Frame[]) => RigForCheck;
  readonly #subs = new Map<string, Kept>();
  /** The frame measured last, with its pixels, until its picture is asked for. */
  #latest: Frame | null = null;

  constructor(
    settings: MeasureSettings,
    tool: { readonly name: string; readonly version: string },
    rigFor: (frames: readonly Frame[]) => RigForCheck,
  ) {
    this.#settings = settings;
    this.#tool = tool;
    this.#rigFor = rigFor;
  }

  measure(path: string, name: string): Promise<MeasuredSub | Unmeasured> {
    return this.#measure(path, name, DISK);
  }

  /** A frame that stands in memory. */
  measureBytes(bytes: Uint8Array, name: string): Promise<MeasuredSub | Unmeasured> {
    return this.#measure(name, name, { ...DISK, readFile: () => Promise.resolve(bytes) });
  }

  async #measure(path: string, name: string, disk: FrameEffects): Promise<MeasuredSub | Unmeasured> {
    let sha256 = '';
    this.#latest = null;
    const reader = {
      ...disk,
      readFile: async (file: string) => {
        const bytes = await disk.readFile(file);
        // Taken now: decoding may swap the bytes in place.
        sha256 = createHash('sha256').update(bytes).digest('hex');
        return bytes;
      },
    };
    try {
      const frame = await loadFrame({ name: path, path }, reader);
      const named = { ...frame, name };
      // Stars left out are counted, their places are not needed here.
      const measured = { ...measureFrame(named), leftOutStars: [] };
      this.#latest = named;
      const kept = { frame: { ...named, pixels: NO_PIXELS, mask: null }, measured };
      this.#subs.set(sha256, kept);
      return {
        sha256,
        width: frame.width,
        height: frame.height,
        starsFound: measured.found,
        starsFitted: measured.stars.shapes.length,
        ...typicalShape(measured),
        facts: subFacts(frame.facts, frame.mosaic !== null),
        brightest: starPlaces(measured.stars),
        packed: serialize({ version: this.#tool.version, ...kept, frame: { ...kept.frame, pixels: null } }),
      };
    } catch (error) {
      if (!(error instanceof UserError)) throw error;
      const gone = (error.cause as NodeJS.ErrnoException | undefined)?.code === 'ENOENT';
      const problem = error.message.startsWith(`${path}: `) ? error.message.slice(path.length + 2) : error.message;
      return { problem, gone, sha256 };
    }
  }

  field(subs: readonly string[], created: string): Promise<Report | null> {
    const kept = subs.flatMap((sha256) => {
      const sub = this.#subs.get(sha256);
      return sub === undefined ? [] : [{ sha256, ...sub }];
    });
    if (kept.length === 0) return Promise.resolve(null);
    const most = Math.ceil(LIVE_STARS / kept.length);
    const frames = kept.map(({ frame }) => frame);
    const rig = this.#rigFor(frames);
    const settled = { ...this.#settings, kept: rig.kept };
    const measurement = measureField(
      kept.map(({ measured }) => ({ ...measured, stars: thinStars(measured.stars, most) })),
      setupFromFrames(frames, settled),
      orientationOf(frames, settled),
    );
    const report = composeReport(measurement, {
      created,
      tool: this.#tool,
      frames,
      sha256: kept.map(({ sha256 }) => sha256),
      rig: rig.name,
      cameraAngle: rig.cameraAngle,
      notes: [...rig.notes, ...mixtureNotes(frames)],
    });
    return Promise.resolve(parseReport(report));
  }

  async picture(): Promise<Uint8Array | null> {
    if (this.#latest === null) return null;
    const preview = stretchPreview(this.#latest, PICTURE_SIDE);
    const settled = { ...this.#settings, kept: this.#rigFor([this.#latest]).kept };
    const { grey, width, height } = onScreen(preview, orientationOf([this.#latest], settled).rowOrder);
    this.#latest = null;
    const sharp = createRequire(import.meta.url)('sharp') as typeof Sharp;
    return sharp(grey, { raw: { width, height, channels: 1 } })
      .jpeg({ quality: JPEG_QUALITY })
      .toBuffer();
  }

  restore(sha256: string, packed: Uint8Array): Promise<boolean> {
    try {
      const kept = deserialize(packed) as Kept & { version: string };
      if (kept.version !== this.#tool.version) return Promise.resolve(false);
      this.#subs.set(sha256, { frame: { ...kept.frame, pixels: NO_PIXELS }, measured: kept.measured });
      return Promise.resolve(true);
    } catch {
      return Promise.resolve(false);
    }
  }

  keepOnly(subs: readonly string[]): Promise<void> {
    for (const sha256 of this.#subs.keys()) if (!subs.includes(sha256)) this.#subs.delete(sha256);
    return Promise.resolve();
  }

  close(): Promise<void> {
    this.#subs.clear();
    this.#latest = null;
    return Promise.resolve();
  }
}
