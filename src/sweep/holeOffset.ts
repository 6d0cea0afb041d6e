import type { DiscStack } from './discStack.ts';

const SECTORS = 36;
const RADIAL_STEP = 0.1;
/** Hole and rim are told apart where the dip in the middle falls below this share of the ring. */
const DEEPEST = 0.55;
/** Sectors that must show both edges. */
const MIN_SECTORS = 24;

/** Hole against rim of one mean disc, px; null where there is no clear hole. */
export function holeOffset(stack: DiscStack): { readonly x: number; readonly y: number } | null {
  const { half, image, hfd } = stack;
  const size = 2 * half + 1;
  const at = (x: number, y: number): number => {
    const i = Math.floor(x);
    const j = Math.floor(y);
    if (i < 0 || j < 0 || i >= size - 1 || j >= size - 1) return 0;
    const fx = x - i;
    const fy = y - j;
    const k = j * size + i;
    return (
      (image[k] * (1 - fx) + image[k + 1] * fx) * (1 - fy) +
      (image[k + size] * (1 - fx) + image[k + size + 1] * fx) * fy
    );
  };
  const inner: Edge[] = [];
  const outer: Edge[] = [];
  for (let s = 0; s < SECTORS; s++) {
    const angle = (2 * Math.PI * (s + 0.5)) / SECTORS;
    const profile = Array.from({ length: Math.floor(half / RADIAL_STEP) }, (_, k) => {
      // Three rays across the sector.
      let sum = 0;
      for (const side of [-1, 0, 1]) {
        const a = angle + (side * 2 * Math.PI) / (3 * SECTORS);
        sum += at(half + k * RADIAL_STEP * Math.cos(a), half + k * RADIAL_STEP * Math.sin(a));
      }
      return sum / 3;
    });
    const edges = edgesOf(profile, hfd);
    if (edges === null) continue;
    inner.push({ angle, radius: edges.inner });
    outer.push({ angle, radius: edges.outer });
  }
  if (inner.length < MIN_SECTORS) return null;
  const hole = centreOfCircle(inner);
  const rim = centreOfCircle(outer);
  return { x: hole.x - rim.x, y: hole.y - rim.y };
}

interface Edge {
  readonly angle: number;
  readonly radius: number;
}

/** Radii at which the ring rises and falls through half of its own height above the hole and the sky. */
function edgesOf(profile: readonly number[], hfd: number): { inner: number; outer: number } | null {
  const top = Math.min(profile.length - 1, Math.round(hfd / RADIAL_STEP));
  let peak = 0;
  for (let k = 0; k <= top; k++) if (profile[k] > profile[peak]) peak = k;
  let dip = peak;
  for (let k = peak; k >= 0; k--) if (profile[k] < profile[dip]) dip = k;
  if (!(profile[peak] > 0) || profile[dip] > DEEPEST * profile[peak]) return null;
  const cross = (level: number, from: number, step: 1 | -1): number | null => {
    for (let k = from; k + step >= 0 && k + step < profile.length; k += step)
      if (profile[k + step] <= level) {
        const f = (profile[k] - level) / (profile[k] - profile[k + step]);
        return (k + step * f) * RADIAL_STEP;
      }
    return null;
  };
  const inner = cross((profile[peak] + profile[dip]) / 2, peak, -1);
  const outer = cross(profile[peak] / 2, peak, 1);
  return inner === null || outer === null ? null : { inner, outer };
}

/** First harmonic of the radii: where the circle's centre stands from the origin; vanes and noise are outvoted. */
function centreOfCircle(edges: readonly Edge[]): { x: number; y: number } {
  let centre = { x: 0, y: 0 };
  let radius = 0;
  let weights = edges.map(() => 1);
  for (let round = 0; round < 6; round++) {
    let [s, c1, s1, c2, s2, cs, r0, rc, rs] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
    edges.forEach(({ angle, radius: r }, i) => {
      const w = weights[i];
      const [c, d] = [Math.cos(angle), Math.sin(angle)];
      s += w;
      c1 += w * c;
      s1 += w * d;
      c2 += w * c * c;
      s2 += w * d * d;
      cs += w * c * d;
      r0 += w * r;
      rc += w * r * c;
      rs += w * r * d;
    });
    // Normal equations of r = radius + x cos + y sin.
    const [a, b, e] = [c2 - (c1 * c1) / s, cs - (c1 * s1) / s, s2 - (s1 * s1) / s];
    const [p, q] = [rc - (c1 * r0) / s, rs - (s1 * r0) / s];
    const det = a * e - b * b;
    if (!(det > 0)) break;
    centre = { x: (p * e - q * b) / det, y: (q * a - p * b) / det };
    radius = (r0 - centre.x * c1 - centre.y * s1) / s;
    const misfit = edges.map(
      (edge) => edge.radius - radius - centre.x * Math.cos(edge.angle) - centre.y * Math.sin(edge.angle),
    );
    const typical = [...misfit].map(Math.abs).sort((m, n) => m - n)[misfit.length >> 1];
    const scale = Math.max(3 * 1.48 * typical, 1e-6);
    weights = misfit.map((m) => (Math.abs(m) < scale ? (1 - (m / scale) ** 2) ** 2 : 0));
  }
  return centre;
}
