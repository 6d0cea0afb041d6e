import { add, type Complex, dot, multiply, scale, subtract } from './complex.ts';
import type { OpticalState } from './state.ts';
import { type Corrector, effectiveFocalRatio, primaryFocalRatio, type Telescope } from './telescope.ts';

/**
 * Wavefront of one star over the unit pupil p = x + iy, q = conj(p), in um:
 *   W = d|p|^2 + Re(a q^2) + Re(c |p|^2 q) + Re(t q^3) + s|p|^4
 * A ray through p lands at u = 4 N dW/dq. d > 0: the sensor stands inside focus by 8 N^2 d. Re(c) > 0: tail towards +x.
 * W(p) -> -W(-p), that is (d, a, s) -> -(d, a, s) with c, t kept, leaves the image of a centred pupil as it is.
 */
export interface Coefficients {
  readonly d: number;
  readonly a: Complex;
  readonly c: Complex;
  readonly t: Complex;
  readonly s: number;
}

export const NO_ABERRATION: Coefficients = { d: 0, a: { x: 0, y: 0 }, c: { x: 0, y: 0 }, t: { x: 0, y: 0 }, s: 0 };

const RAD_PER_ARCMIN = Math.PI / 10800;
const UM_PER_MM = 1000;

/** Length of a coefficient for one um of RMS over the full circle (Noll 1976, JOSA 66, 207, unit-RMS Zernikes). */
export const UM_PER_RMS = {
  d: 2 * Math.sqrt(3),
  a: Math.sqrt(6),
  c: 3 * Math.sqrt(8),
  t: Math.sqrt(8),
  s: 6 * Math.sqrt(5),
} as const;

/** Coma of a paraboloid: um of c for each mm between star and axis, h/(32 N^3). */
export function comaUmPerMm(telescope: Telescope): number {
  return UM_PER_MM / (32 * primaryFocalRatio(telescope) ** 3);
}

/** Astigmatism of a paraboloid with the stop at the mirror: a = -B z^2, um per mm^2, B = 1/(16 N^2 f). */
export function astigmatismUmPerMm2(telescope: Telescope): number {
  return UM_PER_MM / (16 * primaryFocalRatio(telescope) ** 2 * telescope.primaryFocalLengthMm);
}

/** Tail length to coefficient: tangential coma on the sensor, um, of coefficient c: 3 * 2N |c|. */
export function tangentialComaUm(telescope: Telescope, c: number): number {
  return 6 * effectiveFocalRatio(telescope) * c;
}

/** Where the tilted, decentred primary's axis meets the sensor, the flat's part apart, mm. */
function primaryAxisMm(telescope: Telescope, state: OpticalState): Complex {
  return add(scale(state.primaryTiltArcmin, RAD_PER_ARCMIN * telescope.primaryFocalLengthMm), state.primaryDecentreMm);
}

function flatShiftMm(telescope: Telescope, state: OpticalState): Complex {
  return scale(state.flatTiltArcmin, 2 * RAD_PER_ARCMIN * telescope.flatToSensorMm);
}

/** How far every star moves on the sensor against the aligned telescope: twice the node for a tilted primary, once else. */
export function starShiftMm(telescope: Telescope, state: OpticalState): Complex {
  return add(
    scale(state.primaryTiltArcmin, 2 * RAD_PER_ARCMIN * telescope.effectiveFocalLengthMm),
    scale(
      add(state.primaryDecentreMm, flatShiftMm(telescope, state)),
      telescope.effectiveFocalLengthMm / telescope.primaryFocalLengthMm,
    ),
  );
}

/** Field position of the coma node: where c vanishes; null where coma hardly changes over the field (corrector). */
export function comaNodeMm(telescope: Telescope, state: OpticalState): Complex | null {
  if (telescope.corrector !== null) return null;
  return add(primaryAxisMm(telescope, state), flatShiftMm(telescope, state));
}

function bareWavefront(telescope: Telescope, state: OpticalState, z: Complex): Coefficients {
  const focal = telescope.primaryFocalLengthMm;
  const b = astigmatismUmPerMm2(telescope);
  const node = add(primaryAxisMm(telescope, state), flatShiftMm(telescope, state));
  const fromNode = subtract(z, node);
  // The medial surface is a sphere about the vertex: it leans with the mirror's turn and the beam's, and is carried along
  // with the node (ray-traced: test/optics/rayTrace.test.ts).
  const sensor = add(state.sensorTiltArcmin, state.drawtubeTiltArcmin);
  const beam = add(state.primaryTiltArcmin, scale(state.flatTiltArcmin, 2));
  const lean = add(scale(subtract(sensor, beam), RAD_PER_ARCMIN), scale(node, 1 / focal));
  const planeUm = UM_PER_MM * dot(lean, z);
  const r2 = dot(z, z);
  return {
    d: toDefocus(telescope, state.focusUm + planeUm + state.fieldCurvatureUmPerMm2 * r2) - b * r2,
    a: add(scale(multiply(fromNode, fromNode), -b), state.astigmatismUm),
    c: scale(fromNode, comaUmPerMm(telescope)),
    t: state.trefoilUm,
    s: state.sphericalUm,
  };
}

