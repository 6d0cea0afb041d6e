import { type UncertainVector, vectorLength } from '../field/frameStars.ts';
import { angleFrom } from '../optics/complex.ts';
import { acrossOverAlong } from '../retrieval/smearedStar.ts';
import { airIsSuspect } from './air.ts';
import type { Amounts } from './amounts.ts';
import type { KnownOptics, Setup } from './setup.ts';

/** How well the turn is known where the smear is, as a share. */
const TURN_SHARE = 0.2;
/** Astigmatism out of focus does the opposite of a smear, two to three times as far: so many times a smear's turn holds both. */
const EITHER_SHARE = 1.6;

/** What is to be added to the direction that the coma seems to have, and how uncertain that makes it; radians. */
export interface Turn {
  readonly by: number;
  readonly error: number;
  /** By the whole-field fit. */
  readonly fitted: boolean;
}

export const NO_TURN: Turn = { by: 0, error: 0, fitted: false };

/** The vector with that added to its direction. */
export function turned<T extends UncertainVector>(vector: T, { by }: Turn): T {
  const [cos, sin] = [Math.cos(by), Math.sin(by)];
  return { ...vector, x: cos * vector.x - sin * vector.y, y: sin * vector.x + cos * vector.y };
}

/** A way that is off by more than this, radians, leaves a third of the coma and more: no star is moved along it. */
const OPEN_DIRECTION = Math.PI / 9;

export const directionIsOpen = ({ comaTurn }: Pick<Amounts, 'comaTurn'>): boolean => comaTurn.error > OPEN_DIRECTION;

/**
 * The turn of `amounts.coma`: to the direction of the whole-field fit, which knows how drawn-out stars answer, by smears and by
 * astigmatism; without it by the smear. What it took for a smear without knowing may be astigmatism all the same: that stays in the
 * error. A skew in all subs the fit does not know well enough.
 */
export function turnOf(
  amounts: Amounts,
  setup: Setup,
  fitted: { readonly angle: number; readonly error: number } | null,
): Turn {
  const { coma, retrieved, skew } = amounts;
  const known = retrieved?.longBy === 'smear' || retrieved?.longBy === 'astigmatism' || airIsSuspect(amounts, setup);
  const bySmear = turnBySmear(coma, amounts, known);
  if (fitted === null || skew !== null) return bySmear;
  const noise = Math.min(Math.PI / 2, coma.error / Math.max(vectorLength(coma), 1e-12));
  return {
    by: angleFrom(fitted.angle, Math.atan2(coma.y, coma.x)),
    // What the noise of the coma does not hold already.
    error: Math.hypot(Math.sqrt(Math.max(0, fitted.error ** 2 - noise ** 2)), known ? 0 : bySmear.error),
    fitted: true,
  };
}

/**
 * The turn by the smear that all stars share; `isSmear`: known to be one. What may be astigmatism as well, as the elongation of one
 * sub or of several at one focus, makes the direction less sure and leaves it where it is.
 */
export function turnBySmear(
  coma: UncertainVector,
  { smear, optics, jumped, skew }: Pick<Amounts, 'smear' | 'jumped' | 'skew'> & { optics: Pick<KnownOptics, 'bare'> },
  isSmear: boolean,
): Turn {
  // Of a bare mirror the stars about its node tell; where some subs jumped, those that did not. What a skew leaves is not known so well.
  if (optics.bare || jumped.size > 0 || skew !== null) return NO_TURN;
  const e = Math.max(0, vectorLength(smear) - smear.error);
  const away = Math.atan2(coma.y, coma.x) - 0.5 * Math.atan2(smear.y, smear.x);
  const undone = Math.atan2(Math.sin(away), acrossOverAlong(e) * Math.cos(away));
  const by = angleFrom(undone, away);
  return isSmear
    ? { ...NO_TURN, by, error: TURN_SHARE * Math.abs(by) }
    : { ...NO_TURN, error: EITHER_SHARE * Math.abs(by) };
}
