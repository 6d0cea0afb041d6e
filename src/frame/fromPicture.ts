import { createRequire } from 'node:module';
import ndarray from 'ndarray';
import type Sharp from 'sharp';
import { damaged } from '../fits/damage.ts';
import type { PixelArray } from '../fits/pixels.ts';
import { NO_FACTS } from './facts.ts';
import type { Frame, FrameFacts } from './frame.ts';
import { judgeMosaic } from './mosaicClaim.ts';

/** PNG and TIFF frames through sharp (libvips), which is loaded only when such a frame comes: it takes 30 ms. */

export type PictureKind = 'PNG' | 'TIFF';

/** Kind of picture by its first bytes; null for anything else. */
export function pictureKind(bytes: Uint8Array): PictureKind | null {
  const start = String.fromCharCode(...bytes.subarray(0, 4));
  if (start === '\x89PNG') return 'PNG';
  return start === 'II*\0' || start === 'MM\0*' ? 'TIFF' : null;
}

interface SampleType {
  readonly depth: 'uchar' | 'ushort' | 'uint' | 'float' | 'double';
  /** Without these colour spaces sharp hands 16-bit pixels out as 8-bit values. */
  readonly grey: string;
  readonly rgb: string;
  readonly view: (bytes: Uint8Array) => PixelArray;
}

const SAMPLES: Record<string, SampleType> = {
  uchar: { depth: 'uchar', grey: 'b-w', rgb: 'srgb', view: (b) => b },
  ushort: {
    depth: 'ushort',
    grey: 'grey16',
    rgb: 'rgb16',
    view: (b) => new Uint16Array(b.buffer, b.byteOffset, b.byteLength / 2),
  },
  uint: {
    depth: 'uint',
    grey: 'b-w',
    rgb: 'srgb',
    view: (b) => new Uint32Array(b.buffer, b.byteOffset, b.byteLength / 4),
  },
  float: {
    depth: 'float',
    grey: 'b-w',
    rgb: 'srgb',
    view: (b) => new Float32Array(b.buffer, b.byteOffset, b.byteLength / 4),
  },
  double: {
    depth: 'double',
    grey: 'b-w',
    rgb: 'srgb',
    view: (b) => new Float64Array(b.buffer, b.byteOffset, b.byteLength / 8),
  },
};

function nonFinite(pixels: PixelArray): Uint8Array | null {
  if (!(pixels instanceof Float32Array || pixels instanceof Float64Array)) return null;
  let mask: Uint8Array | null = null;
  for (let i = 0; i < pixels.length; i++) {
    if (pixels[i] - pixels[i] === 0) continue;
    mask ??= new Uint8Array(pixels.length);
    mask[i] = 1;
  }
  return mask;
}

function loadSharp(): typeof Sharp {
  return createRequire(import.meta.url)('sharp') as typeof Sharp;
}

interface Decoded {
  readonly pixels: PixelArray;
  readonly width: number;
  readonly height: number;
  readonly notes: readonly string[];
}

async function decode(bytes: Uint8Array): Promise<Decoded> {
  // An embedded colour profile must not touch the numbers.
  const image = loadSharp()(bytes, { ignoreIcc: true });
  const { depth, channels, pages } = await image.metadata();
  const type = SAMPLES[depth];
  if (type === undefined) throw new Error(`pixels of type ${depth} are not read here`);
  const colour = channels >= 3;
  const { data, info } = await image
    .toColourspace(colour ? type.rgb : type.grey)
    .extractChannel(colour ? 1 : 0)
    .raw({ depth: type.depth })
    .toBuffer({ resolveWithObject: true });
  const notes = [
    ...(colour ? ['the green channel of the colour picture was read'] : []),
    ...((pages ?? 1) > 1 ? [`page 1 of ${pages} was read`] : []),
    ...(type.depth === 'uchar'
      ? ["the picture has 8 bits a pixel: use the camera's own 16-bit frames for measuring"]
      : []),
  ];
  const aligned = data.byteOffset % 8 === 0 ? data : Uint8Array.from(data);
  return { pixels: type.view(aligned), width: info.width, height: info.height, notes };
}

/** A frame from the bytes of a PNG or TIFF file: 8, 16 or 32 bits, or floating point. Both are stored top-down. */
export async function frameFromPicture(bytes: Uint8Array, name: string, kind: PictureKind): Promise<Frame> {
  let picture: Decoded;
  try {
    picture = await decode(bytes);
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw damaged(name, `the ${kind} picture cannot be read (${why.split('\n')[0]})`, { cause: error });
  }
  const { pixels, width, height } = picture;
  const facts: FrameFacts = { ...NO_FACTS, rowOrder: { value: 'TOP-DOWN', keyword: kind } };
  const verdict = judgeMosaic([], facts, picture, 1);
  return {
    name,
    width,
    height,
    pixels: ndarray(pixels, [height, width]),
    mask: nonFinite(pixels),
    facts: verdict.facts,
    mosaic: verdict.mosaic,
    notes: [...picture.notes, ...verdict.notes],
  };
}
