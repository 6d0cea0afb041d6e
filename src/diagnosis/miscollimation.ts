import { type FrameStars, vectorLength, vectorSignificance } from '../field/frameStars.ts';
import type { Amounts } from './amounts.ts';
import { directionIsOpen, turned } from './comaBesideSmear.ts';
import { DETECT_SIGMAS, directionError, FAULT_SIGMAS, type Finding, shareOf, statusOf, unlessOpen } from './finding.ts';
import { APART_UM, hiddenUm } from './refined.ts';
import type { Setup } from './setup.ts';
import { liesAlong } from './skew.ts';
import { pxPerArcmin, starShift } from './starShift.ts';
import { COMA_TOLERANCE_UM, tiltForComa } from './tolerances.ts';
import { directionWords, plain, type ScreenY } from './words.ts';

/** Tilt of this telescope's primary that makes a W131 of that many um. */
export const mirrorTiltArcmin = (comaUm: number, { optics }: Amounts): number =>
  tiltForComa(comaUm, optics.apertureMm, optics.primaryFocalLengthMm);

/** Coma put up with, um of W131: what the rig's owner wishes where the optics are known, else the trade tolerance. */
export function comaTolerance(amounts: Amounts, { wishes }: Setup): { readonly um: number; readonly wished: boolean } {
  if (wishes.mirrorTiltArcmin === undefined || !amounts.physical) return { um: COMA_TOLERANCE_UM, wished: false };
  return { um: wishes.mirrorTiltArcmin / mirrorTiltArcmin(1, amounts), wished: true };
}

const MOVE = [
  'How: tracking on, guiding off (a guider would pull the star back), short loops of 1 to 5 s.',
  'Work from behind the closed cell with nothing above the mirror. Release the lock screws, turn one screw at a time by',
  'little: each moves the star along one line, so use two in turn until star A stands on target B. Lock again and look once',
  'more (locking shifts it), re-centre with the mount, refocus, take new subs.',
  'If star A is elsewhere on your screen than in our picture, your screen is flipped or turned: follow the stars, not the words.',
].join(' ');

/** The near end of a fault's interval must still hold this share of the tolerance: one focus leaves the amount open. */
const SURE_SHARE = { quick: 2 / 3, fitted: 0.48 } as const;

/** Seen, and beyond the tolerance, but not told. */
const open = ({ status, significance, share }: Finding): boolean =>
  status === 'not-measurable' && (significance ?? 0) >= FAULT_SIGMAS && share !== null && share.value > 1;

/** Coma is there, and whether it is too much hangs on the focus that one sub cannot tell. */
export const hangsOnFocus = (finding: Finding): boolean =>
  open(finding) && finding.share !== null && finding.share.low <= SURE_SHARE.quick;

/** What subs at two foci leave of the amount's uncertainty, as a share (drawn pairs 40 um apart and more). */
const TWO_FOCUS_SPREAD = 0.15;

/**
 * A smear to one side with more of coma3 than is left of the optics': how much of that is coma cannot be told. Nor can it be in one sub
 * of a coma along the same line, for a trefoil of the optics may have hidden the most of the smear's.
 */
const smearHidesComa = ({ coma, skew, smooth }: Pick<Amounts, 'coma' | 'skew' | 'smooth'>): boolean =>
  skew !== null &&
  (vectorLength(coma) < Math.hypot(skew.coma3.x, skew.coma3.y) ||
    (smooth.perFrame.length < 2 && liesAlong(coma, skew.direction)));

/**
 * Coma beside a stronger skew that only the fit saw: from one focus the two are told apart by the trefoil that comes with a skew, and that
 * is not known so well.
 */
export function fittedSkewOutweighs({ coma, retrieved }: Pick<Amounts, 'coma' | 'retrieved'>): boolean {
  if (retrieved === null || retrieved.skews === null) return false;
  const foci = retrieved.perSub.map(({ focusUm }) => focusUm.value);
  const strongest = Math.max(...retrieved.skews.map(vectorLength));
  return Math.max(...foci) - Math.min(...foci) < APART_UM && vectorLength(coma) < strongest;
}

