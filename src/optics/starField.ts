import { seededRandom } from '../numeric/random.ts';
import { type Camera, centreOf, expose, type MosaicPattern, USUAL_CAMERA } from './camera.ts';
import { type Complex, ZERO } from './complex.ts';
import { dispersionShift, MILD_AIR, refractionArcsec } from './dispersion.ts';
import { BANDS, type FilterName, gaussWavelengths, type WavelengthSample } from './filter.ts';
import { imageField } from './imageField.ts';
import { type ImageConditions, maxHalfSize, type Psf, stampAt } from './psf.ts';
import { addCosmicRays, CLEAR_SKY, type Sky, skyLight, vignette } from './sky.ts';
import { type Smear, STEADY } from './smear.ts';
import { type Star, type StarCounts, scatterStars, USUAL_STARS } from './starList.ts';
import { ALIGNED, type OpticalState } from './state.ts';
import { EXAMPLE_TELESCOPE, type Telescope, umPerArcsec } from './telescope.ts';

/** Everything one sub is drawn from. Directions in stored axes. */
export interface Scene {
  readonly telescope: Telescope;
  readonly state: OpticalState;
  readonly camera: Camera;
  readonly filter: FilterName;
  readonly seeingArcsec: number;
  readonly smear: Smear;
  /** null: no dispersion is drawn. `zenith`: unit vector on the sensor towards the zenith. */
  readonly atmosphere: { readonly altitudeDeg: number; readonly zenith: Complex } | null;
  readonly stars: StarCounts | readonly Star[];
  readonly sky: Sky;
  /** Where the sky stands against its usual place, pixels: dithering between subs. */
  readonly ditherPx: Complex;
  /** Stars are scattered over the frame and so much round it, at the same density. */
  readonly marginPx: number;
  /** Places of the stars. */
  readonly fieldSeed: number;
  /** Photon and read noise. */
  readonly noiseSeed: number;
  /** Hot pixels. */
  readonly cameraSeed: number;
}

export const USUAL_SCENE: Scene = {
  telescope: EXAMPLE_TELESCOPE,
  state: ALIGNED,
  camera: USUAL_CAMERA,
  filter: 'L',
  seeingArcsec: 2.5,
  smear: STEADY,
  atmosphere: null,
  stars: USUAL_STARS,
  sky: CLEAR_SKY,
  ditherPx: ZERO,
  marginPx: 0,
  fieldSeed: 1,
  noiseSeed: 1,
  cameraSeed: 1,
};

export interface DrawnFrame {
  readonly width: number;
  readonly height: number;
  /** ADU, row-major in stored order. */
  readonly pixels: Uint16Array;
  readonly stars: readonly Star[];
}

/** A stamp ends where the star's light falls under this share of the sky's noise. */
const STAMP_EDGE = 0.05;
/** A star whose light at the rim of the usual box exceeds this share of the noise gets a box twice as wide. */
const WIDE_EDGE = 0.5;
const WIDEST_GRID = 512;
const STAMP_SIZES = [6, 9, 13, 18, 25, 35, 50, 70, 100];
/** Wavelengths across the band: at least so many, and neighbours no further apart than this share of the seeing. */
const MIN_SAMPLES = 3;
const MAX_SAMPLES = 15;
const DISPERSION_STEP = 0.3;
/** Spread of the band, FWHM of seeing, from which stars are skewed to be seen, and wavelengths that tell it to a few per cent. */
const SKEWING_SPREAD = 0.2;
const SKEWED_SAMPLES = 6;

/** Field position of a pixel, mm. */
export function fieldAt(camera: Camera, x: number, y: number): Complex {
  const centre = centreOf(camera);
  return { x: ((x - centre.x) * camera.pixelUm) / 1000, y: ((y - centre.y) * camera.pixelUm) / 1000 };
}

function dispersedLights(filter: FilterName, altitudeDeg: number, seeingArcsec: number): WavelengthSample[] {
  const { fromUm, toUm } = BANDS[filter];
  const spread = refractionArcsec(fromUm, altitudeDeg, MILD_AIR) - refractionArcsec(toUm, altitudeDeg, MILD_AIR);
  const seeing = Math.max(seeingArcsec, 0.5);
  const least = spread > SKEWING_SPREAD * seeing ? SKEWED_SAMPLES : MIN_SAMPLES;
  return gaussWavelengths(
    filter,
    Math.min(MAX_SAMPLES, Math.max(least, Math.ceil(spread / (DISPERSION_STEP * seeing)))),
  );
}

/** Largest light of a pixel on the rim of a stamp, as a share of the star's. */
function rimOf(psf: Psf, half: number): number {
  const { size, oversample, image } = psf;
  const middle = size / 2;
  const away = half * oversample;
  let rim = 0;
  for (let i = -away; i <= away; i++) {
    rim = Math.max(
      rim,
      image[(middle - away) * size + middle + i],
      image[(middle + away) * size + middle + i],
      image[(middle + i) * size + middle - away],
      image[(middle + i) * size + middle + away],
    );
  }
  return rim;
}

/** Half width of the stamp of a star that is so many times as bright as the sky's noise. */
function halfSizeFor(psf: Psf, brightness: number): number {
  const largest = maxHalfSize(psf);
  return STAMP_SIZES.find((half) => half < largest && rimOf(psf, half) * brightness < STAMP_EDGE) ?? largest;
}

