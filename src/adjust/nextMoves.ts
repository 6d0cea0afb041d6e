import { type Belief, effectIn, type Moments, momentsOf, NOISE, realTurns, screwsOf, turnVariance } from './belief.ts';
import { HAND_TURNS } from './handTurn.ts';

interface Move {
  readonly screw: number;
  /** Clockwise positive. */
  readonly turns: number;
}

/** Turns weighed against what is known of the screws. */
export interface Plan {
  readonly kind: 'move' | 'learn' | 'leave';
  readonly moves: readonly Move[];
  /** Tilt after the moves, arcminutes: middle and 1 sigma. */
  readonly tiltArcmin: number;
  readonly errorArcmin: number;
}

const PLANNED = {
  /** Known well enough when no more than this share of the squared tilt is expected to stay; or, near the end, this. */
  stays: 0.15,
  staysNear: 0.6,
  /** Near the end: tolerances away. */
  near: 2,
  /**
   * What is tried to learn from may leave so much of the squared tilt on the average, or add so much to it, arcminutes; it is
   * to stand out of hand, play and locking by as much; and turns no screw farther.
   */
  risk: 1.3,
  harm: 2.4,
  tells: 1.8,
  learnTurns: 1 / 4,
  /** Two ways the screws may stand are one where their effects agree to this share. */
  alike: 0.35,
  /** No round turns one farther, whatever is known. */
  mostTurns: 1 / 2,
  /** A second screw, and the refocusing of one-sided turns, must be worth it, square arcminutes. */
  perScrew: 0.03,
  perTurnOfFocus: 0.15,
  /** The same where something is tried: one screw tells more clearly than two. */
  perScrewTried: 0.6,
  /** Turned only if that makes the squared tilt smaller by this share. */
  leastGain: 0.15,
} as const;

/** The sense each screw was turned in last: 1 clockwise, -1, or 0 where nothing is known. */
export type Senses = readonly number[];

/**
 * The smallest next turns, of two screws at most, that bring the tilt to nothing as far as it is known how. Where that is not
 * known, those that would if the likeliest way were the true one, kept so small that a wrong guess does little harm: what they
 * do tells which way it is.
 */
export function nextMoves(belief: Belief, senses: Senses, toleranceArcmin: number): Plan {
  const moments = momentsOf(belief);
  const now = squareAfter(moments, [], senses);
  const choices = everyChoice(moments.means.length - 1).map((moves) => ({
    moves,
    square: squareAfter(moments, moves, senses),
    price: priceOf(moves),
  }));
  const best = cheapest(choices, ({ square, price }) => square + price);
  const wanted = Math.max(PLANNED.stays * now, (0.7 * toleranceArcmin) ** 2);
  const gains = best.square < (1 - PLANNED.leastGain) * now;
  const near = now < (PLANNED.near * toleranceArcmin) ** 2 && best.square < PLANNED.staysNear * now;
  if (gains && (near || best.square <= wanted)) return planOf('move', best.moves, moments, senses);
  const likeliest = momentsOf(likeTheLikeliest(belief));
  const tried = choices.filter(
    ({ square, moves }) =>
      square <= Math.max(PLANNED.risk * now, now + PLANNED.harm ** 2) &&
      moves.every(({ turns }) => Math.abs(turns) <= PLANNED.learnTurns + 1e-9) &&
      unknownOf(moments, moves) >= PLANNED.tells ** 2,
  );
  if (tried.length > 0) {
    const learn = cheapest(
      tried,
      ({ moves, price }) => squareAfter(likeliest, moves, senses) + price + PLANNED.perScrewTried * moves.length,
    );
    return planOf(learn.square < 0.7 * now ? 'move' : 'learn', learn.moves, moments, senses);
  }
  return gains ? planOf('move', best.moves, moments, senses) : planOf('leave', [], moments, senses);
}

