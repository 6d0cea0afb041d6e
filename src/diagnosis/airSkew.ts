import { type FrameStars, type UncertainVector, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { type Complex, length, polar, subtract, ZERO } from '../optics/complex.ts';
import { type Air, LIKE_AIR } from './air.ts';
import type { Parts } from './skew.ts';

/**
 * What the air makes of coma3 and trefoil3: blue light is spread farther than red, so that stars have a tail along their long axis,
 * towards the zenith. Both zero where its sense is not told; what it may be then stands in the errors.
 */
export interface AirSkew {
  readonly told: boolean;
  /** Stored axes, with the uncertainty of a component. */
  readonly coma3: UncertainVector;
  readonly trefoil3: UncertainVector;
}

/**
 * How well the air's part is known, as shares of its trefoil: stars of 3500 to 10000 K through these bands (drawn, 48 deg, 2") have a
 * third more or less of it, of coma up to a fourth less; drawn nights at usual foci, all of one colour, leave up to half of it.
 */
const TREFOIL_SHARE = 0.3;
const COMA_SHARE = 0.4;
/** The trefoil must be known so many times better than the air's for its sense to be told. */
const TOLD_SIGMAS = 3;
/** And may be off it by so much of it, where the noise is less. */
const MOST_OFF = 0.6;
/** Significance of the elongation from which on it has an axis. */
const AXIS_SIGMAS = 5;

/** `parts`: uniform over the field, less what the coma makes of trefoil and distortion. Null without air. */
export function airSkew({ trefoil, distortion }: Parts, air: Air | null): AirSkew | null {
  if (air === null) return null;
  const long = vectorLength(distortion) / Math.max(air.distortion, 1e-9);
  const like = vectorSignificance(distortion) >= AXIS_SIGMAS && long > LIKE_AIR.from && long < LIKE_AIR.to;
  const axis = 0.5 * Math.atan2(distortion.y, distortion.x);
  // Third moments go as lengths to the third, second moments as their squares.
  const share = like ? long ** 1.5 : 1;
  const made = share * air.trefoil3;
  const { x, y } = trefoil;
  const sense = x * Math.cos(3 * axis) + y * Math.sin(3 * axis) < 0 ? -1 : 1;
  const trefoil3 = polar(sense * made, 3 * axis);
  const off = length(subtract(trefoil, trefoil3));
  const told =
    like && made > TOLD_SIGMAS * trefoil.error && off < Math.max(MOST_OFF * made, TOLD_SIGMAS * trefoil.error);
  const comaError = COMA_SHARE * made;
  if (told)
    return {
      told,
      coma3: { ...polar(sense * share * air.coma3, axis), error: comaError / Math.SQRT2 },
      trefoil3: { ...trefoil3, error: (TREFOIL_SHARE * made) / Math.SQRT2 },
    };
  // Along one axis, either way: so much of either component.
  return {
    told,
    coma3: { ...ZERO, error: Math.hypot(share * air.coma3, comaError) / Math.SQRT2 },
    trefoil3: { ...ZERO, error: made / Math.SQRT2 },
  };
}

/** The air's part where its sense is told, else null. */
export const toldAir = (air: AirSkew | null): AirSkew | null => (air?.told === true ? air : null);

/** The stars without the air's skew, for a fit that knows none. */
export function withoutAir(frames: readonly FrameStars[], air: AirSkew | null): readonly FrameStars[] {
  const told = toldAir(air);
  if (told === null) return frames;
  return frames.map((frame) => ({
    ...frame,
    shapes: frame.shapes.map((shape) => ({
      ...shape,
      coma3: less(shape.coma3, told.coma3),
      trefoil3: less(shape.trefoil3, told.trefoil3),
    })),
  }));
}

/** A vector less the air's part, its own error as it is. */
export const less = <T extends Complex>(vector: T, part: Complex | undefined): T =>
  part === undefined ? vector : { ...vector, ...subtract(vector, part) };

/** The same with the air's error beside its own. */
export const lessAir = (vector: UncertainVector, part: UncertainVector | undefined): UncertainVector => {
  const rest = less(vector, part);
  return part === undefined ? rest : { ...rest, error: Math.hypot(vector.error, part.error) };
};