/** Adds the stars as one filter sees them; with a mosaic, to the pixels of one colour only. */
function addStars(
  light: Float32Array,
  scene: Scene,
  stars: readonly Star[],
  filter: FilterName,
  colour: { pattern: MosaicPattern; name: 'R' | 'G' | 'B' } | null,
): void {
  const { camera, telescope } = scene;
  const conditions: Omit<ImageConditions, 'field' | 'grid' | 'recentred'> = {
    pixelUm: camera.pixelUm,
    filter,
    seeingArcsec: scene.seeingArcsec,
    smear: scene.smear,
    ...(scene.atmosphere === null
      ? {}
      : {
          shiftUm: dispersionShift(telescope, filter, scene.atmosphere.altitudeDeg, scene.atmosphere.zenith),
          lights: dispersedLights(filter, scene.atmosphere.altitudeDeg, scene.seeingArcsec),
        }),
  };
  const field = imageField(telescope, scene.state, conditions, {
    halfWidthMm: (camera.width * camera.pixelUm) / 2000,
    halfHeightMm: (camera.height * camera.pixelUm) / 2000,
  });
  const noiseE = Math.sqrt(scene.sky.skyE + camera.readNoiseE ** 2);
  const inOrder = [...stars].sort((a, b) => a.y - b.y);
  const few = stars.length <= field.nodesX * field.nodesY;
  for (const star of inOrder) {
    const z = fieldAt(camera, star.x, star.y);
    const brightness = star.electrons / noiseE;
    let own = few ? field.exact(z) : null;
    const near = own ?? field.nearest(z);
    // Of a very bright star the spikes and wings are drawn in a wider box.
    if (rimOf(near, maxHalfSize(near)) * brightness > WIDE_EDGE && near.size < WIDEST_GRID) own = field.exact(z, 2);
    const wanted = halfSizeFor(own ?? near, brightness);
    const psf = own ?? field.at(z, wanted + 1);
    const half = Math.min(wanted, maxHalfSize(psf));
    const place = field.placePx(z);
    const column = Math.round(star.x + place.x);
    const row = Math.round(star.y + place.y);
    const stamp = stampAt(psf, star.x + place.x - column, star.y + place.y - row, half);
    field.forgetBelow(z.y);
    const electrons = star.electrons * (colour === null ? 1 : MOSAIC_RESPONSE[colour.name]);
    const width = 2 * half + 1;
    for (let j = 0; j < width; j++) {
      const y = row + j - half;
      if (y < 0 || y >= camera.height) continue;
      for (let i = 0; i < width; i++) {
        const x = column + i - half;
        if (x < 0 || x >= camera.width) continue;
        if (colour !== null && colour.pattern[(y % 2) * 2 + (x % 2)] !== colour.name) continue;
        const at = y * camera.width + x;
        light[at] = light[at] + electrons * stamp[j * width + i];
      }
    }
  }
}

const SIGMA_PER_FWHM = 2.3548;

/** What red and blue sites record of the same light, against green (a typical one-shot-colour sensor). */
const MOSAIC_RESPONSE = { R: 0.62, G: 1, B: 0.55 } as const;
const MOSAIC_FILTERS = { R: 'mosaic-red', G: 'mosaic-green', B: 'mosaic-blue' } as const;

/** Stars at their places in this sub: those of the scene's list, or scattered from its seed. */
function starsOf(scene: Scene): Star[] {
  const { camera, ditherPx: shift } = scene;
  const stars = isList(scene.stars)
    ? scene.stars
    : scatterStars(scene.stars, camera.width, camera.height, scene.marginPx, seededRandom(scene.fieldSeed, 'stars'));
  return stars.map((star) => ({ ...star, x: star.x + shift.x, y: star.y + shift.y }));
}

/** Draws one sub: the same scene gives the same bytes. */
export function drawFrame(scene: Scene): DrawnFrame {
  const { camera, sky } = scene;
  const { width, height } = camera;
  const stars = starsOf(scene);
  const softPx = (scene.seeingArcsec * umPerArcsec(scene.telescope)) / camera.pixelUm / SIGMA_PER_FWHM;
  const light = skyLight(sky, width, height, softPx, scene.ditherPx, scene.fieldSeed, scene.noiseSeed);
  if (camera.mosaic === null) addStars(light, scene, stars, scene.filter, null);
  else {
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        light[y * width + x] = light[y * width + x] * MOSAIC_RESPONSE[camera.mosaic[(y % 2) * 2 + (x % 2)]];
      }
    }
    for (const name of ['R', 'G', 'B'] as const) {
      addStars(light, scene, stars, MOSAIC_FILTERS[name], { pattern: camera.mosaic, name });
    }
  }
  vignette(light, width, height, sky.vignetting);
  addCosmicRays({ light, width, height }, sky.cosmicRays, seededRandom(scene.noiseSeed, 'cosmic rays'));
  const pixels = expose(light, camera, scene.cameraSeed, seededRandom(scene.noiseSeed, 'noise'));
  return { width, height, pixels, stars };
}

function isList(stars: StarCounts | readonly Star[]): stars is readonly Star[] {
  return Array.isArray(stars);
}
