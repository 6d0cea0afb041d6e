import { add, type Complex, dot, scale, subtract, ZERO } from './complex.ts';
import type { OpticalState } from './state.ts';
import { primaryFocalRatio, type Telescope } from './telescope.ts';
import type { Coefficients } from './wavefront.ts';

/**
 * Exact rays through a paraboloid (tilted about its vertex, decentred), a plane fold mirror (tilted) and a plane sensor
 * (tilted, out of focus): no series, no small angles. It stands beside the third-order formulas of wavefront.ts and
 * checks them. The stop is the mirror's rim. A coma corrector is not traced.
 *
 * Axes: the tube's axis is z, light goes down to the vertex at 0 and comes back up; the fold sends it along +x, so that
 * the sensor's x (along the columns) is the tube's z there and its y the tube's y. A star whose light comes along
 * (tan ax, tan ay, -1) falls on (f tan ax, f tan ay) when all is aligned.
 */
interface Vector3 {
  readonly x: number;
  readonly y: number;
  readonly z: number;
}

const RAD_PER_ARCMIN = Math.PI / 10800;
const UM_PER_MM = 1000;

const dot3 = (a: Vector3, b: Vector3): number => a.x * b.x + a.y * b.y + a.z * b.z;

function plus(a: Vector3, b: Vector3, factor: number): Vector3 {
  return { x: a.x + factor * b.x, y: a.y + factor * b.y, z: a.z + factor * b.z };
}

function unit(a: Vector3): Vector3 {
  const size = Math.sqrt(dot3(a, a));
  return { x: a.x / size, y: a.y / size, z: a.z / size };
}

function reflect(direction: Vector3, normal: Vector3): Vector3 {
  return plus(direction, normal, -2 * dot3(direction, normal));
}

/** Rotation that leans the z axis by `tilt` (radians, as a vector) and leaves the direction across it alone. */
function leaning(tilt: Complex): (v: Vector3) => Vector3 {
  const size = Math.hypot(tilt.x, tilt.y);
  if (size === 0) return (v) => v;
  const ux = tilt.x / size;
  const uy = tilt.y / size;
  const cos = Math.cos(size);
  const sin = Math.sin(size);
  return (v) => {
    const along = v.x * ux + v.y * uy;
    const turned = along * cos + v.z * sin;
    return { x: v.x + (turned - along) * ux, y: v.y + (turned - along) * uy, z: v.z * cos - along * sin };
  };
}

/** Where a ray through the pupil point p (rim at |p| = 1) of a star at the given angles (radians) meets the sensor, mm. */
export function traceRay(telescope: Telescope, state: OpticalState, star: Complex, p: Complex): Complex {
  const focal = telescope.primaryFocalLengthMm;
  const distance = telescope.flatToSensorMm;
  const lean = leaning(scale(state.primaryTiltArcmin, RAD_PER_ARCMIN));
  const mx = (p.x * telescope.apertureMm) / 2;
  const my = (p.y * telescope.apertureMm) / 2;
  const onMirror = lean({ x: mx, y: my, z: (mx * mx + my * my) / (4 * focal) });
  const start = plus(onMirror, { x: state.primaryDecentreMm.x, y: state.primaryDecentreMm.y, z: 0 }, 1);
  const normal = lean(unit({ x: -mx / (2 * focal), y: -my / (2 * focal), z: 1 }));
  const up = reflect(unit({ x: Math.tan(star.x), y: Math.tan(star.y), z: -1 }), normal);

  // The fold: turned so that the axial beam leaves by twice the flat's tilt.
  const flat = scale(state.flatTiltArcmin, RAD_PER_ARCMIN);
  const half = Math.SQRT1_2;
  const fold = unit({
    x: -half - Math.tan(flat.x) * half,
    y: -Math.SQRT2 * Math.tan(flat.y),
    z: half - Math.tan(flat.x) * half,
  });
  const foldPoint: Vector3 = { x: 0, y: 0, z: focal - distance };
  const toFold = dot3(plus(foldPoint, start, -1), fold) / dot3(up, fold);
  const atFold = plus(start, up, toFold);
  const out = reflect(up, fold);

  // The sensor: nearer the mirror towards its tilt and by the focus error.
  const tilt = scale(add(state.sensorTiltArcmin, state.drawtubeTiltArcmin), RAD_PER_ARCMIN);
  const tx = Math.tan(tilt.x);
  const ty = Math.tan(tilt.y);
  const plane: Vector3 = { x: 1, y: ty, z: tx };
  const level = distance - state.focusUm / UM_PER_MM + tx * foldPoint.z;
  const reach = (level - dot3(plane, atFold)) / dot3(plane, out);
  const hit = plus(atFold, out, reach);
  return { x: hit.z - foldPoint.z, y: hit.y };
}

