import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { encodeFits } from '../../src/fits/encode.ts';
import { readHdus } from '../../src/fits/hdu.ts';
import { type ImageData, imageShape, readImage } from '../../src/fits/image.ts';
import type { PixelArray } from '../../src/fits/pixels.ts';
import { needProgram, needPython } from '../support/testData.ts';
import { digest, readWithAstropy } from './astropy.ts';
import { noise, starLike } from './samplePixels.ts';

/** Odd sizes, so that 100x100 tiles are clipped at both edges and 16x7 tiles at the right one. */
const WIDTH = 119;
const HEIGHT = 123;
const N = WIDTH * HEIGHT;

interface Sample {
  readonly pixels: PixelArray;
  readonly planes?: number;
}

const INTEGERS: Record<string, Sample> = {
  'u8-noise': { pixels: noise(new Uint8Array(N), 0, 255) },
  'i16-stars': { pixels: starLike(new Int16Array(N), WIDTH) },
  'i16-noise': { pixels: noise(new Int16Array(N), -32768, 32767) },
  'u16-stars': { pixels: starLike(new Uint16Array(N), WIDTH) },
  'u16-noise': { pixels: noise(new Uint16Array(N), 0, 65535) },
  'i32-noise': { pixels: noise(new Int32Array(N), -2147483648, 2147483647) },
  'u32-noise': { pixels: noise(new Uint32Array(N), 0, 4294967295) },
  'i16-flat': { pixels: new Int16Array(N).fill(-7) },
  'u16-cube': { pixels: noise(new Uint16Array(3 * N), 900, 1300), planes: 3 },
};

const FLOATS: Record<string, Sample> = {
  'f32-stars': { pixels: starLike(new Float32Array(N), WIDTH) },
  'f32-gaps': { pixels: withGaps(starLike(new Float32Array(N), WIDTH)) },
  'f64-stars': { pixels: starLike(new Float64Array(N), WIDTH) },
  'f32-flat': { pixels: new Float32Array(N).fill(3.5) },
  'f32-cube': { pixels: noise(new Float32Array(3 * N), -4, 4), planes: 3 },
};

/** Some pixels NaN, some exactly zero, one row wholly NaN. */
function withGaps(pixels: Float32Array): Float32Array {
  for (let i = 0; i < N; i += 17) pixels[i] = NaN;
  for (let i = 5; i < N; i += 13) pixels[i] = 0;
  pixels.fill(NaN, 4 * WIDTH, 5 * WIDTH);
  return pixels;
}

const CODECS = [['-r'], ['-g1'], ['-g2']];
const TILES = [[], ['-w'], ['-t', '100,100'], ['-t', '16,7']];
const FLOAT_TILES = [[], ['-t', '100,100']];
/** Quantised without dither, with either dithering, and lossless. */
const QUANTISATIONS = [
  ['-q0', '4'],
  ['-q77', '4'],
  ['-qz77', '4'],
  ['-q', '0'],
];

interface Packed {
  readonly label: string;
  readonly sample: Sample;
  readonly path: string;
  /** The same unpacked by funpack. */
  readonly plain: string;
}

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'starplumb-fpack-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Runs many commands in one shell: starting it for each takes longer than all the work. */
function shell(commands: readonly string[]): void {
  const run = spawnSync('sh', ['-e'], { input: commands.join('\n'), encoding: 'utf8' });
  if (run.status !== 0) throw new Error(run.stdout + run.stderr);
}

/**
 * Packs each sample with each option, and unpacks it again: by funpack, or where that mixes up tiles (images with NaN in
 * tiles that are not whole rows; seen with 4.2.0) by imcopy, which reads the same library row by row.
 */
function pack(samples: Record<string, Sample>, options: readonly (readonly string[])[]): Packed[] {
  const packed: Packed[] = [];
  const commands: string[] = [];
  for (const [name, sample] of Object.entries(samples)) {
    const source = join(folder, `${name}.fits`);
    writeFileSync(source, encodeFits({ ...sample, width: WIDTH, height: HEIGHT, cards: [] }));
    for (const option of options) {
      const label = `${name} ${option.join(' ')}`;
      const path = join(folder, `${label.replaceAll(/[ ,]/g, '_')}.fits.fz`);
      const plain = path.replace('.fz', '.plain.fits');
      const boxes = name.includes('gaps') && option.includes('-t');
      commands.push(`fpack ${option.join(' ')} -O ${path} ${source}`);
      commands.push(boxes ? `imcopy '${path}[1:${WIDTH},1:${HEIGHT}]' ${plain}` : `funpack -O ${plain} ${path}`);
      packed.push({ label, sample, path, plain });
    }
  }
  shell(commands);
  return packed;
}

