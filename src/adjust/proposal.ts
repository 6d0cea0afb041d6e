import type { NextTurn } from '../live/liveState.ts';
import { turnWords } from '../live/turnWords.ts';
import { nextMoves, type Plan } from './nextMoves.ts';
import type { Replayed, Response } from './replay.ts';
import type { Sight } from './sight.ts';

/** From this chance on something is said to have gone otherwise. */
const SURE = 0.85;
/** A change below this share of the expected one is none. */
const HARDLY = 0.35;

/** What to turn next, in sentences without directions of the screen. `tolerance`: the rig's own, arcminutes, or null. */
export function proposalOf(known: Replayed, names: readonly string[], tolerance: number | null): NextTurn {
  const { sight, response } = known;
  const warning = response === null ? null : warningOf(response);
  const nothing = { moves: [], expected: null, warning };
  if (sight === null)
    return {
      ...nothing,
      status: 'cannot-tell',
      headline: 'Take a sub first.',
      because: 'Nothing was measured yet since the last turn.',
    };
  const allowed = tolerance ?? sight.toleranceArcmin;
  const trouble = troubleWith(sight, allowed);
  if (trouble !== null || sight.tilt === null || allowed === null)
    return { ...nothing, status: 'cannot-tell', headline: 'Turn nothing on this measurement.', because: trouble ?? '' };
  const length = Math.hypot(sight.tilt.x, sight.tilt.y);
  if (isWithin(sight, length, tolerance))
    return {
      ...nothing,
      status: 'done',
      headline: 'Leave the screws alone.',
      because: `What is left, ${length.toFixed(1)}′, is inside the tolerance of ${allowed.toFixed(1)}′.`,
    };
  const plan = nextMoves(known.belief, known.senses, allowed);
  if (plan.kind === 'leave')
    return {
      ...nothing,
      status: 'done',
      headline: 'Leave the screws alone.',
      because: `What is left, ${length.toFixed(1)}′, is no more than hand and locking can do.`,
    };
  const moves = plan.moves.map(({ screw, turns }) => ({ screw: names[screw] ?? '', turns }));
  return {
    status: plan.kind,
    moves,
    headline: `Turn ${moves.map((move) => turnWords(move)).join(', then ')}.`,
    expected: plan.kind === 'learn' ? null : { tiltArcmin: plan.tiltArcmin, errorArcmin: plan.errorArcmin },
    warning,
    because: becauseOf(plan, response),
  };
}

function troubleWith(sight: Sight, allowed: number | null): string | null {
  if (sight.tilt === null || allowed === null)
    return sight.pxPerArcmin === null
      ? 'Focal length, aperture and pixel size are needed (--focal, --aperture, --pixel).'
      : needed(sight, 'The coma could not be measured.');
  if (sight.verdict === 'inconclusive' || sight.status === 'not-measurable')
    return needed(sight, 'The coma cannot be told surely enough from these subs.');
  return null;
}

const needed = ({ needs }: Sight, otherwise: string): string => (needs === null ? otherwise : `Needed: ${needs}.`);

/** By the report, or by the rig's own tolerance where there is one. */
function isWithin(sight: Sight, length: number, tolerance: number | null): boolean {
  if (tolerance === null) return sight.status !== 'fault';
  return length <= tolerance || sight.status === 'not-detected';
}

function becauseOf(plan: Plan, response: Response | null): string {
  const first =
    plan.kind === 'learn'
      ? `What ${plan.moves.length > 1 ? 'these screws do' : 'this screw does'} is not known yet: the next sub will tell.`
      : 'By what the turns so far did.';
  return response === null ? first : `${first} ${travelWords(response)}`.trim();
}

function travelWords({ travel, turned }: Response): string {
  if (turned.length === 0) return '';
  if ('why' in travel) return `The stars’ travel could not be used: ${travel.why}.`;
  const way = `${travel.px.toFixed(0)} px`;
  if (travel.chance < SURE) return `The stars’ travel of ${way} is not clear enough to be used.`;
  switch (travel.means) {
    case 'primary':
      return `The stars travelled ${way}, as a tilt of the primary carries them.`;
    case 'flat':
      return `The stars travelled ${way}, half as far as the primary would have carried them.`;
    default:
      return `The mount moved the stars meanwhile (${way}), so their travel tells nothing.`;
  }
}

/** What went otherwise than noted, and what it may have been. */
function warningOf(response: Response): string | null {
  const { expected, observed, disturbed, travel, turned } = response;
  if (disturbed < SURE || observed === null) return null;
  if ('means' in travel && travel.means === 'flat' && travel.chance >= SURE)
    return 'The flat seems to have moved, not the primary: the stars travelled half as far as its turns would have carried them.';
  if (turned.length === 0)
    return 'The primary moved although no turn was noted: a knock, a slipping lock, or a turn that was not noted?';
  const should = Math.hypot(expected.mean.x, expected.mean.y);
  const did = Math.hypot(observed.x, observed.y);
  const along = (observed.x * expected.mean.x + observed.y * expected.mean.y) / Math.max(1e-9, should * did);
  const start = 'The primary did not move as expected';
  if (did < HARDLY * should)
    return `${start}: hardly at all. A loose screw, a lock screw still tight, or another screw than noted?`;
  if (should > expected.sd && along < -0.7)
    return `${start}: it went the other way. Was the turn noted with the wrong sign? (starplumb nudge --undo)`;
  return `${start}: a loose screw, the wrong sign or screw noted, or the flat was touched.`;
}
