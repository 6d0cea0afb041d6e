import { readFileSync } from 'node:fs';
import type { Frame } from '../../src/frame/frame.ts';
import { frameFromFits } from '../../src/frame/fromFits.ts';

/** One of the frames in samples/. */
export function sampleFrame(name: string): Frame {
  return frameFromFits(new Uint8Array(readFileSync(new URL(`../../samples/${name}`, import.meta.url))), name);
}
