import type { Sight } from '../../src/adjust/sight.ts';
import type { StarPlaces } from '../../src/adjust/starTravel.ts';
import { type Random, seededRandom } from '../../src/numeric/random.ts';

/** How a telescope to be put right behaves; arcminutes, turns. */
export interface PrimaryCase {
  readonly seed: number;
  readonly screws: number;
  /** What one turn should do by the rig, and what it really does, as a factor. */
  readonly effectArcmin: number;
  readonly threadFactors: readonly [number, number];
  readonly handDeg: number;
  readonly lockArcmin: readonly [number, number];
  readonly playTurns: readonly [number, number];
  readonly startArcmin: readonly [number, number];
  /** One focus leaves the amount open by this share, 1 sigma; most of it the same from look to look. */
  readonly scaleError: number;
  readonly errorArcmin: number;
  /** After a round the field is re-centred with the mount, by this chance. */
  readonly recentred: number;
}

export const USUAL_CASE: Omit<PrimaryCase, 'seed'> = {
  screws: 3,
  // M6 on a circle of 90 mm: handbook value.
  effectArcmin: 25.46,
  threadFactors: [0.8, 1.2],
  handDeg: 5,
  lockArcmin: [0.3, 0.5],
  playTurns: [0.02, 0.04],
  startArcmin: [4, 8],
  scaleError: 0.14,
  errorArcmin: 0.1,
  recentred: 0.5,
};

/** Focal length 800 mm, f/4, 3.76 um: 0.005 N^3 mm is 1.375 arcminutes; a star goes 123.8 px an arcminute. */
const TOLERANCE = 1.375;
const PX_PER_ARCMIN = 123.8;
const FIELD = { width: 3124, height: 2088 } as const;

/**
 * A primary on screws at unknown angles and of unknown sense, turned by a hand, locked, and looked at. It shares no code with
 * what learns from it: angles, play and travel are done here by plain trigonometry.
 */
export class SimulatedPrimary {
  tilt: { x: number; y: number };
  readonly #case: PrimaryCase;
  readonly #random: Random;
  readonly #effects: { x: number; y: number }[];
  readonly #sense: number[];
  readonly #scale: number;
  readonly #sky: { x: number; y: number; flux: number }[];
  #pointing = { x: 0, y: 0 };

  constructor(given: PrimaryCase) {
    this.#case = given;
    const random = seededRandom(given.seed, 'simulated primary');
    this.#random = random;
    const between = ([low, high]: readonly [number, number]): number => low + (high - low) * random.uniform();
    const first = 2 * Math.PI * random.uniform();
    const hand = random.uniform() < 0.5 ? 1 : -1;
    const factor = between([0, 1]) < 0.5 ? given.threadFactors[0] : given.threadFactors[1];
    this.#effects = Array.from({ length: given.screws }, (_, i) => {
      const angle = first + (hand * 2 * Math.PI * i) / given.screws + 0.03 * random.normal();
      const size = given.effectArcmin * factor * (1 + 0.03 * random.normal());
      return { x: size * Math.cos(angle), y: size * Math.sin(angle) };
    });
    this.#sense = this.#effects.map(() => (random.uniform() < 0.5 ? 1 : -1));
    const start = between(given.startArcmin);
    const towards = 2 * Math.PI * random.uniform();
    this.tilt = { x: start * Math.cos(towards), y: start * Math.sin(towards) };
    this.#scale = 1 + 0.85 * given.scaleError * random.normal();
    this.#sky = Array.from({ length: 700 }, () => ({
      x: (3 * random.uniform() - 1) * FIELD.width,
      y: (3 * random.uniform() - 1) * FIELD.height,
      flux: 3000 * random.uniform() ** -1.2,
    }));
  }

  get length(): number {
    return Math.hypot(this.tilt.x, this.tilt.y);
  }

  get tolerance(): number {
    return TOLERANCE;
  }

  turn(screw: number, turns: number): void {
    const { handDeg, playTurns } = this.#case;
    let real = turns + (handDeg / 360) * this.#random.normal();
    const sense = Math.sign(real);
    if (this.#sense[screw] === -sense) {
      const play = playTurns[0] + (playTurns[1] - playTurns[0]) * this.#random.uniform();
      real = sense * Math.max(0, Math.abs(real) - play);
      this.#sense[screw] = sense;
    }
    const effect = this.#effects[screw] ?? { x: 0, y: 0 };
    this.shift({ x: real * effect.x, y: real * effect.y });
  }

  lock(): void {
    const [low, high] = this.#case.lockArcmin;
    const size = low + (high - low) * this.#random.uniform();
    const towards = 2 * Math.PI * this.#random.uniform();
    this.shift({ x: size * Math.cos(towards), y: size * Math.sin(towards) });
    if (this.#random.uniform() < this.#case.recentred)
      this.#pointing = { x: 40 * this.#random.normal(), y: 40 * this.#random.normal() };
  }

  /** Any move of the primary carries the stars against the change of the tail's vector, twice as far as the node. */
  shift(change: { readonly x: number; readonly y: number }): void {
    this.tilt = { x: this.tilt.x + change.x, y: this.tilt.y + change.y };
    this.#pointing.x -= PX_PER_ARCMIN * change.x;
    this.#pointing.y -= PX_PER_ARCMIN * change.y;
  }

  /** What a report of new subs would say. */
  look(at: string): { sight: Sight; stars: StarPlaces } {
    const { scaleError, errorArcmin } = this.#case;
    const noise = (): number => errorArcmin * this.#random.normal();
    const scale = Math.max(0.4, this.#scale + 0.5 * scaleError * this.#random.normal());
    const seen = { x: scale * this.tilt.x + noise(), y: scale * this.tilt.y + noise() };
    const length = Math.hypot(seen.x, seen.y);
    // Dithering.
    const dither = { x: 10 * this.#random.normal(), y: 10 * this.#random.normal() };
    // Stored rows run downwards (TOP-DOWN).
    const stars = this.#sky
      .map(({ x, y, flux }) => ({
        x: x + this.#pointing.x + dither.x + 0.05 * this.#random.normal(),
        y: y - this.#pointing.y - dither.y + 0.05 * this.#random.normal(),
        flux: flux * Math.exp(0.02 * this.#random.normal()),
      }))
      .filter(({ x, y }) => x > 8 && y > 8 && x < FIELD.width - 8 && y < FIELD.height - 8)
      .sort((a, b) => b.flux - a.flux)
      .slice(0, 90);
    const fault = length > TOLERANCE && length > 5 * errorArcmin;
    return {
      sight: {
        at,
        verdict: fault ? 'adjust' : 'good',
        status: fault ? 'fault' : 'within-tolerance',
        tilt: seen,
        errorArcmin,
        scaleError,
        directionError: 0,
        toleranceArcmin: TOLERANCE,
        pxPerArcmin: PX_PER_ARCMIN,
        rowOrder: 'TOP-DOWN',
        needs: null,
      },
      stars: { ...FIELD, stars },
    };
  }
}
