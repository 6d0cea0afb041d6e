import { ARCMIN_PER_RAD } from '../numeric/angle.ts';
import { saturationAdu } from './camera.ts';
import { angle, type Complex, conjugate, length, scale } from './complex.ts';
import type { Scenario } from './scenario.ts';
import { type DrawnFrame, fieldAt, type Scene } from './starField.ts';
import { comaNodeMm, comaUmPerMm, tangentialComaUm, wavefrontAt } from './wavefront.ts';

/** A vector on the screen: y up, directions in degrees counter-clockwise from right. */
interface OnScreen {
  readonly x: number;
  readonly y: number;
  readonly length: number;
  readonly directionDeg: number | null;
}

const DEG = 180 / Math.PI;
const UM_PER_MM = 1000;

const round = (value: number, digits = 5): number => Number(value.toFixed(digits)) + 0;

/** Direction of a spin-n quantity, 0 to 360/n; null where it vanishes. */
function directionOf(value: Complex, spin: number): number | null {
  if (length(value) < 1e-9) return null;
  const period = 360 / spin;
  const turned = (angle(value) * DEG) / spin;
  return round(((turned % period) + period) % period, 2);
}

/** Direction of a vector's line, 0 to 180. */
function axisOf(value: Complex): number | null {
  const direction = directionOf(value, 1);
  return direction === null ? null : direction % 180;
}

/** What one drawn sub should be found to show, on the screen. */
export function subTruth(scenario: Scenario, scene: Scene, drawn: DrawnFrame): object {
  const { telescope, state, camera } = scene;
  const topDown = scenario.camera.rowOrder === 'TOP-DOWN';
  const screen = (v: Complex): Complex => (topDown ? conjugate(v) : v);
  const onScreen = (stored: Complex): OnScreen => {
    const v = screen(stored);
    return { x: round(v.x), y: round(v.y), length: round(length(v)), directionDeg: directionOf(v, 1) };
  };
  const middle = wavefrontAt(telescope, state, { x: 0, y: 0 });
  const node = comaNodeMm(telescope, state);
  const pxPerMm = UM_PER_MM / camera.pixelUm;
  const halfX = (camera.width * camera.pixelUm) / 2 / UM_PER_MM;
  const halfY = (camera.height * camera.pixelUm) / 2 / UM_PER_MM;
  // Slope of the focus surface, um of focus per mm, from the wavefront itself.
  const focusPerD = 8 * (telescope.effectiveFocalLengthMm / telescope.apertureMm) ** 2;
  const slope = {
    x:
      ((wavefrontAt(telescope, state, { x: 1, y: 0 }).d - wavefrontAt(telescope, state, { x: -1, y: 0 }).d) *
        focusPerD) /
      2,
    y:
      ((wavefrontAt(telescope, state, { x: 0, y: 1 }).d - wavefrontAt(telescope, state, { x: 0, y: -1 }).d) *
        focusPerD) /
      2,
  };
  // |gradient| x (width |cos axis| + height |sin axis|): from side to side along the axis.
  const across = 2 * (halfX * Math.abs(slope.x) + halfY * Math.abs(slope.y));
  // The primary's tilt that makes this coma at the centre, and the star's travel while it is taken out.
  const axisMm = scale(middle.c, 1 / comaUmPerMm(telescope));
  const travelPx = scale(axisMm, (2 * telescope.effectiveFocalLengthMm * pxPerMm) / telescope.primaryFocalLengthMm);
  const flip = (y: number): number => (topDown ? (camera.height - 1) / 2 - y : y - (camera.height - 1) / 2);

  return {
    seeingArcsec: scene.seeingArcsec,
    filter: scene.filter,
    ditherPx: { x: scene.ditherPx.x, y: screen(scene.ditherPx).y },
    coma: {
      uniformUm: onScreen(middle.c),
      tailDirectionDeg: directionOf(screen(middle.c), 1),
      tangentialUm: round(tangentialComaUm(telescope, length(middle.c)), 3),
      nodeMm: node === null ? null : { x: round(node.x), y: round(screen(node).y) },
      mirrorTiltArcmin: round((length(axisMm) / telescope.primaryFocalLengthMm) * ARCMIN_PER_RAD),
      starShiftPx: onScreen(travelPx),
    },
    defocus: {
      centreUm: round(middle.d * focusPerD, 3),
      tiltUm: round(across, 3),
      axisDeg: axisOf(screen(slope)),
      nearMirrorSideDeg: directionOf(screen(slope), 1),
      cornerUm: round(
        ([-1, 1]
          .flatMap((u) => [-1, 1].map((v) => wavefrontAt(telescope, state, { x: u * halfX, y: v * halfY }).d))
          .reduce((sum, d) => sum + d, 0) /
          4 -
          middle.d) *
          focusPerD,
        3,
      ),
    },
    astigmatism: { uniformUm: round(length(middle.a)), axisInsideFocusDeg: directionOf(screen(middle.a), 2) },
    trefoil: { uniformUm: round(length(middle.t)), directionDeg: directionOf(screen(middle.t), 3) },
    smear: {
      driftPx: round(length(scene.smear.driftUm) / camera.pixelUm, 3),
      driftAxisDeg: axisOf(screen(scene.smear.driftUm)),
      jumpPx: onScreen(scale(scene.smear.jumpUm, 1 / camera.pixelUm)),
      jumpShare: scene.smear.jumpFraction,
    },
    saturationAdu: saturationAdu(camera),
    stars: drawn.stars.map((star) => ({
      x: round(star.x, 3),
      y: round(star.y, 3),
      screenX: round(star.x - (camera.width - 1) / 2, 3),
      screenY: round(flip(star.y), 3),
      electrons: Math.round(star.electrons),
      focusUm: round(wavefrontAt(telescope, state, fieldAt(camera, star.x, star.y)).d * focusPerD, 2),
    })),
  };
}
