import type { Cause } from '../../src/diagnosis/finding.ts';
import { add, angle, type Complex, conjugate, length, scale, subtract, ZERO } from '../../src/optics/complex.ts';
import type { Scene } from '../../src/optics/starField.ts';
import { effectiveFocalRatio, primaryFocalRatio } from '../../src/optics/telescope.ts';
import { type Coefficients, comaNodeMm, comaUmPerMm, UM_PER_RMS, wavefrontAt } from '../../src/optics/wavefront.ts';
import type { Shape } from '../../src/shapes/shape.ts';
import type { DrawnCase } from './drawnCase.ts';
import { meanOf, noiseFreeStar, zoneCentres } from './noiseFree.ts';
import { COMA_UM, DISTORTION, focusZoneUm, TREFOIL_RMS_UM } from './tolerances.ts';

export interface CauseTruth {
  /** Amount over its tolerance; null where the cause does not apply (a bare mirror's own curvature). */
  readonly ratio: number | null;
  /** Quadrature widening of this cause alone in its worst zone, pixels. */
  readonly widensPx: number;
  /** On the screen, degrees; null where nothing was drawn or the cause has none. */
  readonly directionDeg: number | null;
  /** Directions repeat after so many degrees. */
  readonly period: 360 | 180 | 120;
  /** False where one focus cannot tell it from something else by an exact symmetry. */
  readonly identifiable: boolean;
}

/** What was drawn, in the record's units, on the screen. */
export interface Truth {
  readonly causes: Readonly<Record<Cause, CauseTruth>>;
  readonly bare: boolean;
  readonly subs: number;
  /** Largest difference of focus between two subs, um. */
  readonly focusSpreadUm: number;
  readonly comaUm: Complex;
  readonly coma3: Complex | null;
  readonly mirrorTiltArcmin: number;
  readonly nodeMm: Complex | null;
  readonly tiltUm: number;
  /** Corner minus centre without its sign, um. */
  readonly curvatureUm: number;
  /** Of a straight drift with nothing else smearing; null else. */
  readonly driftPx: number | null;
  readonly trefoil3: Complex | null;
  readonly trefoilRmsUm: number;
  /** Uniform (e1, e2) and its radial part at the corner, of noise-free stars. */
  readonly distortion: { readonly uniform: Complex; readonly radial: number } | null;
  /** Smear and air together over the tolerance. */
  readonly smearRatio: number;
}

const DEG = 180 / Math.PI;

const distortionOf = (shape: Shape | null): Complex => (shape === null ? ZERO : { x: shape.e1, y: shape.e2 });

/** Extra width, pixels, of one star against another. */
function widened(wide: Shape | null, narrow: Shape | null): number {
  if (wide === null || narrow === null) return Number.NaN;
  return Math.sqrt(Math.max(0, wide.fwhm ** 2 - narrow.fwhm ** 2));
}

