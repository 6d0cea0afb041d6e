import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { fileURLToPath } from 'node:url';
import type { ImageData } from '../../src/fits/image.ts';
import { PYTHON } from '../support/testData.ts';

/** What astropy read from one image. */
export interface AstropyImage {
  readonly file: string;
  readonly hdu: number;
  readonly type?: string;
  readonly width?: number;
  readonly height?: number;
  readonly planes?: readonly string[];
  readonly error?: string;
}

const SCRIPT = fileURLToPath(new URL('../../scripts/reference/fits_pixels.py', import.meta.url));

/** Every image of the files as astropy reads them. */
export function readWithAstropy(paths: readonly string[]): AstropyImage[] {
  const run = spawnSync(PYTHON, [SCRIPT, ...paths], { encoding: 'utf8', maxBuffer: 1 << 26 });
  if (run.status !== 0) throw new Error(run.stderr);
  return run.stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as AstropyImage);
}

/** The digest that scripts/reference/fits_pixels.py makes: doubles, one NaN for all. */
export function digest({ pixels, mask }: Pick<ImageData, 'pixels' | 'mask'>): string {
  const values = Float64Array.from(pixels);
  const integers = !(pixels instanceof Float32Array || pixels instanceof Float64Array);
  for (let i = 0; i < values.length; i++) if (Number.isNaN(values[i]) || (integers && mask?.[i] === 1)) values[i] = NaN;
  const words = new Uint32Array(values.buffer);
  for (let i = 0; i < values.length; i++) {
    if (!Number.isNaN(values[i])) continue;
    words[2 * i] = 0;
    words[2 * i + 1] = 0x7ff80000;
  }
  return createHash('sha256').update(new Uint8Array(values.buffer)).digest('hex');
}