/** What hides the coma, so that nothing is told of it: a skewed smear, or a jump that it may be, for the two may as well undo each other. */
export const comaHiddenBy = (amounts: Amounts): 'skew' | 'jump' | null =>
  smearHidesComa(amounts) ? 'skew' : amounts.perhapsJump ? 'jump' : null;

export function miscollimation(
  amounts: Amounts,
  frames: readonly FrameStars[],
  setup: Setup,
  screenY: ScreenY,
): Finding {
  const { coma, response, comaUm, optics } = amounts;
  const length = vectorLength(coma);
  const { retrieved } = amounts;
  // The coma of a bare mirror in the middle is what the slope of all stars leaves there, and the slope bends with focus: the fit
  // knows how.
  const seen =
    optics.bare && retrieved !== null
      ? { ...retrieved.coma, error: Math.hypot(retrieved.coma.error, hiddenUm(amounts)) }
      : turned(coma, amounts.comaTurn);
  // Far from focus an offset shadow looks like coma: the whole-field fit allows for it.
  const significance = Math.min(vectorSignificance(seen), retrieved?.comaSignificance ?? Number.POSITIVE_INFINITY);
  const direction = Math.atan2(seen.y, seen.x);
  const turnedOpen = directionIsOpen(amounts);
  const tolerance = comaTolerance(amounts, setup);
  const um = comaUm?.value ?? 0;
  const error = comaUm?.error ?? 0;
  const sure = retrieved === null ? SURE_SHARE.quick : SURE_SHARE.fitted;
  const plainly = response === null ? 'not-measurable' : statusOf(um, error, significance, tolerance.um);
  const hiddenBy = comaHiddenBy(amounts);
  const hidden = hiddenBy !== null;
  const outweighed = plainly === 'fault' && fittedSkewOutweighs(amounts);
  const measured = hidden || outweighed ? 'not-measurable' : plainly;
  const told = significance >= DETECT_SIGMAS && !hidden;
  const status = unlessOpen(measured, comaUm?.low ?? 0, sure * tolerance.um);
  const arcmin = mirrorTiltArcmin(um, amounts);
  const low = mirrorTiltArcmin(comaUm?.low ?? 0, amounts);
  const high = mirrorTiltArcmin(comaUm?.high ?? 0, amounts);
  const shiftPx = (tilt: number): number => tilt * pxPerArcmin(optics.focalLengthMm, optics.pixelUm);
  const reference = frames.find((frame) => frame.shapes.length > 0);
  const shift =
    status === 'fault' && amounts.physical && reference !== undefined && !turnedOpen
      ? starShift(reference, direction, shiftPx(arcmin), shiftPx((high - low) / 2))
      : null;
  const tails = `coma tails point ${directionWords(direction, screenY)}`;
  const size = amounts.physical
    ? `like a primary tilted by ${plain(arcmin)}′ (${plain(low)}′ to ${plain(high)}′)`
    : `|coma3| ${length.toFixed(4)}`;
  const spread = um > 0 && comaUm !== null ? (comaUm.high - comaUm.low) / (2 * um) : 0;
  return {
    cause: 'miscollimation',
    status,
    significance,
    tolerance: toleranceWords(amounts, tolerance),
    share: comaUm === null || hidden ? null : shareOf(tolerance.um, comaUm.value, comaUm.low, comaUm.high),
    widens: response === null || hidden ? null : response.comaBlurPx(um),
    direction: told ? direction : null,
    // Where the fit is less sure of the coma than the stars seem, it is so of the direction as well; its own is known by itself.
    directionError: told
      ? Math.hypot(
          directionError(amounts.comaTurn.fitted ? vectorSignificance(seen) : significance, 1),
          amounts.comaTurn.error,
        )
      : null,
    axis: null,
    axisError: null,
    starShift: shift,
    because:
      hiddenBy === 'skew'
        ? `stars are smeared to one side, and what is left as coma (${length.toFixed(4)}) is less than that or along the same line: the two cannot be told apart`
        : hidden
          ? `what looks like coma (${length.toFixed(4)}) lies along the smear of all stars: a jump during the exposure makes the same, and a strained mirror may hide its triangle`
          : significance < DETECT_SIGMAS
            ? `no uniform coma: |coma3| ${length.toFixed(4)}, error ${coma.error.toFixed(4)}`
            : `${tails}, the same all over the field, ${size}; |coma3| ${length.toFixed(4)} ± ${coma.error.toFixed(4)}${
                turnedOpen
                  ? `; the stars are drawn out, which may turn this by ${((180 / Math.PI) * amounts.comaTurn.error).toFixed(0)} deg`
                  : ''
              }`,
    advice:
      status !== measured || (outweighed && !hidden)
        ? OTHER_FOCUS
        : status === 'fault' && turnedOpen
          ? ROUNDER_STARS
          : adviceFor(status, shift !== null, spread, direction, screenY, setup, hiddenBy),
  };
}

