import type { Plane } from '../stars/background.ts';

/** Size and shape of one star at any focus, from a point to a disc with a hole. Pixels of the plane. */
export interface Disc {
  readonly x: number;
  readonly y: number;
  /** ADU within the aperture. */
  readonly flux: number;
  /** Diameter that holds half of the light. */
  readonly hfd: number;
  /** <r^2> about the centre of light, px^2, within APERTURE x hfd. */
  readonly q0: number;
  readonly q0Error: number;
  /** <(dx + i dy)^2>, px^2: along x positive. */
  readonly q2x: number;
  readonly q2y: number;
  readonly q2Error: number;
  /** Flux over its own noise. */
  readonly snr: number;
  /** ADU, from the ring around it. */
  readonly sky: number;
}

/** Radius of the aperture in half-flux diameters: the disc's rim (0.67 of them) and the seeing about it. */
export const APERTURE = 1.25;
/** The sky is the median of the ring from the aperture to this. */
export const SKY_RING = 1.7;
const ROUNDS = 14;
const CONVERGED = 0.002;
/** A ring drawn for a size so near still serves. */
const SAME_SIZE = 0.03;
const SMALLEST_HFD = 0.8;

/**
 * Half-flux diameter and second moments within an aperture that follows the star. Ratio to the geometric disc: diameter
 * sqrt((1 + eps^2)/2) dz/N, <r^2> (1 + eps^2)/(8 N^2) dz^2. Moments of a star with wings depend on the aperture, so models
 * must be measured by the same function. Null where the aperture leaves the plane or does not settle.
 */
export function measureDisc(
  plane: Plane,
  start: { readonly x: number; readonly y: number; readonly hfd: number },
  noise: number,
  gainEPerAdu: number,
  largestHfd: number,
): Disc | null {
  let { x, y, hfd } = start;
  let last: Disc | null = null;
  let sky: number | null = null;
  let skyOf = 0;
  for (let round = 0; round < ROUNDS; round++) {
    if (sky === null || Math.abs(hfd - skyOf) > SAME_SIZE * hfd) {
      sky = ringSky(plane, x, y, APERTURE * hfd, SKY_RING * hfd);
      skyOf = hfd;
    }
    if (sky === null) return null;
    const next = within(plane, x, y, APERTURE * hfd, sky, noise, gainEPerAdu);
    if (next === null || !(next.hfd > SMALLEST_HFD) || next.hfd > largestHfd) return null;
    if (Math.hypot(next.x - start.x, next.y - start.y) > Math.max(start.hfd, next.hfd)) return null;
    const change = Math.abs(next.hfd - hfd) + Math.hypot(next.x - x, next.y - y);
    x = next.x;
    y = next.y;
    // Stars with wings approach their size slowly: every second step goes further.
    const step = next.hfd - hfd;
    hfd = Math.max(SMALLEST_HFD, round % 2 === 1 ? hfd + 1.6 * step : next.hfd);
    last = next;
    if (change < CONVERGED * hfd) return next;
  }
  // Nearly settled: what is left is far below the noise of a single star.
  return last !== null && Math.abs(last.hfd - hfd) < 0.02 * hfd ? last : null;
}

const RING = new Float64Array(32_768);
/** So many of the ring's pixels tell its middle and spread; the sky is the mean of all that lie near. */
const SAMPLE = new Float64Array(300);
const CLIP_SIGMA = 2.5;

function ringSky(plane: Plane, x: number, y: number, inner: number, outer: number): number | null {
  const { data, width, height, mask } = plane;
  const x0 = Math.ceil(x - outer);
  const x1 = Math.floor(x + outer);
  const y0 = Math.ceil(y - outer);
  const y1 = Math.floor(y + outer);
  if (x0 < 0 || y0 < 0 || x1 >= width || y1 >= height) return null;
  let n = 0;
  for (let v = y0; v <= y1; v++) {
    const dy2 = (v - y) ** 2;
    for (let u = x0; u <= x1 && n < RING.length; u++) {
      const r2 = dy2 + (u - x) ** 2;
      if (r2 < inner * inner || r2 > outer * outer) continue;
      const k = v * width + u;
      if (mask === null || mask[k] === 0) RING[n++] = data[k];
    }
  }
  if (n < 12) return null;
  const count = Math.min(n, SAMPLE.length);
  for (let i = 0; i < count; i++) SAMPLE[i] = RING[Math.floor((i * n) / count)];
  const sorted = SAMPLE.subarray(0, count).sort();
  const middle = sorted[count >> 1];
  // The lower half only: faint neighbours stand on the upper side.
  const limit = CLIP_SIGMA * (middle - sorted[Math.floor(0.1587 * count)]);
  let sum = 0;
  let kept = 0;
  for (let i = 0; i < n; i++) {
    if (Math.abs(RING[i] - middle) > limit) continue;
    sum += RING[i];
    kept++;
  }
  return kept > 0 ? sum / kept : middle;
}

