import { vectorLength } from '../field/frameStars.ts';
import { FAULT_SIGMAS } from './finding.ts';
import type { Retrieved } from './retrieved.ts';

/** Beside the air's smear, which leans on the widths as the mirror's own astigmatism does. */
const BESIDE_AIR_SIGMAS = 10;
/** Near focus a tilt widens both of its sides alike, as much else does: drawn frames without one have shown 13.9 sigma of it there. */
const NEAR_FOCUS_SIGMAS = 15;
/** Near: all subs within this share of half the critical focus zone. */
const NEAR_SHARE = 0.3;

/**
 * How surely the whole-field fit must see a bare mirror's focal-plane tilt before it is called a fault; infinite where the fit found
 * more astigmatism that grows from side to side than the mirror makes: its own goes with the square of the way from its axis (Shack &
 * Thompson 1980), which stands `node` half-diagonals off the middle. The fit has then taken one for the other.
 */
export function sigmasForBareTilt(
  { perSub, astigmatismRmsUm: { linear, radial } }: Pick<Retrieved, 'perSub' | 'astigmatismRmsUm'>,
  airSuspect: boolean,
  focusZoneUm: number,
  node: number,
): number {
  const sideways = vectorLength(linear);
  // (z - n)^2 = z^2 - 2 n z + n^2.
  const own = Math.max(1, 2 * node) * Math.abs(radial.value);
  if (sideways > own && sideways > FAULT_SIGMAS * linear.error) return Number.POSITIVE_INFINITY;
  const near = perSub.every(({ focusUm }) => Math.abs(focusUm.value) < (NEAR_SHARE * focusZoneUm) / 2);
  if (near) return NEAR_FOCUS_SIGMAS;
  return airSuspect ? BESIDE_AIR_SIGMAS : 0;
}