const ROUNDER_STARS =
  'Measure a 10 s sub before you turn anything: these stars are drawn out and tell the direction badly. Its picture shows which star to move, and where to.';

const OTHER_FOCUS =
  'Turn nothing yet: one focus leaves open how much it is. Take a sub 60 to 80 µm to the other side of focus and measure both together.';

function toleranceWords(amounts: Amounts, { um, wished }: ReturnType<typeof comaTolerance>): string {
  if (!amounts.physical)
    return 'primary axis within 0.005 N^3 mm of the centre (trade tolerance; optics unknown, judged as for 200 mm f/4)';
  const arcmin = plain(mirrorTiltArcmin(um, amounts));
  if (!wished) return `primary axis within 0.005 N^3 mm of the centre, here ${arcmin}′ (trade tolerance)`;
  const trade = plain(mirrorTiltArcmin(COMA_TOLERANCE_UM, amounts));
  return `primary tilt within ${arcmin}′, your rig’s own wish (the trade tolerance would be ${trade}′)`;
}

function adviceFor(
  status: Finding['status'],
  hasShift: boolean,
  spread: number,
  direction: number,
  screenY: ScreenY,
  setup: Setup,
  hiddenBy: ReturnType<typeof comaHiddenBy>,
): string {
  if (status === 'fault') {
    const first =
      'First make sure the flat stands right by geometry; then tilt the primary so that every star moves on your screen ' +
      `${directionWords(direction, screenY)}, as from star A to target B.`;
    const half =
      spread > TWO_FOCUS_SPREAD
        ? ` Go half the arrow, take new subs and measure again: one focus gives the direction safely, the amount only to ±${(100 * spread).toFixed(0)} %. A sub on each side of focus (60 to 80 µm) would narrow that to about ±${(100 * TWO_FOCUS_SPREAD).toFixed(0)} %.`
        : ' Go the arrow, take new subs and measure again.';
    const scaleNote = hasShift ? '' : scaleAdvice(setup);
    return `${first}${half}${scaleNote} ${MOVE}`;
  }
  if (status === 'not-measurable') {
    switch (hiddenBy) {
      case 'skew':
        return 'Take more subs, above 60 deg altitude or through a green or narrow filter, with steady tracking, then measure them together.';
      case 'jump':
        return 'Turn nothing yet. Take two subs more, with steady tracking, and measure all three together: no jump comes twice alike.';
      default:
        return 'More subs, or longer ones: do not turn anything on this measurement.';
    }
  }
  return 'Leave the primary alone.';
}

function scaleAdvice(setup: Setup): string {
  const missing = [
    setup.focalLengthMm.value === null ? '--focal MM' : '',
    setup.apertureMm.value === null ? '--aperture MM' : '',
    setup.pixelUm.value === null ? '--pixel UM' : '',
  ].filter((name) => name !== '');
  return missing.length > 0 ? ` For the way in pixels give ${missing.join(' ')}.` : '';
}
