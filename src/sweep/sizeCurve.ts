import { type Coefficients, NO_ABERRATION } from '../optics/wavefront.ts';
import { intervalOf, NODES, onNodes } from './curveNodes.ts';
import { averageDisc, seeingFor, telescopeOf } from './drawnDisc.ts';
import { geometricGrowth, type SweepOptics } from './sweepOptics.ts';

/**
 * How a star's <r^2> within its aperture grows with defocus: q0 = floor g(x), x = growth dz^2/floor. Geometry alone gives
 * g = 1 + x; the aperture and diffraction bend it by some per cent, so it is measured on stars drawn by Fourier optics
 * through the same function as real stars.
 */
export interface SizeCurve {
  /** g and its derivative at x >= 0. */
  at(x: number): { readonly g: number; readonly slope: number };
  /**
   * <(dx + i dy)^2> that um of the astigmatism coefficient a makes at x, over that of the rays, 16 N^2 growth a dz.
   */
  astigmatism(x: number): number;
}

const PROBE_UM = 0.08;
/** Curves of floors within a tenth of each other agree to a few parts in a thousand. */
const FLOOR_STEP = 0.1;
const known = new Map<string, SizeCurve>();

/** The curve for stars whose focused q0 is about `floor` px^2. */
export function sizeCurve(optics: SweepOptics, floor: number): SizeCurve {
  const step = Math.round(Math.log(Math.max(floor, 0.1)) / FLOOR_STEP);
  const key = JSON.stringify([optics, step]);
  const drawn = known.get(key) ?? drawCurve(optics, Math.exp(step * FLOOR_STEP));
  known.set(key, drawn);
  return drawn;
}

/** Nodes are drawn when first asked for. */
function drawCurve(optics: SweepOptics, floor: number): SizeCurve {
  const telescope = telescopeOf(optics);
  const seeingArcsec = seeingFor(telescope, optics, floor);
  const n = optics.focalLengthMm / optics.apertureMm;
  const base = averageDisc(telescope, optics, seeingArcsec, NO_ABERRATION, 0)?.q0 ?? floor;
  const perUnit = Math.sqrt(base / geometricGrowth(optics));
  const at = (s: number): { dz: number; w: Coefficients } => {
    const dz = s * perUnit;
    return { dz, w: { ...NO_ABERRATION, d: dz / (8 * n * n) } };
  };
  const plain = onNodes((s) => {
    const { dz, w } = at(s);
    return averageDisc(telescope, optics, seeingArcsec, w, dz);
  });
  // At focus itself the ratios are 0/0: the first node beyond stands for it.
  const excess = onNodes((s) => {
    const safe = Math.max(s, NODES[1]);
    const disc = plain(safe);
    if (disc === null)
      throw new RangeError(`a star of q0 ${floor} px^2 cannot be drawn at ${safe} of its own size off`);
    return (disc.q0 / base - 1) / (safe * safe);
  });
  const astigmatism = onNodes((s) => {
    const safe = Math.max(s, NODES[1]);
    const { dz, w } = at(safe);
    const bent = averageDisc(telescope, optics, seeingArcsec, { ...w, a: { x: PROBE_UM, y: 0 } }, dz);
    const straight = plain(safe);
    if (bent === null || straight === null) return 1;
    return (bent.q2x - straight.q2x) / (16 * n * n * geometricGrowth(optics) * PROBE_UM * dz);
  });
  const value = (x: number): number => 1 + x * interpolate(Math.sqrt(x), excess);
  return {
    at: (x) => {
      const h = 1e-3 * (1 + x);
      const from = Math.max(0, x - h);
      return { g: value(x), slope: (value(x + h) - value(from)) / (x + h - from) };
    },
    astigmatism: (x) => interpolate(Math.sqrt(x), astigmatism),
  };
}

/** Piecewise cubic with slopes from the neighbours; constant beyond the last node. */
function interpolate(s: number, value: (node: number) => number): number {
  const last = NODES.length - 1;
  if (s >= NODES[last]) return value(NODES[last]);
  const i = intervalOf(s);
  const slopeAt = (k: number): number => {
    const a = NODES[Math.max(0, k - 1)];
    const b = NODES[Math.min(last, k + 1)];
    return (value(b) - value(a)) / (b - a);
  };
  const [p, q] = [NODES[i], NODES[i + 1]];
  const h = q - p;
  const t = (s - p) / h;
  const t2 = t * t;
  const t3 = t2 * t;
  return (
    (2 * t3 - 3 * t2 + 1) * value(p) +
    (t3 - 2 * t2 + t) * h * slopeAt(i) +
    (3 * t2 - 2 * t3) * value(q) +
    (t3 - t2) * h * slopeAt(i + 1)
  );
}