export function truthOf(drawn: DrawnCase, scenes: readonly Scene[]): Truth {
  const first = scenes[0];
  const { telescope, state, camera } = first;
  const bare = telescope.corrector === null;
  const topDown = drawn.scenario.camera.rowOrder === 'TOP-DOWN';
  const screen = (v: Complex): Complex => (topDown ? conjugate(v) : v);
  const degrees = (v: Complex, spin: number, period: number): number | null => {
    if (length(v) < 1e-9) return null;
    const d = (angle(screen(v)) * DEG) / spin;
    return ((d % period) + period) % period;
  };
  const focusPerD = 8 * effectiveFocalRatio(telescope) ** 2;
  const half = { x: (camera.width * camera.pixelUm) / 2000, y: (camera.height * camera.pixelUm) / 2000 };
  const corner2 = half.x ** 2 + half.y ** 2;
  const at = (z: Complex, scene = first): Coefficients => wavefrontAt(telescope, scene.state, z);
  const middle = at(ZERO);
  const zones = zoneCentres(first);
  const plain = noiseFreeStar(first, ZERO, {});

  // Slope and curvature of the focus surface, um of focus, from the wavefront itself.
  const slope = {
    x: ((at({ x: 1, y: 0 }).d - at({ x: -1, y: 0 }).d) * focusPerD) / 2,
    y: ((at({ x: 0, y: 1 }).d - at({ x: 0, y: -1 }).d) * focusPerD) / 2,
  };
  const tiltUm = 2 * (half.x * Math.abs(slope.x) + half.y * Math.abs(slope.y));
  const corners = [-1, 1].flatMap((u) => [-1, 1].map((v) => ({ x: u * half.x, y: v * half.y })));
  const cornerD = corners.reduce((sum, z) => sum + at(z).d, 0) / 4 - middle.d;
  const curvature = cornerD * focusPerD;
  const zone = (scene: Scene): number =>
    focusZoneUm(scene.seeingArcsec, telescope.apertureMm, effectiveFocalRatio(telescope));
  const meanZone = scenes.reduce((sum, scene) => sum + zone(scene), 0) / scenes.length;

  const coma = middle.c;
  const trefoilRmsUm = length(state.trefoilUm) / UM_PER_RMS.t;
  const smears = scenes.map((scene) => lengthening(scene, { smear: true }));
  const airs = scenes.map((scene) => lengthening(scene, { dispersion: true }));
  const both = scenes.map((scene) => lengthening(scene, { smear: true, dispersion: true }));
  const meanLength = (vectors: readonly Complex[]): number =>
    vectors.reduce((sum, v) => sum + length(v), 0) / vectors.length;
  const offsets = scenes.map((scene) => at(ZERO, scene).d * focusPerD + curvature / 3);
  const worst = offsets.reduce(
    (a, b, i) => (Math.abs(b) / zone(scenes[i]) > Math.abs(a.um) / a.zone ? { um: b, zone: zone(scenes[i]), i } : a),
    {
      um: 0,
      zone: meanZone,
      i: 0,
    },
  );

  const alone = (w: Partial<Coefficients>, z: Complex = ZERO): number => widened(noiseFreeStar(first, z, w), plain);
  const outermost = zones.reduce((a, b) =>
    Math.abs(b.x * slope.x + b.y * slope.y) > Math.abs(a.x * slope.x + a.y * slope.y) ? b : a,
  );
  const tiltRatio = tiltUm / meanZone;
  const curvatureRatio = Math.abs(curvature) / meanZone;
  // r^2 of a corner zone's centre is 4/9 of the corner's, the field's mean 1/3.
  const curvatureD = cornerD * Math.max(4 / 9 - 1 / 3, 1 / 3);
  const astigmatic = zones.flatMap((z) =>
    scenes.map((scene) => {
      const { a, d } = at(z, scene);
      return { e: length(a) < 1e-6 ? ZERO : distortionOf(noiseFreeStar(scene, z, { a, d })), z, scene };
    }),
  );
  const worstAstigmatic = astigmatic.reduce((a, b) => (length(b.e) > length(a.e) ? b : a));
  const astigmatismOwn = bare || curvatureRatio > 0.8;
  const focusUm = scenes.map((scene) => scene.state.focusUm);
  const focusSpreadUm = Math.max(...focusUm) - Math.min(...focusUm);

  const causes: Truth['causes'] = {
    miscollimation: {
      ratio: length(coma) / COMA_UM,
      widensPx: alone({ c: coma }),
      directionDeg: degrees(coma, 1, 360),
      period: 360,
      identifiable: true,
    },
    'sensor-tilt': {
      ratio: tiltRatio,
      widensPx: alone({ d: (outermost.x * slope.x + outermost.y * slope.y) / focusPerD }),
      directionDeg: degrees(slope, 1, 180),
      period: 180,
      identifiable: true,
    },
    'corrector-spacing': {
      ratio: bare ? null : curvatureRatio,
      widensPx: alone({ d: curvatureD }),
      directionDeg: null,
      period: 360,
      identifiable: true,
    },
    'pinched-optics': {
      ratio: trefoilRmsUm / TREFOIL_RMS_UM,
      widensPx: alone({ t: state.trefoilUm }),
      directionDeg: degrees(state.trefoilUm, 3, 120),
      period: 120,
      identifiable: true,
    },
    astigmatism: {
      ratio: astigmatismOwn ? null : length(worstAstigmatic.e) / DISTORTION,
      widensPx: widened(
        noiseFreeStar(worstAstigmatic.scene, worstAstigmatic.z, at(worstAstigmatic.z, worstAstigmatic.scene)),
        noiseFreeStar(worstAstigmatic.scene, worstAstigmatic.z, {
          ...at(worstAstigmatic.z, worstAstigmatic.scene),
          a: ZERO,
        }),
      ),
      directionDeg: null,
      period: 180,
      identifiable: length(state.astigmatismUm) === 0 || focusSpreadUm >= 30,
    },
    tracking: {
      ratio: meanLength(smears) / DISTORTION,
      widensPx: Math.max(
        ...scenes.map((scene) =>
          widened(noiseFreeStar(scene, ZERO, {}, { smear: true }), noiseFreeStar(scene, ZERO, {})),
        ),
      ),
      directionDeg: meanLength(smears) < 1e-3 ? null : degrees(meanOf(smears), 2, 180),
      period: 180,
      identifiable: true,
    },
    dispersion: {
      ratio: meanLength(airs) / DISTORTION,
      widensPx: widened(noiseFreeStar(first, ZERO, {}, { dispersion: true }), plain),
      directionDeg: first.atmosphere === null ? null : degrees(first.atmosphere.zenith, 1, 180),
      period: 180,
      identifiable: true,
    },
    defocus: {
      ratio: Math.abs(worst.um) / (worst.zone / 2),
      widensPx: widened(
        noiseFreeStar(scenes[worst.i], ZERO, { d: worst.um / focusPerD }),
        noiseFreeStar(scenes[worst.i], ZERO, {}),
      ),
      directionDeg: null,
      period: 360,
      identifiable: focusSpreadUm >= 30 || tiltRatio > 1 || curvatureRatio > 1,
    },
  };
  const node = comaNodeMm(telescope, state);
  const straight = scenes.every((scene) => scene.smear.jumpFraction === 0) && meanLength(airs) < 0.05 * DISTORTION;
  const drifts = scenes.map((scene) => length(scene.smear.driftUm) / camera.pixelUm);
  return {
    causes,
    bare,
    subs: scenes.length,
    focusSpreadUm,
    comaUm: screen(coma),
    coma3:
      length(coma) === 0
        ? ZERO
        : differenceOf(
            scenes,
            (shape) => shape.coma3,
            (w) => ({ ...w, c: subtract(w.c, coma) }),
          ),
    mirrorTiltArcmin: ((length(coma) / comaUmPerMm(telescope) / telescope.primaryFocalLengthMm) * 10800) / Math.PI,
    nodeMm: node === null ? null : screen(node),
    tiltUm,
    curvatureUm: Math.abs(curvature),
    driftPx: straight && length(state.astigmatismUm) === 0 ? Math.max(...drifts) : null,
    trefoil3:
      length(state.trefoilUm) === 0
        ? ZERO
        : differenceOf(
            scenes,
            (shape) => shape.trefoil3,
            (w) => ({ ...w, t: ZERO }),
          ),
    trefoilRmsUm,
    distortion: distortionField(scenes, corner2),
    smearRatio: meanLength(both) / DISTORTION,
  };

  /**
   * (e1, e2) that mount or air make of the stars as they stand, out of focus and comatic: their tolerance is an elongation of
   * the stars in the sub, and wide stars are drawn out less.
   */
  function lengthening(scene: Scene, by: { readonly smear?: boolean; readonly dispersion?: boolean }): Complex {
    const vectors = [0, 2, 4, 6, 8].flatMap((i) => {
      const w = at(zones[i], scene);
      const plainStar = noiseFreeStar(scene, zones[i], w);
      const star = noiseFreeStar(scene, zones[i], w, by);
      return star === null || plainStar === null ? [] : [subtract(distortionOf(star), distortionOf(plainStar))];
    });
    return vectors.length === 0 ? distortionOf(noiseFreeStar(scene, ZERO, {}, by)) : meanOf(vectors);
  }

  /** What one part of the wavefront adds to an odd shape: stars with all of it less those without, over zones and subs. */
  function differenceOf(
    of: readonly Scene[],
    shapeOf: (shape: Shape) => Complex,
    without: (w: Coefficients) => Coefficients,
  ): Complex | null {
    const differences = of.flatMap((scene) =>
      [0, 2, 4, 6, 8].map((i) => {
        const w = at(zones[i], scene);
        const options = { smear: true, samples: 3 };
        const full = noiseFreeStar(scene, zones[i], w, options);
        const less = noiseFreeStar(scene, zones[i], without(w), options);
        return full === null || less === null ? null : subtract(shapeOf(full), shapeOf(less));
      }),
    );
    if (differences.some((d) => d === null)) return null;
    const mean = meanOf(differences.filter((d) => d !== null));
    // Conjugation turns the axes of every spin alike.
    return screen(mean);
  }

  /** Uniform and z^2 part of the noise-free distortion over the zones (by symmetry of the nine places). */
  function distortionField(of: readonly Scene[], reach2: number): Truth['distortion'] {
    const values = of.flatMap((scene) =>
      zones.map((z) => ({ z, e: noiseFreeStar(scene, z, at(z, scene), { smear: true, dispersion: true }) })),
    );
    if (values.some(({ e }) => e === null)) return null;
    // On the symmetric grid z^2 has a mean of its own: solve for uniform and radial together.
    let sumQ = ZERO;
    let q2 = 0;
    let sumE = ZERO;
    let eq = 0;
    for (const { z, e } of values) {
      const q = { x: (z.x * z.x - z.y * z.y) / reach2, y: (2 * z.x * z.y) / reach2 };
      const d = distortionOf(e);
      sumQ = add(sumQ, q);
      sumE = add(sumE, d);
      q2 += q.x * q.x + q.y * q.y;
      eq += q.x * d.x + q.y * d.y;
    }
    const n = values.length;
    const radial = (eq - (sumQ.x * sumE.x + sumQ.y * sumE.y) / n) / (q2 - (sumQ.x ** 2 + sumQ.y ** 2) / n);
    return { uniform: screen(scale(subtract(sumE, scale(sumQ, radial)), 1 / n)), radial };
  }
}

/** Focal ratio that a case's summary names. */
export const ratioOf = (scene: Scene): number => primaryFocalRatio(scene.telescope);
