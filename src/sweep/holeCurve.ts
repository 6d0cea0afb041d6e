import { NO_ABERRATION } from '../optics/wavefront.ts';
import { intervalOf, NODES, onNodes } from './curveNodes.ts';
import { stackOf } from './discStack.ts';
import { averageDisc, type Drawn, discOf, seeingFor, stampsOf, telescopeOf } from './drawnDisc.ts';
import { holeOffset } from './holeOffset.ts';
import { geometricGrowth, type SweepOptics } from './sweepOptics.ts';

/**
 * Hole of a disc against its rim over what rays give: of coma, 6 N c (1 - eps^2), and of a shifted shadow, dz w/(2 N). Seeing
 * and diffraction blur both edges, so that it is well below 1; null where no hole is seen. x as in SizeCurve.
 */
export type HoleCurve = (x: number) => { readonly coma: number; readonly shadow: number } | null;

const PROBE_RADII = 0.04;
/** Below this sqrt(x) no disc shows a hole. */
const LEAST_HOLE = 2;
const LEAST_COMA_UM = 0.06;
const MOST_COMA_UM = 0.6;
const STEP = 0.12;
const known = new Map<string, HoleCurve>();

/** The curve for stars whose focused q0, coma and seeing together, is about `floor` px^2, with about so much coma. */
export function holeCurve(optics: SweepOptics, floor: number, comaUm: number): HoleCurve {
  const rounded = (value: number): number => Math.round(Math.log(value) / STEP);
  const probe = Math.min(MOST_COMA_UM, Math.max(LEAST_COMA_UM, comaUm));
  const steps = [rounded(Math.max(floor, 0.1)), rounded(probe)];
  const key = JSON.stringify([optics, steps]);
  const drawn = known.get(key) ?? drawCurve(optics, Math.exp(steps[0] * STEP), Math.exp(steps[1] * STEP));
  known.set(key, drawn);
  return drawn;
}

function drawCurve(optics: SweepOptics, floor: number, comaUm: number): HoleCurve {
  const telescope = telescopeOf(optics);
  const n = optics.focalLengthMm / optics.apertureMm;
  const coma = { ...NO_ABERRATION, c: { x: comaUm, y: 0 } };
  const seeingArcsec = seeingFor(telescope, optics, floor, coma);
  const base = averageDisc(telescope, optics, seeingArcsec, coma, 0)?.q0 ?? floor;
  const shifted = { ...telescope, obstructionOffset: { x: PROBE_RADII, y: 0 } };
  const holes = onNodes((s) => {
    if (s < LEAST_HOLE) return null;
    const dz = s * Math.sqrt(base / geometricGrowth(optics));
    const d = dz / (8 * n * n);
    const comatic = hole(telescope, optics, seeingArcsec, { ...coma, d }, dz);
    const shadowed = hole(shifted, optics, seeingArcsec, { ...NO_ABERRATION, d }, dz);
    if (comatic === null || shadowed === null) return null;
    // The hole moves towards the head, the tail is along +x; inside focus the shadow's image is upright.
    return {
      coma: (-comatic.x * optics.pixelUm) / (6 * n * comaUm * (1 - optics.obstruction ** 2)),
      shadow: (shadowed.x * optics.pixelUm) / ((dz * PROBE_RADII) / (2 * n)),
    };
  });
  return (x) => {
    const s = Math.min(Math.sqrt(x), NODES[NODES.length - 1]);
    const i = intervalOf(s);
    const [p, q] = [holes(NODES[i]), holes(NODES[i + 1])];
    if (p === null || q === null) return null;
    const f = (s - NODES[i]) / (NODES[i + 1] - NODES[i]);
    return { coma: p.coma + f * (q.coma - p.coma), shadow: p.shadow + f * (q.shadow - p.shadow) };
  };
}

/** Hole against rim of a drawn disc, px. */
function hole(...drawn: Drawn): { x: number; y: number } | null {
  const [stamp] = stampsOf(...drawn);
  const disc = discOf(stamp);
  const stack = disc === null ? null : stackOf(stamp.plane, [disc], 0, 0, 1);
  return stack && holeOffset(stack);
}
