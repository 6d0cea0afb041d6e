import type { CardToWrite } from '../fits/cardText.ts';
import { encodeFits, encodeFitsGz, type ImageToWrite } from '../fits/encode.ts';
import { encodeFitsTiled } from '../fits/encodeTiles.ts';
import { saturationAdu } from '../optics/camera.ts';
import type { Scenario } from '../optics/scenario.ts';
import type { DrawnFrame, Scene } from '../optics/starField.ts';

/** Invented night: every drawn sub of a scenario starts here, one exposure and a pause after another. */
const NIGHT_START_MS = Date.UTC(2025, 2, 14, 21, 30, 0);
const PAUSE_S = 6;
/** Focuser: one step moves the camera by so much, and stands here in focus. */
const FOCUSER_STEP_UM = 1;
const FOCUSER_IN_FOCUS = 12000;
const SENSOR_TEMPERATURE_C = -10;
const TUBE_TEMPERATURE_C = 6.5;

/** BAYERPAT names the colours from the top of the picture: stored rows turned where they are stored bottom-up. */
function shownPattern(scenario: Scenario): string {
  const { mosaic, rowOrder, heightPx } = scenario.camera;
  if (mosaic === null) return '';
  if (rowOrder === 'TOP-DOWN' || heightPx % 2 === 1) return mosaic;
  return mosaic.slice(2) + mosaic.slice(0, 2);
}

/** Header of a drawn sub, in the keywords cameras write. */
export function cardsOf(scenario: Scenario, scene: Scene, index: number): CardToWrite[] {
  const { camera, telescope } = scene;
  const start = new Date(NIGHT_START_MS + index * (scenario.exposureS + PAUSE_S) * 1000);
  const altitude = scene.atmosphere?.altitudeDeg ?? scenario.sky.altitudeDeg;
  const { rowOrder, mosaic } = scenario.camera;
  return [
    { keyword: 'INSTRUME', value: scenario.camera.name },
    { keyword: 'TELESCOP', value: `Drawn Newtonian ${telescope.apertureMm} mm` },
    { keyword: 'OBJECT', value: scenario.name },
    { keyword: 'IMAGETYP', value: 'Light Frame' },
    { keyword: 'DATE-OBS', value: start.toISOString().replace('Z', ''), comment: 'UTC, start of exposure' },
    { keyword: 'EXPTIME', value: scenario.exposureS, comment: 's' },
    { keyword: 'XPIXSZ', value: camera.pixelUm, comment: 'um' },
    { keyword: 'YPIXSZ', value: camera.pixelUm, comment: 'um' },
    { keyword: 'XBINNING', value: 1 },
    { keyword: 'YBINNING', value: 1 },
    { keyword: 'FOCALLEN', value: Number(telescope.effectiveFocalLengthMm.toFixed(2)), comment: 'mm, effective' },
    { keyword: 'APTDIA', value: telescope.apertureMm, comment: 'mm' },
    { keyword: 'EGAIN', value: camera.gainEPerAdu, comment: 'electrons per ADU' },
    { keyword: 'RDNOISE', value: camera.readNoiseE, comment: 'electrons' },
    { keyword: 'GAIN', value: 100, comment: 'camera setting' },
    { keyword: 'OFFSET', value: 50, comment: 'camera setting' },
    { keyword: 'SATURATE', value: saturationAdu(camera), comment: 'ADU, saturation' },
    { keyword: 'CCD-TEMP', value: SENSOR_TEMPERATURE_C, comment: 'deg C' },
    { keyword: 'FILTER', value: scene.filter },
    {
      keyword: 'FOCPOS',
      value: FOCUSER_IN_FOCUS - Math.round(scene.state.focusUm / FOCUSER_STEP_UM),
      comment: 'steps',
    },
    { keyword: 'FOCUSSZ', value: FOCUSER_STEP_UM, comment: 'um per step' },
    { keyword: 'FOCTEMP', value: TUBE_TEMPERATURE_C, comment: 'deg C' },
    { keyword: 'CENTALT', value: altitude, comment: 'deg' },
    { keyword: 'CENTAZ', value: scenario.sky.azimuthDeg, comment: 'deg' },
    { keyword: 'PIERSIDE', value: scenario.sky.azimuthDeg < 180 ? 'West' : 'East' },
    ...(rowOrder === 'absent' ? [] : [{ keyword: 'ROWORDER', value: rowOrder }]),
    ...(mosaic === null
      ? []
      : [
          { keyword: 'BAYERPAT', value: shownPattern(scenario) },
          { keyword: 'XBAYROFF', value: 0 },
          { keyword: 'YBAYROFF', value: 0 },
        ]),
    { keyword: 'SWCREATE', value: 'starplumb synth', comment: 'a drawn frame, not a photograph' },
  ];
}

/** Bytes of a drawn sub and the ending of its name. */
export function fileOf(
  scenario: Scenario,
  scene: Scene,
  drawn: DrawnFrame,
  index: number,
): { bytes: Uint8Array; ending: string } {
  const image: ImageToWrite = {
    pixels: drawn.pixels,
    width: drawn.width,
    height: drawn.height,
    cards: cardsOf(scenario, scene, index),
  };
  if (scenario.compression === 'gzip') return { bytes: encodeFitsGz(image), ending: '.fits.gz' };
  if (scenario.compression === 'rice')
    return { bytes: encodeFitsTiled({ ...image, codec: 'RICE_1' }), ending: '.fits.fz' };
  return { bytes: encodeFits(image), ending: '.fits' };
}
