import type { Cause } from '../diagnosis/finding.ts';

/** One fault for a reader who has never met it. */
export interface Explanation {
  readonly title: string;
  readonly is: string;
  readonly looks: string;
  /** Steps in their order, each a sentence or two. */
  readonly cure: readonly string[];
  /** What else looks like it, and what tells the two apart. */
  readonly confusedWith: readonly { readonly other: string; readonly settledBy: string }[];
}

/** Every cause of the record; a new cause does not compile without its explanation. */
export const EXPLANATIONS: Readonly<Record<Cause, Explanation>> = {
  miscollimation: {
    title: 'Miscollimation: the primary mirror’s axis misses the corrector’s',
    is:
      'The axis of the paraboloid does not run through the middle of the coma corrector (or, without one, of the frame). ' +
      'At f/4 the mirror may lean by little more than an arcminute before it matters: the coma of a missed axis grows with the inverse cube of the focal ratio.',
    looks:
      'Every star carries a tail, a faint fan to one side of a bright head. With a corrector all tails point the same way and are ' +
      'equally long all over the frame. Without one, coma grows from a point, the node, and that point stands away from the middle of the frame.',
    cure: [
      'First set the flat by geometry (centred under the focuser, the primary’s rim concentric in it). Coma alone cannot tell the flat from the primary.',
      'Tracking on, guiding off, short loops of 1 to 5 s. Release the lock screws.',
      'Tilt the primary so that the stars travel on your screen the way the tails point: star A goes to target B in the report. One screw moves the star along one line, so use two in turn.',
      'Lock again and look again (locking shifts it), re-centre with the mount, refocus, take new subs, and check them with --against.',
      'Within tolerance stop turning.',
    ],
    confusedWith: [
      {
        other: 'a skewed smear: a jump in tracking, a gust, backlash',
        settledBy:
          'several subs: tracking changes from sub to sub, the mirror does not. A smear also makes the stars triangular and long in fixed proportion to its skew, which coma does not.',
      },
      {
        other: 'atmospheric dispersion',
        settledBy:
          'its tail points to or from the zenith; subs above 60 degrees of altitude, or through a green or narrow filter, are free of it.',
      },
      {
        other: 'a cut or off-centre light cone out of focus',
        settledBy: 'one sub on each side of focus: coma stays as it is, what the cut makes turns round.',
      },
    ],
  },
  'sensor-tilt': {
    title: 'Sensor tilt: the sensor does not stand square to the light',
    is:
      'One side of the sensor is nearer to the mirror than the other, so that no focus suits both. The camera, its adapters, a sagging ' +
      'focuser or the corrector’s seat can lean; in a bare Newtonian the flat or a decentred primary tilts the focal plane as well.',
    looks:
      'Stars are sharp along one line across the frame and grow on both sides of it. Focus at the middle hides it well: both ends are ' +
      'then equally soft. With a little astigmatism the stars of the two sides are drawn out at right angles to each other.',
    cure: [
      'Put coma right first: a turned mirror moves the focal plane, and tilt chased before that has to be chased again.',
      'Look for the cheap causes: a thumb screw that pushes the camera aside, dirt under a flange, a focuser that sags. Screw everything together, then measure again.',
      'One focus gives the axis and the amount, not which side is too near. Rack the focuser in (towards the mirror) by 30 to 60 µm: the side that gets sharper stood too far from it.',
      'Shim or turn the tilt plate along the axis in the report, by half the amount; refocus in the middle; measure again.',
    ],
    confusedWith: [
      {
        other: 'field curvature or wrong corrector spacing',
        settledBy:
          'curvature is the same on all sides of the middle, tilt has two sides; both together put the sharpest spot off the centre.',
      },
      {
        other: 'a sagging focuser or tube (changes with pointing)',
        settledBy:
          'subs at two pointings, or with the camera turned by 90 degrees: what turns with the camera is in the camera.',
      },
    ],
  },
  'corrector-spacing': {
    title: 'Field curvature: the corrector does not stand at its distance from the sensor',
    is:
      'A coma corrector flattens the field at one distance from the sensor (its back-focus). A few millimetres off, the corners focus ' +
      'elsewhere than the middle and astigmatism is left over there.',
    looks:
      'Middle sharp, corners large and drawn out, the same in all four corners: pointing to the centre (radial) or around it (tangential). ' +
      'Refocusing on the corners softens the middle.',
    cure: [
      'Measure from the corrector’s shoulder to the sensor against the maker’s figure; a filter of thickness t adds about t/3 to the distance needed.',
      'Change the spacing by the smallest rings you have (0.5 to 1 mm), refocus in the middle, and measure again: keep the direction that makes the corners smaller.',
      'Which way is not safe from one focus: the pattern turns from radial to tangential on the other side of focus. Two subs, one on each side, settle it.',
    ],
    confusedWith: [
      { other: 'defocus', settledBy: 'refocus in the middle first: only curvature leaves the corners behind.' },
      { other: 'sensor tilt', settledBy: 'tilt has two sides, curvature is the same all around.' },
      {
        other: 'coma of a missing or wrong corrector',
        settledBy: 'coma is one-sided (heads towards the node), astigmatism is symmetric along its line.',
      },
    ],
  },
  'pinched-optics': {
    title: 'Pinched optics: something presses on a mirror',
    is:
      'Clips, a tight sling or cell screws, or glue bend the primary (three clips make a threefold bend), or the flat. Cold makes it ' +
      'worse: metal shrinks more than glass.',
    looks:
      'Stars are triangular all over the frame, all pointing the same way; out of focus the discs have three corners, turned by 60 degrees on ' +
      'the other side of focus.',
    cure: [
      'Loosen mirror clips until a sheet of paper slides between clip and glass; the mirror must rest, not be held. It must still be kept from falling.',
      'Look at the edge supports and the flat’s stalk, then let the mirror cool for an hour and measure again.',
      'Tube horizontal or pointing up for work on the cell, never with loose clips above your head or pointing down.',
    ],
    confusedWith: [
      {
        other: 'a mirror that is still cooling, air in the tube',
        settledBy: 'wait an hour, or use the fan: warm air goes, a pinch stays.',
      },
      {
        other: 'gross coma, or a skewed smear, which are a little triangular too',
        settledBy: 'both point one way as well (coma3); a pinch alone has trefoil without a tail.',
      },
      { other: 'three vanes', settledBy: 'vanes draw rays far out and leave the core round in focus.' },
    ],
  },
  astigmatism: {
    title: 'Astigmatism over the field',
    is:
      'Two directions across the mirror focus at different places: a bent flat or primary, a squeezed mirror on its edge, a corrector or ' +
      'camera lens off its axis, or a field that was never corrected.',
    looks:
      'Stars are drawn out along one line on one side of focus and at right angles to it on the other; at best focus they are small crosses ' +
      'or merely large. Uniform over the frame from a bent mirror; growing along a line or outwards from an axis that is off.',
    cure: [
      'Take a sub on each side of focus (60 to 80 µm): if the long axis turns by 90 degrees it is astigmatism, and the mount is innocent.',
      'Turn the camera with the corrector by 90 degrees: what turns along is behind the focuser, what stays is mirror or flat.',
      'Free the flat and the primary of pressure (see pinched-optics); put coma and sensor tilt right before looking for more.',
    ],
    confusedWith: [
      {
        other: 'tracking or drift, which draws all stars out alike',
        settledBy:
          'drift does not turn with focus and changes with the exposure; astigmatism turns by 90 degrees through focus.',
      },
      {
        other: 'wrong corrector spacing',
        settledBy: 'spacing makes it radial or tangential and leaves the middle alone.',
      },
      {
        other: 'atmospheric dispersion',
        settledBy: 'dispersion is gone in green light or high up, and lies along the vertical.',
      },
    ],
  },
  tracking: {
    title: 'Tracking: the image moved during the exposure',
    is:
      'Drift from polar alignment, the worm’s periodic error, guiding that swings, wind, cables that pull, flexure between guider and telescope. ' +
      'Not a fault of the optics; collimation cannot cure it.',
    looks:
      'All stars are drawn out by the same amount along the same line, middle and corners alike. A jump part-way gives them a faint second ' +
      'head or a tail to one side.',
    cure: [
      'Compare subs of different length: drift grows with the exposure, the optics do not.',
      'Along right ascension: balance, worm, guiding rate. Along declination: polar alignment, backlash. Any direction: wind, cables, a loose dovetail.',
      'Balance with the axes held; take the tube off before the weights.',
    ],
    confusedWith: [
      {
        other: 'astigmatism out of focus',
        settledBy: 'a sub on the other side of focus: astigmatism turns by 90 degrees, a smear stays.',
      },
      {
        other: 'miscollimation, when the smear is one-sided',
        settledBy: 'several subs, and shorter ones: coma is there in every sub alike.',
      },
      {
        other: 'field rotation',
        settledBy: 'rotation leaves one place of the frame round and grows with the distance from it.',
      },
    ],
  },
  dispersion: {
    title: 'Atmospheric dispersion: low in the sky air is a prism',
    is:
      'Blue light is lifted more than red. At 30 degrees of altitude an unfiltered or luminance star is a spectrum of 2 arcseconds ' +
      'and more. It is fixed on the sky, so that it stays from sub to sub.',
    looks:
      'All stars are drawn out along the vertical, a little one-sided; in colour, a blue edge on one side and a red one on the other.',
    cure: [
      'Measure collimation above 60 degrees of altitude.',
      'Or through a green or narrow filter: the same air then does no harm.',
      'Nothing in the telescope is to be turned.',
    ],
    confusedWith: [
      {
        other: 'miscollimation of 1 to 2 arcminutes',
        settledBy:
          'altitude or filter: 2′ of false tilt at 30 degrees in luminance, 0.1′ at 60 degrees, 0.01′ in green.',
      },
      {
        other: 'tracking',
        settledBy: 'dispersion keeps to the vertical and is gone in green light; drift does not care for colour.',
      },
    ],
  },
  defocus: {
    title: 'Defocus: the sensor does not stand in focus',
    is:
      'At f/4 the stars stay sharp over some tens of micrometres only, the width of a hair; one degree of cooling can use that up. ' +
      'One sub cannot tell a little defocus from worse seeing.',
    looks:
      'All stars are larger and flatter than the seeing makes them, further out rings with the shadow of the flat in the middle. Every ' +
      'other fault is magnified: coma looks several times worse 80 µm off.',
    cure: [
      'Refocus with a star of middle brightness, always arriving from the same side against backlash, and again when it gets colder.',
      'Focus at a third of the way from the middle to the corner where the field is curved.',
      'The focus that moved between subs tells more than one perfect focus: leave such subs in.',
    ],
    confusedWith: [
      {
        other: 'bad seeing',
        settledBy: 'two subs at different focus, or a through-focus series: seeing has no better focus.',
      },
      {
        other: 'curvature or tilt',
        settledBy: 'those leave some zone sharp; defocus in the middle leaves none where the field is flat.',
      },
      { other: 'dew or frost on the flat', settledBy: 'look: haloes around bright stars, and the sky gets brighter.' },
    ],
  },
};
