import ndarray from 'ndarray';
import { EXIT, UserError } from '../errors.ts';
import type { PixelArray } from '../fits/pixels.ts';
import type { Frame, Told } from './frame.ts';

/** Master dark and master flat applied to a sub. Calibrated frames are Float32; nothing is written back. */

/** A dark pixel this many robust sigmas above its dark's median is hot: far beyond Gaussian noise in 10^8 pixels (5.6). */
const HOT_SIGMAS = 10;
/** A flat darker than this share of its median carries no light worth dividing by. */
const LEAST_FLAT = 0.1;
/** Values looked at for a median: enough for 0.2 % of the noise. */
const SAMPLE = 1 << 18;
/** This many pixels at the very top of an integer frame are a saturated plateau, not chance. */
const PLATEAU = 5;
/** Beyond these a dark holds other warm pixels than the sub: 10 % of exposure; a dark current doubles in about 6 degrees C. */
const EXPOSURE_SHARE = 0.1;
const TEMPERATURE_C = 5;
/** Gains differ by more than the digits headers drop. */
const GAIN_SHARE = 0.01;

type Differ = (why: string) => never;

function differing(frame: Frame, master: Frame, what: string): Differ {
  return (why) => {
    throw new UserError(`${what} ${master.name} does not fit ${frame.name}: ${why}`, EXIT.wrongUsage);
  };
}

/** A fact that both headers tell, where they do not agree. */
function requireFact<T extends string | number>(
  name: string,
  [ours, theirs]: readonly [Told<T> | null, Told<T> | null],
  differ: Differ,
  agree: (ours: T, theirs: T) => boolean = (a, b) => a === b,
  unit = '',
): void {
  if (ours !== null && theirs !== null && !agree(ours.value, theirs.value))
    differ(`its ${name} is ${theirs.value}${unit}, the sub's ${ours.value}${unit}`);
}

/** Says what of camera, size, binning or mosaic differs; a master from another set-up spoils every pixel. */
function requireMatch(frame: Frame, master: Frame, differ: Differ): void {
  if (frame.width !== master.width || frame.height !== master.height)
    differ(`it has ${master.width} x ${master.height} pixels, the sub ${frame.width} x ${frame.height}`);
  requireFact('camera', [frame.facts.camera, master.facts.camera], differ);
  requireFact('binning', [frame.facts.binning, master.facts.binning], differ);
  const [sub, other] = [frame.mosaic, master.mosaic];
  if (sub !== null && other !== null && sub.fromData && other.fromData && sub.greenParity !== other.greenParity)
    differ('their colour mosaics do not begin with the same pixel');
}

/** A dark of another exposure, temperature or gain leaves warm pixels, or digs holes where the sub has none. */
function requireDark({ facts }: Frame, dark: Frame, differ: Differ): void {
  const within =
    (share: number) =>
    (a: number, b: number): boolean =>
      Math.abs(a - b) <= share * Math.abs(a);
  requireFact('exposure', [facts.exposureS, dark.facts.exposureS], differ, within(EXPOSURE_SHARE), ' s');
  requireFact('gain', [facts.gainEPerAdu, dark.facts.gainEPerAdu], differ, within(GAIN_SHARE), ' e-/ADU');
  requireFact(
    'sensor temperature',
    [facts.sensorTemperatureC, dark.facts.sensorTemperatureC],
    differ,
    (a, b) => Math.abs(a - b) <= TEMPERATURE_C,
    ' C',
  );
}

/** Median and robust sigma (1.4826 MAD) of up to SAMPLE evenly spread pixels; green ones only where a parity is given. */
function level({ pixels, width, mask }: Frame, parity: 0 | 1 | null): { median: number; sigma: number } {
  const { data, size } = pixels;
  const step = Math.max(1, Math.floor(size / SAMPLE)) | 1;
  const values: number[] = [];
  for (let i = 0; i < size; i += step) {
    if (mask?.[i] === 1 || (parity !== null && (((i % width) + Math.floor(i / width)) & 1) !== parity)) continue;
    values.push(data[i]);
  }
  const middle = (list: Float64Array): number => (list.length === 0 ? NaN : list.sort()[list.length >> 1]);
  const median = middle(Float64Array.from(values));
  return { median, sigma: 1.4826 * middle(Float64Array.from(values, (value) => Math.abs(value - median))) };
}

