import {
  along2,
  type Gaussian,
  type Observation,
  observe,
  type Row,
  round2,
  type Spread2,
  sum2,
  transform,
  type Vector2,
} from './gaussian.ts';
import type { Layout } from './screwPrior.ts';
import type { Sight } from './sight.ts';

/**
 * What is known of the primary and its screws: a mixture of normals, one for each way the screws may stand and each course of
 * events. The state of each: tilt vector now (0, 1) and before the last turns (2, 3), the share by which the measured amount is
 * too large (4), the effect of each screw (5, 6; 7, 8; ...), arcminutes a turn clockwise.
 */
export interface Course {
  readonly weight: number;
  readonly state: Gaussian;
  /** Whether something beside the noted turns moved the primary last time. */
  readonly disturbed: boolean;
  /** What the stars' travel stood for last time. */
  readonly travel: TravelMeans;
}

export type Belief = readonly Course[];

/** Turned screws between two looks, in the order of the names. */
export interface Turned {
  readonly screw: number;
  readonly turns: number;
  /** Turned against the sense it was turned in last, or for the first time: play is taken up. */
  readonly reversed: boolean;
}

export type TravelMeans = 'none' | 'primary' | 'flat' | 'mount';

const [NOW, BEFORE, SCALE, SCREWS] = [0, 2, 4, 5] as const;

export const NOISE = {
  /** Nothing is known of the tilt at first, arcminutes. */
  start: 15,
  /** Share of the amount's error that the next look has as well. */
  scaleKept: 0.85,
  scaleOwn: 0.5,
  /** Locking shifts the tilt by 0.3 to 0.5 arcminutes: of each component. */
  lock: 0.28,
  /** Bending with the telescope's attitude, where nothing was turned. */
  bend: 0.3,
  /** A hand turns to 5 degrees. */
  handTurns: 5 / 360,
  /** Play taken up when a screw is turned back, or for the first time: middle and 1 sigma. */
  play: 0.015,
  playTurns: 0.018,
  /** Something else moved the primary: chance, and by how much. */
  disturbed: 0.04,
  disturbance: 4,
  /** Mount and dithering carry the stars by so much of tilt although nobody moved it. */
  wander: 0.15,
} as const;

/** How likely the stars' travel is the primary's, the flat's, or the mount's, before anything is seen. */
const TRAVEL_CHANCES = { primary: 0.55, flat: 0.05, mount: 0.4 } as const;
/** A mount may carry the stars anywhere in a field of so many arcminutes of tilt. */
const MOUNT_REACH = 8;
/** Courses kept; those left out are a thousand times less likely. */
const MOST = 100;
const LEAST_SHARE = 1e-4;

export function beginBelief(layouts: readonly Layout[]): Belief {
  return layouts.map((layout) => ({
    weight: layout.weight,
    state: startOf(layout),
    disturbed: false,
    travel: 'none',
  }));
}

function startOf({ effects, sizeError, turnError, ownError }: Layout): Gaussian {
  const n = SCREWS + 2 * effects.length;
  const mean = new Float64Array(n);
  const cov = new Float64Array(n * n);
  for (let i = 0; i < SCALE; i++) cov[i * n + i] = NOISE.start ** 2;
  const flat = effects.flatMap(({ x, y }) => [x, y]);
  const turned = effects.flatMap(({ x, y }) => [-y, x]);
  for (let i = 0; i < flat.length; i++) {
    mean[SCREWS + i] = flat[i];
    for (let j = 0; j < flat.length; j++)
      cov[(SCREWS + i) * n + SCREWS + j] =
        sizeError ** 2 * flat[i] * flat[j] +
        turnError ** 2 * turned[i] * turned[j] +
        (i === j ? (ownError[i >> 1] ?? 0) ** 2 : 0);
  }
  return { mean, cov };
}

/** Takes the amount's uncertainty in: at the first look, when it is first known. */
function withScale(state: Gaussian, sight: Sight): Gaussian {
  const n = state.mean.length;
  if (state.cov[SCALE * n + SCALE] > 0) return state;
  return transform(state, new Map(), [[SCALE, SCALE, (NOISE.scaleKept * sight.scaleError) ** 2]]);
}