/** Variance of the change that the moves make. */
function unknownOf({ means, products }: Moments, moves: readonly Move[]): number {
  let variance = 0;
  for (const a of moves)
    for (const b of moves) {
      const [p, q] = [means[a.screw + 1], means[b.screw + 1]];
      const known = p === undefined || q === undefined ? 0 : p.x * q.x + p.y * q.y;
      variance += a.turns * b.turns * ((products[a.screw + 1]?.[b.screw + 1] ?? 0) - known);
    }
  return variance;
}

function cheapest<T>(among: readonly T[], price: (choice: T) => number): T {
  return among.reduce((best, choice) => (price(choice) < price(best) ? choice : best));
}

/** The part of the belief in which the screws do what they do in its likeliest course. */
function likeTheLikeliest(belief: Belief): Belief {
  const top = belief.reduce((best, course) => (course.weight > best.weight ? course : best));
  const screws = screwsOf(top);
  const effects = Array.from({ length: screws }, (_, screw) => effectIn(top.state, screw));
  const size = Math.hypot(...effects.map(({ x, y }) => Math.hypot(x, y))) / Math.sqrt(screws);
  const like = belief.map((course) => {
    const off = effects.reduce((sum, { x, y }, screw) => {
      const other = effectIn(course.state, screw);
      return sum + (other.x - x) ** 2 + (other.y - y) ** 2;
    }, 0);
    return { ...course, weight: course.weight * Math.exp((-0.5 * off) / (PLANNED.alike * size) ** 2) };
  });
  const total = like.reduce((sum, { weight }) => sum + weight, 0);
  return like.map((course) => ({ ...course, weight: course.weight / total }));
}

function everyChoice(screws: number): Move[][] {
  const sizes = HAND_TURNS.filter((turns) => turns <= PLANNED.mostTurns).flatMap((turns) => [turns, -turns]);
  const singles = Array.from({ length: screws }, (_, screw) => sizes.map((turns) => ({ screw, turns })));
  const choices: Move[][] = singles.flat().map((move) => [move]);
  for (const [i, first] of singles.entries())
    for (const second of singles.slice(i + 1)) for (const a of first) for (const b of second) choices.push([a, b]);
  return choices;
}

/** E|tilt|^2 after the moves, hand, play and locking included. */
function squareAfter({ products }: Moments, moves: readonly Move[], senses: Senses): number {
  const of = (a: number, b: number): number => products[a]?.[b] ?? 0;
  let square = of(0, 0);
  for (const { screw, turns } of moves) {
    const reversed = senses[screw] !== Math.sign(turns);
    const real = realTurns(turns, reversed);
    square += 2 * real * of(0, screw + 1) + turnVariance(reversed) * of(screw + 1, screw + 1);
    for (const other of moves)
      square +=
        real * realTurns(other.turns, senses[other.screw] !== Math.sign(other.turns)) * of(screw + 1, other.screw + 1);
  }
  return moves.length === 0 ? square : square + 2 * NOISE.lock ** 2;
}

function priceOf(moves: readonly Move[]): number {
  const net = moves.reduce((sum, { turns }) => sum + turns, 0);
  return PLANNED.perScrew * moves.length + PLANNED.perTurnOfFocus * Math.abs(net);
}

function planOf(kind: Plan['kind'], given: readonly Move[], moments: Moments, senses: Senses): Plan {
  const moves = [...given].sort((a, b) => Math.abs(b.turns) - Math.abs(a.turns));
  const [start, ...effects] = moments.means;
  const middle = moves.reduce(
    (sum, { screw, turns }) => ({
      x: sum.x + realTurns(turns, senses[screw] !== Math.sign(turns)) * (effects[screw]?.x ?? 0),
      y: sum.y + realTurns(turns, senses[screw] !== Math.sign(turns)) * (effects[screw]?.y ?? 0),
    }),
    { x: start?.x ?? 0, y: start?.y ?? 0 },
  );
  const known = middle.x ** 2 + middle.y ** 2;
  const variance = Math.max(0, squareAfter(moments, moves, senses) - known) / 2;
  // Mean length of a vector whose components err by sigma: Rice's, near enough.
  return {
    kind,
    moves,
    tiltArcmin: Math.sqrt(known + (Math.PI / 2) * variance),
    errorArcmin: Math.sqrt(variance),
  };
}
