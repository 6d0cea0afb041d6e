import ndarray from 'ndarray';
import type { Frame, FrameFacts, RowOrder, Told } from '../../src/frame/frame.ts';
import { type Camera, saturationAdu, USUAL_CAMERA } from '../../src/optics/camera.ts';
import type { Sky } from '../../src/optics/sky.ts';
import type { Smear } from '../../src/optics/smear.ts';
import { type DrawnFrame, drawFrame, type Scene, USUAL_SCENE } from '../../src/optics/starField.ts';
import { type Star, type StarCounts, USUAL_STARS } from '../../src/optics/starList.ts';
import { ALIGNED, type OpticalState } from '../../src/optics/state.ts';
import { EXAMPLE_TELESCOPE, type Telescope } from '../../src/optics/telescope.ts';

/** What a test changes of the usual scene: 200 mm f/4 with corrector, 3.76 um pixels, 2.5", L, 300 stars, 1500 x 1000. */
export interface SubOptions extends Partial<Omit<Scene, 'telescope' | 'state' | 'camera' | 'stars' | 'smear' | 'sky'>> {
  readonly width?: number;
  readonly height?: number;
  readonly telescope?: Partial<Telescope>;
  readonly state?: Partial<OpticalState>;
  readonly camera?: Partial<Camera>;
  readonly smear?: Partial<Smear>;
  readonly sky?: Partial<Sky>;
  readonly stars?: Scene['stars'] | Partial<StarCounts>;
  readonly starCount?: number;
  /** Sets the places of the stars and the noise. */
  readonly seed?: number;
  readonly rowOrder?: RowOrder | null;
  readonly exposureS?: number;
  readonly name?: string;
  readonly facts?: Partial<FrameFacts>;
}

export function sceneOf(options: SubOptions): Scene {
  const { seed = 1, starCount } = options;
  const counts: Partial<StarCounts> = starCount === undefined ? {} : { count: starCount };
  return {
    ...USUAL_SCENE,
    fieldSeed: options.fieldSeed ?? seed,
    noiseSeed: options.noiseSeed ?? seed,
    cameraSeed: options.cameraSeed ?? USUAL_SCENE.cameraSeed,
    filter: options.filter ?? USUAL_SCENE.filter,
    seeingArcsec: options.seeingArcsec ?? USUAL_SCENE.seeingArcsec,
    smear: { ...USUAL_SCENE.smear, ...options.smear },
    atmosphere: options.atmosphere ?? USUAL_SCENE.atmosphere,
    sky: { ...USUAL_SCENE.sky, ...options.sky },
    ditherPx: options.ditherPx ?? USUAL_SCENE.ditherPx,
    marginPx: options.marginPx ?? USUAL_SCENE.marginPx,
    telescope: { ...EXAMPLE_TELESCOPE, ...options.telescope },
    state: { ...ALIGNED, ...options.state },
    camera: {
      ...USUAL_CAMERA,
      ...options.camera,
      width: options.width ?? options.camera?.width ?? USUAL_CAMERA.width,
      height: options.height ?? options.camera?.height ?? USUAL_CAMERA.height,
    },
    stars: isList(options.stars) ? options.stars : { ...USUAL_STARS, ...options.stars, ...counts },
  };
}

function isList(stars: SubOptions['stars']): stars is readonly Star[] {
  return Array.isArray(stars);
}

const told = <T>(value: T, keyword: string): Told<T> => ({ value, keyword });

/** An in-memory sub of a telescope in a known state, as if read from a file, with the truth it was drawn from. */
export function drawSubWithTruth(options: SubOptions = {}): { frame: Frame; drawn: DrawnFrame; scene: Scene } {
  const scene = sceneOf(options);
  const drawn = drawFrame(scene);
  const { camera, telescope } = scene;
  const facts: FrameFacts = {
    camera: told('drawn', 'INSTRUME'),
    telescope: told('drawn', 'TELESCOP'),
    object: null,
    pixelUm: told(camera.pixelUm, 'XPIXSZ'),
    binning: told(1, 'XBINNING'),
    gainEPerAdu: told(camera.gainEPerAdu, 'EGAIN'),
    readNoiseE: told(camera.readNoiseE, 'RDNOISE'),
    pedestalAdu: null,
    saturationAdu: told(saturationAdu(camera), 'SATURATE'),
    focalLengthMm: told(telescope.effectiveFocalLengthMm, 'FOCALLEN'),
    apertureMm: told(telescope.apertureMm, 'APTDIA'),
    exposureS: told(options.exposureS ?? 120, 'EXPTIME'),
    dateObs: null,
    filter: told(scene.filter, 'FILTER'),
    focusPosition: null,
    focusStepUm: null,
    focusTemperatureC: null,
    ambientTemperatureC: null,
    sensorTemperatureC: null,
    altitudeDeg: scene.atmosphere === null ? null : told(scene.atmosphere.altitudeDeg, 'CENTALT'),
    azimuthDeg: null,
    pierSide: null,
    rotatorDeg: null,
    rowOrder: options.rowOrder === null ? null : told(options.rowOrder ?? 'BOTTOM-UP', 'ROWORDER'),
    mosaic: camera.mosaic === null ? null : { pattern: camera.mosaic, keyword: 'BAYERPAT' },
    ...options.facts,
  };
  const frame: Frame = {
    name: options.name ?? `drawn-${options.seed ?? 1}.fits`,
    width: drawn.width,
    height: drawn.height,
    pixels: ndarray(drawn.pixels, [drawn.height, drawn.width]),
    mask: null,
    facts,
    mosaic: camera.mosaic === null ? null : { greenParity: camera.mosaic[0] === 'G' ? 0 : 1, fromData: false },
    notes: [],
  };
  return { frame, drawn, scene };
}

/** An in-memory sub of a telescope in a known state, as if read from a file. */
export function drawSub(options: SubOptions = {}): Frame {
  return drawSubWithTruth(options).frame;
}