export function look(belief: Belief, sight: Sight): Belief {
  const { tilt } = sight;
  if (tilt === null) return belief;
  // The direction's error is taken for each look's own: drifts change with the wind, and turns of the screws show the rest.
  const own = sum2(
    along2(tilt, (NOISE.scaleOwn * sight.scaleError) ** 2),
    along2({ x: -tilt.y, y: tilt.x }, sight.directionError ** 2),
  );
  const observation: Observation = {
    z: tilt,
    // z = (1 + scale) v, about the measured amount.
    rows: [
      [
        [NOW, 1],
        [SCALE, tilt.x],
      ],
      [
        [NOW + 1, 1],
        [SCALE, tilt.y],
      ],
    ],
    noise: sum2(own, round2(sight.errorArcmin ** 2)),
  };
  return keepLikely(
    belief.map((course) => {
      const { after, logLikelihood } = observe(withScale(course.state, sight), observation);
      return { course: { ...course, state: after }, log: Math.log(course.weight) + logLikelihood };
    }),
  );
}

/** Time passes, screws are turned; each course goes on undisturbed or disturbed. */
export function turn(belief: Belief, turned: readonly Turned[], movedOtherwise: boolean): Belief {
  return belief.flatMap(({ weight, state }) => {
    const calm: Spread2 = turned.reduce(
      (sum, { screw, turns, reversed }) =>
        turns === 0 ? sum : sum2(sum, along2(effectIn(state, screw), turnVariance(reversed))),
      round2((turned.length > 0 ? NOISE.lock : NOISE.bend) ** 2),
    );
    const next = (noise: Spread2, share: number, disturbed: boolean): Course => ({
      weight: weight * share,
      state: step(state, turned, noise),
      disturbed,
      travel: 'none',
    });
    const rough = sum2(calm, round2(NOISE.disturbance ** 2));
    if (movedOtherwise) return [next(rough, 1, true)];
    return [next(calm, 1 - NOISE.disturbed, false), next(rough, NOISE.disturbed, true)];
  });
}

function step(state: Gaussian, turned: readonly Turned[], noise: Spread2): Gaussian {
  const moves = (component: 0 | 1): Row => [
    [NOW + component, 1],
    ...turned.map(
      ({ screw, turns, reversed }) => [SCREWS + 2 * screw + component, realTurns(turns, reversed)] as const,
    ),
  ];
  const rows = new Map<number, Row>([
    [NOW, moves(0)],
    [NOW + 1, moves(1)],
    [BEFORE, [[NOW, 1]]],
    [BEFORE + 1, [[NOW + 1, 1]]],
  ]);
  return transform(state, rows, [
    [NOW, NOW, noise.xx],
    [NOW, NOW + 1, noise.xy],
    [NOW + 1, NOW, noise.xy],
    [NOW + 1, NOW + 1, noise.yy],
  ]);
}

/**
 * Stars travelled by `travelPx` (screen axes) between the last sub before the turns and the first after them. A tilt of the
 * primary carries them by -pxPerArcmin times its change; the flat, for the same change of coma, half as far; the mount anywhere.
 */
export function travelled(belief: Belief, travelPx: Vector2, errorPx: number, pxPerArcmin: number): Belief {
  const variance = NOISE.wander ** 2 + (errorPx / pxPerArcmin) ** 2;
  const change: readonly [Row, Row] = [
    [
      [NOW, 1],
      [BEFORE, -1],
    ],
    [
      [NOW + 1, 1],
      [BEFORE + 1, -1],
    ],
  ];
  const as = (factor: number): Observation => ({
    z: { x: (-factor * travelPx.x) / pxPerArcmin, y: (-factor * travelPx.y) / pxPerArcmin },
    rows: change,
    noise: round2(factor * factor * variance),
  });
  const anywhere = -Math.log(Math.PI * MOUNT_REACH ** 2);
  return keepLikely(
    belief.flatMap((course) => {
      const log = Math.log(course.weight);
      const primary = observe(course.state, as(1));
      const mount = {
        course: { ...course, travel: 'mount' as const },
        log: log + Math.log(TRAVEL_CHANCES.mount) + anywhere,
      };
      const branch = (seen: ReturnType<typeof observe>, travel: 'primary' | 'flat', unit: number) => ({
        course: { ...course, state: seen.after, travel },
        log: log + Math.log(TRAVEL_CHANCES[travel]) + seen.logLikelihood + 2 * Math.log(unit),
      });
      // Only what disturbed the primary's noted turns can be the flat. Densities are told per travel, not per change.
      if (!course.disturbed) return [branch(primary, 'primary', 1), mount];
      return [branch(primary, 'primary', 1), branch(observe(course.state, as(2)), 'flat', 2), mount];
    }),
  );
}