function correctedWavefront(telescope: Telescope, design: Corrector, state: OpticalState, z: Complex): Coefficients {
  const focal = telescope.primaryFocalLengthMm;
  const k = comaUmPerMm(telescope);
  const b = astigmatismUmPerMm2(telescope);
  const spacing = state.correctorSpacingMm;
  const tilt = scale(state.primaryTiltArcmin, RAD_PER_ARCMIN * focal);
  const flat = flatShiftMm(telescope, state);
  const drawtube = scale(state.drawtubeTiltArcmin, RAD_PER_ARCMIN * focal);
  const cocked = scale(state.correctorTiltArcmin, RAD_PER_ARCMIN * focal);
  const r2 = dot(z, z);

  const axisShift = add(
    tilt,
    state.primaryDecentreMm,
    scale(flat, design.flatComa),
    scale(state.correctorDecentreMm, -1),
    scale(drawtube, design.drawtubeComa),
    scale(cocked, -design.correctorTiltComa),
  );
  const planeArcmin = add(
    state.sensorTiltArcmin,
    scale(state.drawtubeTiltArcmin, design.drawtubeFocus),
    scale(state.correctorTiltArcmin, design.correctorTiltFocus),
    scale(state.flatTiltArcmin, design.flatFocus),
  );
  const linearAstigmatism = scale(
    add(
      scale(tilt, 2),
      scale(state.primaryDecentreMm, design.decentreAstigmatism),
      scale(state.correctorDecentreMm, design.correctorDecentreAstigmatism),
      scale(flat, design.flatAstigmatism),
      scale(drawtube, design.drawtubeAstigmatism),
      scale(cocked, design.correctorTiltAstigmatism),
    ),
    b,
  );
  const radialAstigmatism = design.residualAstigmatismUmPerMm2 + spacing * design.spacingAstigmatismUmPerMm2;
  const focusUm =
    state.focusUm +
    UM_PER_MM * RAD_PER_ARCMIN * dot(planeArcmin, z) +
    (design.residualCurvatureUmPerMm2 + state.fieldCurvatureUmPerMm2) * r2;
  return {
    d: toDefocus(telescope, focusUm) + spacing * design.spacingDefocusUmPerMm2 * r2,
    a: add(state.astigmatismUm, multiply(linearAstigmatism, z), scale(multiply(z, z), radialAstigmatism)),
    c: add(scale(axisShift, -k), scale(z, design.residualComaUmPerMm + spacing * design.spacingComaUmPerMm)),
    t: state.trefoilUm,
    s: state.sphericalUm + spacing * design.spacingSphericalUm,
  };
}

/** Coefficient d of a sensor standing `um` inside focus. */
export function toDefocus(telescope: Telescope, um: number): number {
  return um / (8 * effectiveFocalRatio(telescope) ** 2);
}

/**
 * Wavefront of a star at field position z (mm from the middle of the sensor, stored axes).
 * Bare paraboloid: third-order theory about the displaced node. With a corrector: uniform coma and field-linear
 * astigmatism by the corrector's responses. Shack & Thompson 1980 (Proc. SPIE 251, 146) give the allowed terms.
 */
export function wavefrontAt(telescope: Telescope, state: OpticalState, z: Complex): Coefficients {
  if (telescope.corrector === null) return bareWavefront(telescope, state, z);
  return correctedWavefront(telescope, telescope.corrector, state, z);
}

/** Where coma puts the light's centre of gravity, um from the chief ray: 2N c (1 + obstruction^2). */
export function centroidUm(telescope: Telescope, w: Coefficients): Complex {
  return scale(w.c, 2 * effectiveFocalRatio(telescope) * (1 + telescope.obstruction ** 2));
}

/** Wavefront at one point of the unit pupil, um. */
export function wavefrontUm(w: Coefficients, x: number, y: number): number {
  const r2 = x * x + y * y;
  return (
    r2 * (w.d + w.s * r2 + w.c.x * x + w.c.y * y) +
    w.a.x * (x * x - y * y) +
    2 * w.a.y * x * y +
    w.t.x * x * (x * x - 3 * y * y) +
    w.t.y * y * (3 * x * x - y * y)
  );
}

/** Where the ray through the pupil point (x, y) lands, um from the chief ray: u = 4 N dW/dq. */
export function rayUm(w: Coefficients, focalRatio: number, x: number, y: number): Complex {
  const r2 = x * x + y * y;
  // W's gradient (dW/dx, dW/dy) equals 2 dW/dq as a vector.
  const slopeX =
    2 * x * (w.d + 2 * w.s * r2) +
    2 * (w.a.x * x + w.a.y * y) +
    w.c.x * (3 * x * x + y * y) +
    2 * w.c.y * x * y +
    3 * (w.t.x * (x * x - y * y) + 2 * w.t.y * x * y);
  const slopeY =
    2 * y * (w.d + 2 * w.s * r2) +
    2 * (w.a.y * x - w.a.x * y) +
    w.c.y * (x * x + 3 * y * y) +
    2 * w.c.x * x * y +
    3 * (w.t.y * (x * x - y * y) - 2 * w.t.x * x * y);
  return { x: 2 * focalRatio * slopeX, y: 2 * focalRatio * slopeY };
}
