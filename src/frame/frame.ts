import type { NdArray } from 'ndarray';
import type { PixelArray } from '../fits/pixels.ts';

export type { PixelArray };

/** A value with the header keyword (or 'option', 'rig') it came from. */
export interface Told<T> {
  readonly value: T;
  readonly keyword: string;
}

export type RowOrder = 'TOP-DOWN' | 'BOTTOM-UP';

/** Colour mosaic in STORED pixel order: colour of pixel (x, y) is pattern[(y % 2) * 2 + (x % 2)]. */
export interface Mosaic {
  readonly pattern: readonly ['R' | 'G' | 'B', 'R' | 'G' | 'B', 'R' | 'G' | 'B', 'R' | 'G' | 'B'];
  readonly keyword: string;
}

/** Which sites of a colour mosaic are green, as the data themselves say (headers lie). */
export interface GreenSites {
  /** Green pixels have ((x + y) & 1) === greenParity, in stored pixels. */
  readonly greenParity: 0 | 1;
  /** True where the pixels decided, false where they could not and the header's word was taken. */
  readonly fromData: boolean;
}

/** What the header told. Every entry optional (null): absent, unreadable and nonsense values are null with a note. */
export interface FrameFacts {
  readonly camera: Told<string> | null;
  readonly telescope: Told<string> | null;
  readonly object: Told<string> | null;
  /** Micrometres on the chip per pixel of THIS file (after binning). */
  readonly pixelUm: Told<number> | null;
  readonly binning: Told<number> | null;
  /** Electrons per ADU. */
  readonly gainEPerAdu: Told<number> | null;
  readonly readNoiseE: Told<number> | null;
  readonly pedestalAdu: Told<number> | null;
  readonly saturationAdu: Told<number> | null;
  /** Effective focal length (with corrector or reducer), millimetres. */
  readonly focalLengthMm: Told<number> | null;
  readonly apertureMm: Told<number> | null;
  /** Seconds. */
  readonly exposureS: Told<number> | null;
  /** Start of exposure, UTC, ISO 8601. */
  readonly dateObs: Told<string> | null;
  readonly filter: Told<string> | null;
  /** Focuser position, steps. */
  readonly focusPosition: Told<number> | null;
  readonly focusStepUm: Told<number> | null;
  /** Degrees Celsius. */
  /** At the focuser: follows the tube. */
  readonly focusTemperatureC: Told<number> | null;
  /** Of the air. */
  readonly ambientTemperatureC: Told<number> | null;
  readonly sensorTemperatureC: Told<number> | null;
  /** Degrees above the horizon. */
  readonly altitudeDeg: Told<number> | null;
  readonly azimuthDeg: Told<number> | null;
  readonly pierSide: Told<'east' | 'west'> | null;
  readonly rotatorDeg: Told<number> | null;
  /** Absent ROWORDER is null here; the BOTTOM-UP assumption is made, and said, when the report is composed. */
  readonly rowOrder: Told<RowOrder> | null;
  readonly mosaic: Mosaic | null;
}

/**
 * One sub. Pixels are 0-based, an integer coordinate is a pixel centre, x = column, y = STORED row,
 * `pixels.data[y * width + x]` in ADU as `pixels` holds them (BZERO applied; BSCALE too).
 */
export interface Frame {
  /** As the user named it: path, with [n] where an extension was chosen. */
  readonly name: string;
  readonly width: number;
  readonly height: number;
  /** Shape [height, width], row-major, contiguous, offset 0. */
  readonly pixels: NdArray<PixelArray>;
  /** 1 where the pixel holds no value (BLANK, NaN, infinity); null when every pixel is good. */
  readonly mask: Uint8Array | null;
  readonly facts: FrameFacts;
  /** Null for a mono frame. `facts.mosaic` is what the header claimed. */
  readonly mosaic: GreenSites | null;
  /** Sentences for the reader: what was odd, assumed or chosen while reading (which HDU, which plane, a lost padding). */
  readonly notes: readonly string[];
}