function keepLikely(courses: readonly { readonly course: Course; readonly log: number }[]): Belief {
  const top = Math.max(...courses.map(({ log }) => log));
  const likely = courses
    .map(({ course, log }) => ({ ...course, weight: Math.exp(log - top) }))
    .filter(({ weight }) => weight > LEAST_SHARE)
    .sort((a, b) => b.weight - a.weight)
    .slice(0, MOST);
  const total = likely.reduce((sum, { weight }) => sum + weight, 0);
  return likely.map((course) => ({ ...course, weight: course.weight / total }));
}

/** Both together, the second with so much weight: what was learnt may not hold any more. */
export function mixed(first: Belief, second: Belief, share: number): Belief {
  return [
    ...first.map((course) => ({ ...course, weight: course.weight * (1 - share) })),
    ...second.map((course) => ({ ...course, weight: course.weight * share })),
  ];
}

/** Share of the belief for which `holds`. */
export function chanceOf(belief: Belief, holds: (course: Course) => boolean): number {
  return belief.reduce((sum, course) => sum + (holds(course) ? course.weight : 0), 0);
}

/** What a noted turn does on the average. */
export function realTurns(turns: number, reversed: boolean): number {
  return reversed ? Math.sign(turns) * Math.max(0, Math.abs(turns) - NOISE.play) : turns;
}

/** Square of what a noted turn may differ from the real one. */
export function turnVariance(reversed: boolean): number {
  return NOISE.handTurns ** 2 + (reversed ? NOISE.playTurns ** 2 : 0);
}

export const screwsOf = ({ state }: Course): number => (state.mean.length - SCREWS) / 2;

export const effectIn = ({ mean }: Gaussian, screw: number): Vector2 => ({
  x: mean[SCREWS + 2 * screw],
  y: mean[SCREWS + 2 * screw + 1],
});

/** First and second moments of the tilt (index 0) and of the effect of each screw (1, 2, ...): means, and E[a . b]. */
export interface Moments {
  readonly means: readonly Vector2[];
  readonly products: readonly (readonly number[])[];
}

export function momentsOf(belief: Belief): Moments {
  const n = belief[0]?.state.mean.length ?? SCREWS;
  const places = [NOW, ...Array.from({ length: (n - SCREWS) / 2 }, (_, i) => SCREWS + 2 * i)];
  const means = places.map((at) => ({
    x: belief.reduce((sum, { weight, state }) => sum + weight * state.mean[at], 0),
    y: belief.reduce((sum, { weight, state }) => sum + weight * state.mean[at + 1], 0),
  }));
  const products = places.map((a) =>
    places.map((b) => {
      let sum = 0;
      for (const { weight, state } of belief)
        for (const k of [0, 1])
          sum += weight * (state.mean[a + k] * state.mean[b + k] + state.cov[(a + k) * n + b + k]);
      return sum;
    }),
  );
  return { means, products };
}

/** What screws alone explain: mean and covariance of the change that the turns should make. */
export function expectedChange(
  belief: Belief,
  turned: readonly Turned[],
): { readonly mean: Vector2; readonly sd: number } {
  const { means, products } = momentsOf(belief);
  const mean = turned.reduce(
    (sum, { screw, turns }) => ({
      x: sum.x + turns * (means[screw + 1]?.x ?? 0),
      y: sum.y + turns * (means[screw + 1]?.y ?? 0),
    }),
    { x: 0, y: 0 },
  );
  let square = 0;
  for (const a of turned)
    for (const b of turned) square += a.turns * b.turns * (products[a.screw + 1]?.[b.screw + 1] ?? 0);
  return { mean, sd: Math.sqrt(Math.max(0, square - mean.x ** 2 - mean.y ** 2) / 2) };
}
