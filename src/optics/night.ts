import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import { seededRandom } from '../numeric/random.ts';
import type { MosaicPattern } from './camera.ts';
import { type Complex, conjugate, polar, scale, ZERO } from './complex.ts';
import type { Scenario, Sub } from './scenario.ts';
import type { Smear } from './smear.ts';
import type { Scene } from './starField.ts';
import type { OpticalState } from './state.ts';
import { MEAN_CORRECTOR, type Telescope, umPerArcsec, type Vane } from './telescope.ts';
import { UM_PER_RMS } from './wavefront.ts';

const MOSAICS: Readonly<Record<'RGGB' | 'BGGR' | 'GRBG' | 'GBRG', MosaicPattern>> = {
  RGGB: ['R', 'G', 'G', 'B'],
  BGGR: ['B', 'G', 'G', 'R'],
  GRBG: ['G', 'R', 'B', 'G'],
  GBRG: ['G', 'B', 'R', 'G'],
};

const RAD_PER_DEG = Math.PI / 180;

/** From the screen (y up) to stored pixels: where the first stored row is shown on top, y turns round. */
function toStored(scenario: Pick<Scenario, 'camera'>, onScreen: Complex): Complex {
  return scenario.camera.rowOrder === 'TOP-DOWN' ? conjugate(onScreen) : onScreen;
}

/** A vector of the given length and screen direction in stored axes; `spin` 2 for axes, 3 for trefoil. */
function vector(scenario: Pick<Scenario, 'camera'>, size: number, directionDeg: number, spin = 1): Complex {
  return toStored(scenario, polar(size, spin * directionDeg * RAD_PER_DEG));
}

export function telescopeOf(scenario: Scenario): Telescope {
  const { telescope } = scenario;
  const { corrector } = telescope;
  const magnification = corrector === 'none' ? 1 : corrector.magnification;
  const offset = telescope.obstructionOffset;
  const cone = telescope.lightCone;
  return {
    apertureMm: telescope.apertureMm,
    primaryFocalLengthMm: telescope.primaryFocalLengthMm,
    effectiveFocalLengthMm: telescope.primaryFocalLengthMm * magnification,
    obstruction: telescope.obstruction,
    obstructionOffset: offset ? vector(scenario, offset.pupilRadii, offset.directionDeg) : ZERO,
    vanes: vanesOf(scenario),
    corrector:
      corrector === 'none'
        ? null
        : {
            ...MEAN_CORRECTOR,
            residualComaUmPerMm: corrector.residualComaUmPerMm,
            residualCurvatureUmPerMm2: corrector.residualCurvatureUmPerMm2,
            residualAstigmatismUmPerMm2: corrector.residualAstigmatismUmPerMm2,
          },
    flatToSensorMm: telescope.flatToSensorMm,
    lightCone: cone
      ? {
          radius: cone.radius,
          offset: cone.offset ? vector(scenario, cone.offset.pupilRadii, cone.offset.directionDeg) : ZERO,
          shiftPerMm: cone.shiftPerMm,
        }
      : null,
  };
}

function vanesOf(scenario: Scenario): Vane[] {
  const { vanes } = scenario.telescope;
  const flip = scenario.camera.rowOrder === 'TOP-DOWN' ? -1 : 1;
  if (Array.isArray(vanes)) {
    return vanes.map((vane) => ({
      angle: flip * vane.directionDeg * RAD_PER_DEG,
      widthMm: vane.widthMm,
      offsetMm: flip * vane.offsetMm,
    }));
  }
  return Array.from({ length: vanes.count }, (_, i) => ({
    angle: flip * (vanes.directionDeg + (360 * i) / vanes.count) * RAD_PER_DEG,
    widthMm: vanes.widthMm,
    offsetMm: 0,
  }));
}

/** Half extents of the chip, mm. */
function halfExtent(scenario: Scenario): Complex {
  const { widthPx, heightPx, pixelUm } = scenario.camera;
  return { x: (widthPx * pixelUm) / 2000, y: (heightPx * pixelUm) / 2000 };
}

function sensorTiltArcmin(scenario: Scenario): Complex {
  const tilt = scenario.state.sensorTilt;
  if (!tilt) return ZERO;
  if ('arcmin' in tilt) return vector(scenario, tilt.arcmin, tilt.directionDeg);
  const half = halfExtent(scenario);
  const turn = tilt.directionDeg * RAD_PER_DEG;
  const acrossMm = 2 * (half.x * Math.abs(Math.cos(turn)) + half.y * Math.abs(Math.sin(turn)));
  return vector(scenario, (tilt.umAcross / 1000 / acrossMm) * ARCMIN_PER_RAD, tilt.directionDeg);
}