function readPlanes(path: string): ImageData[] {
  const hdu = (bytes: Uint8Array) => {
    const { hdus } = readHdus(bytes, path);
    const found = hdus.find((each) => imageShape(each, path) !== null);
    if (found === undefined) throw new Error(`no image in ${path}`);
    return found;
  };
  const fresh = (): Uint8Array => new Uint8Array(readFileSync(path));
  const planes = imageShape(hdu(fresh()), path)?.planes ?? 0;
  return Array.from({ length: planes }, (_, plane) => {
    const bytes = fresh();
    return readImage(bytes, hdu(bytes), plane, path);
  });
}

/** Digests of what we read, each file read once. */
const ours = new Map<string, string>();
function readDigests(path: string): string {
  const known = ours.get(path) ?? readPlanes(path).map(digest).join();
  ours.set(path, known);
  return known;
}

/** Labels of files that we read otherwise than the reference. */
function differences(files: readonly Packed[], reference: (file: Packed, index: number) => string): string[] {
  return files.filter((file, index) => readDigests(file.path) !== reference(file, index)).map((file) => file.label);
}

const isLossless = ({ label }: Packed): boolean => label.includes('-q 0');

/** Digests of what was packed. */
const original = ({ sample }: Packed): string =>
  Array.from({ length: sample.planes ?? 1 }, (_, plane) =>
    digest({ pixels: sample.pixels.slice(plane * N, (plane + 1) * N), mask: null }),
  ).join();

const product = (a: readonly string[][], b: readonly string[][]): string[][] =>
  a.flatMap((x) => b.map((y) => [...x, ...y]));

describe('tile-compressed images made by fpack (cfitsio)', () => {
  it('integers of every type, codec and tile shape decode to what funpack, astropy and the original hold', (context) => {
    needProgram(context, 'fpack');
    needPython(context, 'astropy');
    const files = pack(INTEGERS, product(CODECS, TILES));
    expect(files.length).toBe(9 * 12);
    expect(differences(files, (file) => readDigests(file.plain))).toEqual([]);
    expect(differences(files, original)).toEqual([]);
    const astropy = readWithAstropy(files.map((file) => file.path));
    expect(differences(files, (_, index) => astropy[index].planes?.join() ?? '')).toEqual([]);
  });

  it('floating-point images, lossless or quantised, without dither, with dither 1 or 2, with NaN, decode as by funpack and astropy', (context) => {
    needProgram(context, 'fpack');
    needPython(context, 'astropy');
    const options = product(product(CODECS, FLOAT_TILES), QUANTISATIONS).filter(
      // Rice codes integers only: fpack refuses it for lossless floating point.
      (option) => !(option[0] === '-r' && option.join(' ').includes('-q 0')),
    );
    const files = pack(FLOATS, options);
    expect(files.length).toBe(5 * 22);
    // Lossless files are held against what was packed.
    const [lossless, quantised] = [files.filter(isLossless), files.filter((file) => !isLossless(file))];
    expect(differences(lossless, original)).toEqual([]);
    expect(differences(quantised, (file) => readDigests(file.plain))).toEqual([]);
    // astropy 5.2.1 makes numbers of the NaN of quantised images.
    const whole = files.filter((file) => isLossless(file) || !file.label.startsWith('f32-gaps'));
    const astropy = readWithAstropy(whole.map((file) => file.path));
    expect(differences(whole, (_, index) => astropy[index].planes?.join() ?? '')).toEqual([]);
  });

  it.each([
    ['HCOMPRESS_1', '-h'],
    ['PLIO_1', '-p'],
  ])('%s is refused by its name, with what to do', (codec, option) => {
    const run = spawnSync('fpack', ['-V']);
    if (run.error) return;
    const source = join(folder, `${codec}.fits`);
    writeFileSync(
      source,
      encodeFits({ pixels: starLike(new Int16Array(N), WIDTH), width: WIDTH, height: HEIGHT, cards: [] }),
    );
    spawnSync('fpack', [option, '-O', `${source}.fz`, source]);
    expect(() => readPlanes(`${source}.fz`)).toThrow(new RegExp(`compressed with ${codec} .*funpack`));
  });
});
