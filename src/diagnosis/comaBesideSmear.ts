import { type UncertainVector, vectorLength } from '../field/frameStars.ts';
import { airIsSuspect } from './air.ts';
import type { Amounts } from './amounts.ts';
import type { KnownOptics, Setup } from './setup.ts';

/**
 * A round Gaussian weight sees less of a coma along the stars' long axis than across it, when a smear made them long: drawn stars
 * (200 mm f/4, seeing 1.8 to 3.5", in focus and 40 um off, drifts that make |(e1, e2)| up to 0.45) answer across so many times as
 * strongly as along, within a fifth. Astigmatism out of focus does the opposite, as strongly or more.
 */
const acrossOverAlong = (e: number): number => Math.exp(1.9 * e + 1.5 * e * e);
/** The drawn stars end here. */
const LONGEST = 0.45;
/** How well the turn is known where the smear is, as a share. */
const TURN_SHARE = 0.2;
/** Astigmatism turns it two to three times as far the other way: so many times a smear's turn holds both. */
const EITHER_SHARE = 1.5;

/** What is to be added to the direction that the coma seems to have, and how uncertain that makes it; radians. */
export interface Turn {
  readonly by: number;
  readonly error: number;
}

export const NO_TURN: Turn = { by: 0, error: 0 };

/** The vector with that added to its direction. */
export function turned<T extends UncertainVector>(vector: T, { by }: Turn): T {
  const [cos, sin] = [Math.cos(by), Math.sin(by)];
  return { ...vector, x: cos * vector.x - sin * vector.y, y: sin * vector.x + cos * vector.y };
}

/** A way that is off by more than this, radians, leaves a third of the coma and more: no star is moved along it. */
const OPEN_DIRECTION = Math.PI / 9;

export const directionIsOpen = ({ comaTurn }: Pick<Amounts, 'comaTurn'>): boolean => comaTurn.error > OPEN_DIRECTION;

/** The turn of `amounts.coma`: by the whole-field fit where that found astigmatism, for which it allows, else by the smear. */
export function turnOf(amounts: Amounts, setup: Setup): Turn {
  const { coma, retrieved } = amounts;
  if (retrieved?.longBy === 'astigmatism') {
    const fitted = retrieved.coma;
    return { by: between(Math.atan2(fitted.y, fitted.x), Math.atan2(coma.y, coma.x)), error: 0 };
  }
  return turnBySmear(coma, amounts, retrieved?.longBy === 'smear' || airIsSuspect(amounts, setup));
}

/** a - b as the shorter way round. */
const between = (a: number, b: number): number => Math.atan2(Math.sin(a - b), Math.cos(a - b));

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
  const e = Math.min(LONGEST, Math.max(0, vectorLength(smear) - smear.error));
  const away = Math.atan2(coma.y, coma.x) - 0.5 * Math.atan2(smear.y, smear.x);
  const undone = Math.atan2(Math.sin(away), acrossOverAlong(e) * Math.cos(away));
  const by = between(undone, away);
  return isSmear ? { by, error: TURN_SHARE * Math.abs(by) } : { by: 0, error: EITHER_SHARE * Math.abs(by) };
}
