import { type Random, seededRandom } from '../numeric/random.ts';

/** Colour of pixel (x, y), stored order, is pattern[(y % 2) * 2 + (x % 2)]. */
export type MosaicPattern = readonly ['R' | 'G' | 'B', 'R' | 'G' | 'B', 'R' | 'G' | 'B', 'R' | 'G' | 'B'];

export interface Camera {
  readonly width: number;
  readonly height: number;
  readonly pixelUm: number;
  /** Electrons per ADU. */
  readonly gainEPerAdu: number;
  readonly readNoiseE: number;
  /** ADU of a pixel without light. */
  readonly offsetAdu: number;
  readonly fullWellE: number;
  readonly mosaic: MosaicPattern | null;
  /** Share of pixels that are hot. */
  readonly hotPixels: number;
}

/** A cooled 16-bit camera of 3.76 um pixels (typical figures). */
export const USUAL_CAMERA: Camera = {
  width: 1500,
  height: 1000,
  pixelUm: 3.76,
  gainEPerAdu: 0.8,
  readNoiseE: 1.6,
  offsetAdu: 500,
  fullWellE: 50_000,
  mosaic: null,
  hotPixels: 0,
};

/** Largest value of a 16-bit converter. */
const MAX_ADU = 65535;
/** Light of hot pixels: exponential with this mean, electrons. */
const HOT_MEAN_E = 8000;
/** Above this many electrons photon and read noise are drawn as one normal. */
const NORMAL_ABOVE_E = 64;

/** Middle of the frame in 0-based pixels: field position 0. */
export function centreOf(camera: Pick<Camera, 'width' | 'height'>): { x: number; y: number } {
  return { x: (camera.width - 1) / 2, y: (camera.height - 1) / 2 };
}

/** Smallest ADU a saturated pixel can show. */
export function saturationAdu(camera: Camera): number {
  return Math.min(MAX_ADU, Math.floor(camera.fullWellE / camera.gainEPerAdu + camera.offsetAdu));
}

/** Hot pixels belong to the camera: same seed, same places in every sub. */
function addHotPixels(light: Float32Array, camera: Camera, cameraSeed: number): void {
  const random = seededRandom(cameraSeed, 'hot pixels');
  const count = Math.round(camera.hotPixels * light.length);
  for (let i = 0; i < count; i++) {
    const at = random.integer(light.length);
    light[at] = light[at] - HOT_MEAN_E * Math.log(1 - random.uniform());
  }
}

/** What the camera writes for the expected light (electrons a pixel): photon noise, full well, read noise, offset, 16 bits. */
export function expose(light: Float32Array, camera: Camera, cameraSeed: number, random: Random): Uint16Array {
  addHotPixels(light, camera, cameraSeed);
  const pixels = new Uint16Array(light.length);
  const read2 = camera.readNoiseE ** 2;
  const { gainEPerAdu: gain, offsetAdu: offset, fullWellE: full } = camera;
  const top = saturationAdu(camera);
  for (let i = 0; i < light.length; i++) {
    const expected = light[i];
    let electrons: number;
    if (expected > NORMAL_ABOVE_E) {
      if (expected > full * 1.5) electrons = full;
      else electrons = Math.min(full, expected + Math.sqrt(expected + read2) * random.normal());
    } else {
      electrons = random.poisson(Math.max(0, expected)) + camera.readNoiseE * random.normal();
    }
    const adu = Math.round(electrons / gain + offset);
    pixels[i] = adu < 0 ? 0 : adu > top ? top : adu;
  }
  return pixels;
}
