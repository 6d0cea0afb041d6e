import { vectorLength } from '../field/frameStars.ts';
import type { Amounts } from './amounts.ts';
import type { Cause } from './finding.ts';
import { curvatureAmount, tiltAmount } from './focalPlane.ts';
import type { Setup } from './setup.ts';
import { COMA_TOLERANCE_UM, distortionOf, focusZoneUm, MARECHAL_UM, ROUND_ELONGATION } from './tolerances.ts';

/** An amount with its interval (68 %), in units of its tolerance: 1 is just tolerable. */
export interface ToleranceShare {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

/** How much of its tolerance a cause takes up; null where the cause has no single amount or it was not measured. */
export function toleranceShare(cause: Cause, amounts: Amounts, setup: Setup): ToleranceShare | null {
  const { response, trefoil, smear, comaUm } = amounts;
  switch (cause) {
    case 'miscollimation':
      return comaUm && over(COMA_TOLERANCE_UM, comaUm.value, comaUm.low, comaUm.high);
    case 'sensor-tilt': {
      const tilt = tiltAmount(amounts, setup);
      return tilt && over(focusZoneUm(amounts), tilt.um, tilt.um - tilt.error, tilt.um + tilt.error);
    }
    case 'corrector-spacing': {
      const bend = curvatureAmount(amounts);
      return bend && over(focusZoneUm(amounts), bend.um, bend.um - bend.error, bend.um + bend.error);
    }
    case 'pinched-optics': {
      if (response === null) return null;
      const length = vectorLength(trefoil);
      const rms = (coefficient: number): number => response.trefoilRmsUm(Math.max(0, coefficient));
      return over(MARECHAL_UM, rms(length), rms(length - trefoil.error), rms(length + trefoil.error));
    }
    case 'tracking': {
      const length = vectorLength(smear);
      return over(distortionOf(ROUND_ELONGATION), length, length - smear.error, length + smear.error);
    }
    default:
      return null;
  }
}

function over(tolerance: number, value: number, low: number, high: number): ToleranceShare {
  return { value: value / tolerance, low: Math.max(0, low) / tolerance, high: high / tolerance };
}
