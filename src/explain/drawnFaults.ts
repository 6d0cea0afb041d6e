import type { Cause } from '../diagnosis/finding.ts';
import { polar } from '../optics/complex.ts';
import { dispersionShift } from '../optics/dispersion.ts';
import type { ImageConditions } from '../optics/psf.ts';
import { STEADY } from '../optics/smear.ts';
import { ALIGNED, type OpticalState } from '../optics/state.ts';
import { EXAMPLE_TELESCOPE, umPerArcsec } from '../optics/telescope.ts';

/** How a fault is drawn: large enough to be seen at a glance, with the amount said. */
export interface DrawnFault {
  readonly state: OpticalState;
  readonly conditions: ImageConditions;
  /** What was drawn, for the caption. */
  readonly amount: string;
}

/** 200 mm f/4 with a coma corrector, a sensor of APS-C size. */
export const DRAWN_TELESCOPE = EXAMPLE_TELESCOPE;
export const SENSOR_MM = { width: 23.5, height: 15.7 } as const;
export const DRAWN_WITH = '200 mm f/4 with a corrector, sensor 23.5 x 15.7 mm, seeing 1.8″';

const CONDITIONS: ImageConditions = { pixelUm: 3.76, filter: 'L', seeingArcsec: 1.8, recentred: true };

const degrees = (value: number): number => (value * Math.PI) / 180;

const fault = (change: Partial<OpticalState>, amount: string): DrawnFault => ({
  state: { ...ALIGNED, ...change },
  conditions: CONDITIONS,
  amount,
});

/** Angle of a sensor whose focus differs by `um` over its width along `deg`, arcminutes. */
function tiltOf(um: number, deg: number): OpticalState['sensorTiltArcmin'] {
  const along =
    SENSOR_MM.width * Math.abs(Math.cos(degrees(deg))) + SENSOR_MM.height * Math.abs(Math.sin(degrees(deg)));
  return polar(((um / 1000 / along) * 10800) / Math.PI, degrees(deg));
}

/** The same telescope with nothing wrong, to compare. */
export const NO_FAULT: DrawnFault = fault({}, 'nothing wrong');

export const DRAWN_FAULTS: Readonly<Record<Cause, DrawnFault>> = {
  miscollimation: fault({ primaryTiltArcmin: polar(10, degrees(25)) }, 'primary tilted by 10′'),
  'sensor-tilt': fault(
    { sensorTiltArcmin: tiltOf(240, 20), astigmatismUm: polar(0.07, degrees(40)) },
    'focus differs by 240 µm across the sensor, focused in the middle',
  ),
  'corrector-spacing': fault(
    { correctorSpacingMm: 12, focusUm: 75 },
    'sensor 12 mm too far from the corrector, refocused in the middle',
  ),
  'pinched-optics': fault({ trefoilUm: polar(0.45, degrees(90)) }, 'trefoil of 0.16 µm RMS, in focus'),
  astigmatism: fault(
    { astigmatismUm: polar(0.3, degrees(70)), focusUm: 35 },
    'astigmatism of 0.12 µm RMS all over the field, 35 µm off focus',
  ),
  tracking: {
    ...NO_FAULT,
    conditions: {
      ...CONDITIONS,
      smear: { ...STEADY, driftUm: polar(4.5 * umPerArcsec(DRAWN_TELESCOPE), degrees(15)) },
    },
    amount: 'a steady drift of 4.5″ during the exposure',
  },
  dispersion: {
    ...NO_FAULT,
    conditions: {
      ...CONDITIONS,
      samples: 9,
      shiftUm: dispersionShift(DRAWN_TELESCOPE, 'L', 20, polar(1, degrees(60))),
    },
    amount: 'luminance (400-700 nm) at 20° of altitude, the zenith to the upper right',
  },
  defocus: fault({ focusUm: 110 }, '110 µm off focus'),
};