/** 1 where a pixel of the dark is hot, dead bright or without value. */
export function hotPixels(dark: Frame): Uint8Array {
  const { median, sigma } = level(dark, null);
  // At least one ADU: a dark stacked from few frames can be flatter than its steps.
  const limit = median + HOT_SIGMAS * Math.max(sigma, 1);
  const { data, size } = dark.pixels;
  const hot = new Uint8Array(size);
  for (let i = 0; i < size; i++) hot[i] = dark.mask?.[i] === 1 || !(data[i] <= limit) ? 1 : 0;
  return hot;
}

/** Where a sub saturates: its header's word, else the top of its values if many pixels stand there. */
function saturationOf(frame: Frame): Told<number> | null {
  if (frame.facts.saturationAdu !== null) return frame.facts.saturationAdu;
  const data: PixelArray = frame.pixels.data;
  if (data instanceof Float32Array || data instanceof Float64Array) return null;
  let top = -Infinity;
  let count = 0;
  for (let i = 0; i < data.length; i++) {
    if (data[i] < top) continue;
    count = data[i] === top ? count + 1 : 1;
    top = data[i];
  }
  return count >= PLATEAU ? { value: top, keyword: 'pixels' } : null;
}

function merged(frame: Frame, bad: Uint8Array): Uint8Array | null {
  if (frame.mask !== null) for (let i = 0; i < bad.length; i++) bad[i] |= frame.mask[i];
  return bad.includes(1) ? bad : null;
}

function calibrated(
  frame: Frame,
  data: Float32Array,
  bad: Uint8Array,
  saturation: Told<number> | null,
  notes: readonly string[],
): Frame {
  if (saturation !== null) {
    // A saturated plateau stays one level, so that it can still be recognised.
    for (let i = 0; i < data.length; i++) if (data[i] > saturation.value) data[i] = saturation.value;
  }
  return {
    ...frame,
    pixels: ndarray(data as PixelArray, [frame.height, frame.width]),
    mask: merged(frame, bad),
    facts: { ...frame.facts, saturationAdu: saturation },
    notes: [...frame.notes, ...notes],
  };
}

/** The sub less its master dark; hot pixels of the dark are masked. Refuses a dark of another size, camera, binning, exposure, gain or temperature. */
export function subtractDark(frame: Frame, dark: Frame): Frame {
  const differ = differing(frame, dark, 'the dark');
  requireMatch(frame, dark, differ);
  requireDark(frame, dark, differ);
  const bad = hotPixels(dark);
  const hot = bad.reduce((sum, each) => sum + each, 0);
  const [raw, zero] = [frame.pixels.data, dark.pixels.data];
  const told = saturationOf(frame);
  const { median } = level(dark, null);
  const saturation = told === null ? null : { value: told.value - median, keyword: told.keyword };
  const data = new Float32Array(frame.pixels.size);
  for (let i = 0; i < data.length; i++) {
    data[i] = told !== null && saturation !== null && raw[i] >= told.value ? saturation.value : raw[i] - zero[i];
  }
  const notes = [`the dark ${dark.name} was taken off, ${hot} hot pixels are left out`];
  return calibrated(frame, data, bad, saturation, notes);
}

/** The sub divided by its master flat (1 at the flat's median; of a mosaic, at its green median). */
export function divideFlat(frame: Frame, flat: Frame): Frame {
  const differ = differing(frame, flat, 'the flat');
  requireMatch(frame, flat, differ);
  requireFact('filter', [frame.facts.filter, flat.facts.filter], differ, (a, b) => a.toLowerCase() === b.toLowerCase());
  const { median } = level(flat, frame.mosaic?.greenParity ?? null);
  if (!(median > 0))
    throw new UserError(`the flat ${flat.name} has a median of ${median}, expected light`, EXIT.wrongUsage);
  const [raw, light] = [frame.pixels.data, flat.pixels.data];
  const told = saturationOf(frame);
  const data = new Float32Array(frame.pixels.size);
  const bad = new Uint8Array(data.length);
  for (let i = 0; i < data.length; i++) {
    const share = light[i] / median;
    const dark = !(share >= LEAST_FLAT) || flat.mask?.[i] === 1;
    bad[i] = dark ? 1 : 0;
    data[i] = dark ? raw[i] : told !== null && raw[i] >= told.value ? told.value : raw[i] / share;
  }
  const count = bad.reduce((sum, each) => sum + each, 0);
  const lost = count === 0 ? '' : `, ${count} pixels without light in it are left out`;
  return calibrated(frame, data, bad, told, [`divided by the flat ${flat.name}${lost}`]);
}