/** Angles of the star whose chief ray falls on field position z, mm. */
export function starAt(telescope: Telescope, state: OpticalState, z: Complex): Complex {
  let star: Complex = scale(z, 1 / telescope.primaryFocalLengthMm);
  for (let round = 0; round < 30; round++) {
    const miss = subtract(z, traceRay(telescope, state, star, ZERO));
    if (Math.hypot(miss.x, miss.y) < 1e-12) break;
    star = add(star, scale(miss, 1 / telescope.primaryFocalLengthMm));
  }
  return star;
}

/** Displacement of rays from the chief ray, um. */
export function traceSpot(telescope: Telescope, state: OpticalState, z: Complex, pupil: readonly Complex[]): Complex[] {
  const star = starAt(telescope, state, z);
  const chief = traceRay(telescope, state, star, ZERO);
  return pupil.map((p) => scale(subtract(traceRay(telescope, state, star, p), chief), UM_PER_MM));
}

/** Tangential and sagittal coma along `towards` (unit vector, from the axis to the star): mean of opposite rim rays, um. */
export function traceComa(
  telescope: Telescope,
  state: OpticalState,
  z: Complex,
  towards: Complex,
): { tangentialUm: number; sagittalUm: number } {
  const across: Complex = { x: -towards.y, y: towards.x };
  const rays = traceSpot(telescope, state, z, [towards, scale(towards, -1), across, scale(across, -1)]);
  const mean = (a: Complex, b: Complex): number => dot(towards, add(a, b)) / 2;
  return { tangentialUm: mean(rays[0], rays[1]), sagittalUm: mean(rays[2], rays[3]) };
}

const RINGS = 6;
const SPOKES = 12;

/**
 * Wavefront coefficients of traced rays: least squares of u = 4 N dW/dq over rings of equal area. On rings of evenly
 * spaced spokes the terms of different spin are orthogonal, so that each spin is solved by itself.
 */
export function tracedWavefront(telescope: Telescope, state: OpticalState, z: Complex): Coefficients {
  const pupil: Complex[] = [];
  for (let ring = 0; ring < RINGS; ring++) {
    const radius = Math.sqrt((ring + 0.5) / RINGS);
    for (let spoke = 0; spoke < SPOKES; spoke++) {
      const turn = (2 * Math.PI * spoke) / SPOKES;
      pupil.push({ x: radius * Math.cos(turn), y: radius * Math.sin(turn) });
    }
  }
  const rays = traceSpot(telescope, state, z, pupil);
  const scaleToWave = 1 / (2 * primaryFocalRatio(telescope));

  // h = g (in um of wavefront): harmonics m of e^{i m phi} at each radius.
  const harmonic = (m: number, ring: number): Complex => {
    let x = 0;
    let y = 0;
    for (let spoke = 0; spoke < SPOKES; spoke++) {
      const turn = (-2 * Math.PI * m * spoke) / SPOKES;
      const u = rays[ring * SPOKES + spoke];
      x += (u.x * Math.cos(turn) - u.y * Math.sin(turn)) * scaleToWave;
      y += (u.x * Math.sin(turn) + u.y * Math.cos(turn)) * scaleToWave;
    }
    return { x: x / SPOKES, y: y / SPOKES };
  };
  // g = 2dp + 2aq + 2c|p|^2 + conj(c)p^2 + 3tq^2 + 4s|p|^2 p: e^{i phi}: 2d r + 4s r^3; e^{-i phi}: 2a r; 1: 2c r^2; e^{-2i phi}: 3t r^2.
  let rr = 0;
  let r4 = 0;
  let r6 = 0;
  let dr = 0;
  let dr3 = 0;
  let a = ZERO;
  let c = ZERO;
  let t = ZERO;
  for (let ring = 0; ring < RINGS; ring++) {
    const radius = Math.sqrt((ring + 0.5) / RINGS);
    const r2 = radius * radius;
    rr += r2;
    r4 += r2 * r2;
    r6 += r2 ** 3;
    dr += radius * harmonic(1, ring).x;
    dr3 += radius * r2 * harmonic(1, ring).x;
    a = add(a, scale(harmonic(-1, ring), radius));
    c = add(c, scale(harmonic(0, ring), r2));
    t = add(t, scale(harmonic(-2, ring), r2));
  }
  // Normal equations of (2d, 4s) against r and r^3.
  const determinant = rr * r6 - r4 * r4;
  return {
    d: (r6 * dr - r4 * dr3) / determinant / 2,
    s: (rr * dr3 - r4 * dr) / determinant / 4,
    a: scale(a, 1 / (2 * rr)),
    c: scale(c, 1 / (2 * r4)),
    t: scale(t, 1 / (3 * r4)),
  };
}