export function stateOf(scenario: Scenario, sub: Sub): OpticalState {
  const { state } = scenario;
  const half = halfExtent(scenario);
  const tilt = (part: { arcmin: number; directionDeg: number } | undefined): Complex =>
    part ? vector(scenario, part.arcmin, part.directionDeg) : ZERO;
  const offset = (part: { mm: number; directionDeg: number } | undefined): Complex =>
    part ? vector(scenario, part.mm, part.directionDeg) : ZERO;
  const { astigmatism, trefoil } = state;
  return {
    primaryTiltArcmin: tilt(state.primaryTilt),
    primaryDecentreMm: offset(state.primaryDecentre),
    flatTiltArcmin: tilt(state.flatTilt),
    sensorTiltArcmin: sensorTiltArcmin(scenario),
    correctorDecentreMm: offset(state.correctorDecentre),
    correctorTiltArcmin: tilt(state.correctorTilt),
    correctorSpacingMm: state.correctorSpacingMm ?? 0,
    drawtubeTiltArcmin: tilt(state.drawtubeTilt),
    focusUm: sub.focusUm ?? state.focusUm ?? 0,
    fieldCurvatureUmPerMm2: (state.fieldCurvatureUm ?? 0) / (half.x ** 2 + half.y ** 2),
    astigmatismUm: astigmatism ? vector(scenario, astigmatism.rmsUm * UM_PER_RMS.a, astigmatism.axisDeg, 2) : ZERO,
    trefoilUm: trefoil ? vector(scenario, trefoil.rmsUm * UM_PER_RMS.t, trefoil.directionDeg, 3) : ZERO,
    sphericalUm: (state.sphericalRmsUm ?? 0) * UM_PER_RMS.s,
  };
}

function smearOf(scenario: Scenario, sub: Sub, telescope: Telescope): Smear {
  const { drift, jitterArcsec, shake, jump, swing } = { ...scenario.smear, ...sub.smear };
  const um = umPerArcsec(telescope);
  return {
    driftUm: drift ? vector(scenario, drift.arcsec * um, drift.axisDeg) : ZERO,
    jitterUm: (jitterArcsec ?? 0) * um,
    shakeUm: shake ? vector(scenario, shake.arcsec * um, shake.axisDeg) : ZERO,
    jumpUm: jump ? vector(scenario, jump.arcsec * um, jump.directionDeg) : ZERO,
    jumpFraction: jump?.share ?? 0,
    swingUm: swing ? vector(scenario, swing.arcsec * um, swing.axisDeg) : ZERO,
    swingCycles: swing?.cycles ?? 1,
    swingPhase: swing?.phase ?? 0,
  };
}

/** Wings of stars outside the frame reach in from so far, pixels. */
const WINGS_PX = 8;

/** The scenes of a scenario, one for each sub. The same scenario gives the same scenes. */
export function scenesOf(scenario: Scenario): Scene[] {
  const { camera, sky } = scenario;
  const telescope = telescopeOf(scenario);
  const dithers = seededRandom(scenario.seed, 'dithers');
  const { gradient } = sky;
  return scenario.subs.map((sub, index) => {
    const dither = {
      x: Math.round(scenario.ditherPx * (2 * dithers.uniform() - 1)),
      y: Math.round(scenario.ditherPx * (2 * dithers.uniform() - 1)),
    };
    const { stars } = scenario;
    return {
      telescope,
      state: stateOf(scenario, sub),
      camera: {
        width: camera.widthPx,
        height: camera.heightPx,
        pixelUm: camera.pixelUm,
        gainEPerAdu: camera.gainEPerAdu,
        readNoiseE: camera.readNoiseE,
        offsetAdu: camera.offsetAdu,
        fullWellE: camera.fullWellE,
        mosaic: camera.mosaic === null ? null : MOSAICS[camera.mosaic],
        hotPixels: camera.hotPixelShare,
      },
      filter: sub.filter ?? scenario.filter,
      seeingArcsec: sub.seeingArcsec ?? scenario.seeingArcsec,
      smear: smearOf(scenario, sub, telescope),
      atmosphere: {
        altitudeDeg: sub.altitudeDeg ?? sky.altitudeDeg,
        zenith: vector(scenario, 1, sky.zenithDirectionDeg),
      },
      stars: {
        count: stars.count,
        faintestE: stars.faintestE * (1 - sub.clouds),
        brightestE: stars.brightestE * (1 - sub.clouds),
        slopePerMagnitude: stars.slopePerMagnitude,
        minSeparationPx: stars.minSeparationPx,
      },
      sky: {
        skyE: sky.skyE,
        gradient: gradient ? scale(vector(scenario, 1, gradient.directionDeg), gradient.share) : ZERO,
        vignetting: sky.vignetting,
        nebulosityE: sky.nebulosityE,
        galaxies: sky.galaxies,
        trails: sky.trails,
        cosmicRays: sky.cosmicRays,
      },
      ditherPx: scenario.subs.length === 1 ? ZERO : dither,
      marginPx: (scenario.subs.length === 1 ? 0 : scenario.ditherPx) + WINGS_PX,
      fieldSeed: scenario.seed,
      noiseSeed: scenario.seed * 1000 + index,
      cameraSeed: scenario.seed,
    };
  });
}