/** Cumulated light by radius, in steps of this many pixels. */
const STEPS_A_PIXEL = 16;
const STEP = 1 / STEPS_A_PIXEL;
const FINE_BELOW = 8;
const CUMULATED = new Float64Array(16_384);

function within(
  plane: Plane,
  x: number,
  y: number,
  radius: number,
  sky: number,
  noise: number,
  gainEPerAdu: number,
): Disc | null {
  const { data, width, mask } = plane;
  const reach = radius + 0.5;
  const bins = Math.ceil(reach / STEP) + 9;
  if (bins > CUMULATED.length) return null;
  CUMULATED.fill(0, 0, bins + 1);
  const x0 = Math.ceil(x - reach);
  const x1 = Math.floor(x + reach);
  const y0 = Math.ceil(y - reach);
  const y1 = Math.floor(y + reach);
  let m0 = 0;
  let mx = 0;
  let my = 0;
  let mxx = 0;
  let mxy = 0;
  let myy = 0;
  // Sums of the pixels' variance times polynomials, for the errors of the moments.
  let v0 = 0;
  let v2 = 0;
  let v4 = 0;
  let vc = 0;
  let vc2 = 0;
  const fine = radius < FINE_BELOW;
  for (let v = y0; v <= y1; v++) {
    const dy = v - y;
    for (let u = x0; u <= x1; u++) {
      const dx = u - x;
      const r2 = dx * dx + dy * dy;
      if (r2 >= reach * reach) continue;
      const k = v * width + u;
      if (mask !== null && mask[k] === 1) return null;
      const r = Math.sqrt(r2);
      const light = data[k] - sky;
      if (fine) spreadFinely(light, dx, dy);
      else spread(light, r, 0.5);
      const w = r > radius - 0.5 ? radius + 0.5 - r : 1;
      const a = w * light;
      m0 += a;
      mx += a * dx;
      my += a * dy;
      mxx += a * dx * dx;
      mxy += a * dx * dy;
      myy += a * dy * dy;
      const variance = w * w * (noise * noise + Math.max(0, light) / gainEPerAdu);
      v0 += variance;
      v2 += variance * r2;
      v4 += variance * r2 * r2;
      const cross = dx * dx - dy * dy;
      vc += variance * cross;
      vc2 += variance * cross * cross;
    }
  }
  if (!(m0 > 0)) return null;
  const hfd = halfFlux(m0, bins);
  if (hfd === null) return null;
  const cx = mx / m0;
  const cy = my / m0;
  const qxx = mxx / m0 - cx * cx;
  const qyy = myy / m0 - cy * cy;
  const qxy = mxy / m0 - cx * cy;
  const q0 = qxx + qyy;
  const q2x = qxx - qyy;
  if (!(q0 > 0)) return null;
  return {
    x: x + cx,
    y: y + cy,
    flux: m0,
    hfd,
    q0,
    q0Error: Math.sqrt(Math.max(0, v4 - 2 * q0 * v2 + q0 * q0 * v0)) / m0,
    q2x,
    q2y: 2 * qxy,
    q2Error: Math.sqrt(Math.max(0, vc2 - 2 * q2x * vc + q2x * q2x * v0)) / m0,
    snr: m0 / Math.sqrt(v0),
    sky,
  };
}

/** A pixel's light is spread over the radii it covers. Rounded by truncation: no value is negative here. */
function spread(light: number, r: number, half: number): void {
  const inner = (r - half) * STEPS_A_PIXEL;
  const from = inner > 0 ? (inner + 0.5) | 0 : 0;
  const outer = ((r + half) * STEPS_A_PIXEL + 0.5) | 0;
  const to = outer > from ? outer : from + 1;
  const share = light / (to - from);
  CUMULATED[from] += share;
  CUMULATED[to] -= share;
}

/** In small stars a pixel covers much of the radius: its light in 5 x 5 parts. */
function spreadFinely(light: number, dx: number, dy: number): void {
  const part = light / 25;
  for (let j = -2; j <= 2; j++) {
    const v = dy + j / 5;
    for (let i = -2; i <= 2; i++) {
      const u = dx + i / 5;
      spread(part, Math.sqrt(u * u + v * v), 0.1);
    }
  }
}

/** Diameter within which half of `total` lies, from the differences in CUMULATED. */
function halfFlux(total: number, bins: number): number | null {
  let density = 0;
  let sum = 0;
  for (let b = 0; b < bins; b++) {
    density += CUMULATED[b];
    if (sum + density >= total / 2 && density > 0) return 2 * STEP * (b + (total / 2 - sum) / density);
    sum += density;
  }
  return null;
}
