import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readHdus } from '../../src/fits/hdu.ts';
import { valueOf } from '../../src/fits/header.ts';
import { readImage } from '../../src/fits/image.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { imagesOf, largestImage } from '../../src/frame/chooseImage.ts';
import { PYTHON } from '../support/testData.ts';

const SCRIPT = fileURLToPath(new URL('../../scripts/reference/cfitsio_pixels.py', import.meta.url));

interface OurReading {
  readonly hdu: number;
  readonly pixels: PixelArray;
  readonly mask: Uint8Array | null;
  readonly width: number;
  readonly height: number;
  /** Size of BZERO: rounding happens before it is added. */
  readonly zero: number;
  /** Whether anything odd was said. */
  readonly reported: boolean;
}

/** First plane of the image that the frame would be made of. */
function ourReading(bytes: Uint8Array): OurReading {
  const list = readHdus(bytes, 'x');
  const { image, notes } = largestImage(list, imagesOf(list, 'x'), 'x');
  const data = readImage(bytes, image.hdu, 0, 'x');
  const said = [
    ...list.notes,
    ...notes.filter((note) => !note.includes('can be named as')),
    ...image.hdu.header.notes,
    ...data.notes,
  ];
  const zero = Math.abs(Number(valueOf(image.hdu.header, 'BZERO') ?? 0)) || 0;
  return { ...data, zero, hdu: image.hdu.index, reported: said.length > 0 };
}

/** Largest difference relative to the value, of pixels that both call good; Infinity where only one does. */
function difference(ours: OurReading, theirs: Float64Array): number {
  let worst = 0;
  // Read as doubles, but a single-precision image cannot hold more.
  const single = ours.pixels instanceof Float32Array;
  for (let i = 0; i < theirs.length; i++) {
    const [a, b] = [ours.mask?.[i] === 1 ? NaN : ours.pixels[i], single ? Math.fround(theirs[i]) : theirs[i]];
    // cfitsio calls infinities NaN where it looks for values without meaning.
    if (a === b || (!Number.isFinite(a) && !Number.isFinite(b))) continue;
    const relative = Math.abs(a - b) / Math.max(Math.abs(b), ours.zero, 1e-30);
    if (!(relative <= worst)) worst = Number.isNaN(relative) ? Infinity : relative;
  }
  return worst;
}

/** Single precision where 8- and 16-bit integers are scaled: two roundings. */
const ROUNDING = 4e-7;

export type Verdict = 'same' | 'refused' | 'crashed' | 'hung' | 'different, reported' | 'different, silent';

/** Holds what we read of each file (all of them accepted by us) against cfitsio; `folder` takes the files. */
export function compareWithCfitsio(files: readonly Uint8Array[], folder: string): Verdict[] {
  const readings = files.map((bytes) => ourReading(bytes.slice()));
  const list = files.map((bytes, i) => {
    const path = join(folder, `${i}.fits`);
    writeFileSync(path, bytes);
    return `${path}\t${readings[i].hdu}\t${path}.pixels`;
  });
  writeFileSync(join(folder, 'list'), list.join('\n'));
  const run = spawnSync(PYTHON, [SCRIPT, join(folder, 'list')], { encoding: 'utf8', maxBuffer: 1 << 26 });
  const verdicts = run.stdout.trim().split('\n');
  if (run.status !== 0 || verdicts.length !== files.length) throw new Error(`cfitsio comparison failed: ${run.stderr}`);
  return verdicts.map((verdict, i) => {
    if (verdict !== 'ok') return verdict as Verdict;
    const bytes = readFileSync(join(folder, `${i}.fits.pixels`));
    const [width, height] = [Number(bytes.readBigInt64LE(0)), Number(bytes.readBigInt64LE(8))];
    const theirs = new Float64Array(bytes.buffer.slice(bytes.byteOffset + 16, bytes.byteOffset + bytes.length));
    const ours = readings[i];
    if (width === ours.width && height === ours.height && difference(ours, theirs) < ROUNDING) return 'same';
    return ours.reported ? 'different, reported' : 'different, silent';
  });
}

/** Whether this machine has the library. */
export function hasCfitsio(): boolean {
  const load = "import ctypes, ctypes.util; ctypes.CDLL(ctypes.util.find_library('cfitsio') or 'libcfitsio.so.10')";
  return spawnSync(PYTHON, ['-c', load]).status === 0;
}
