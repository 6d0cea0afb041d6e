import type { Against, Change } from './againstRecord.ts';
import { plusMinus, significant } from './amounts.ts';
import { changesOf, comaOf, turnedBy } from './changes.ts';
import { type Comparability, comparabilityOf } from './comparability.ts';
import type { Report, Vector } from './record.ts';

/** What is compared with: a report that was read, under the name it was given by. */
export interface Earlier {
  readonly file: string;
  readonly report: Report;
  /** Told by the user: what is fixed to the tube turned by so much counter-clockwise on the screen; null: not told. */
  readonly turnedDeg: number | null;
}

/** Amounts must differ by so many sigma before a change is claimed, whatever seeing and focus did in between. */
const CLAIM_SIGMAS = 3;
/** Shapes, where the stars are equally large: their errors are those of the stars alone, so more is asked. */
const SHAPE_SIGMAS = 5;

/** What changed since an earlier report, and whether the adjustment helped. */
export function compareReports(earlier: Earlier, now: Report): Against {
  const { report: before, file } = earlier;
  const comparability = comparabilityOf(before, now, earlier.turnedDeg);
  const changes = changesOf(before, now, comparability);
  const { outcome, words } = collimationChange(before, now, comparability, changes);
  return {
    file,
    created: before.created,
    verdict: before.verdict,
    headline: before.headline,
    comparable: comparability.comparable,
    turnedDeg: comparability.turned?.deg ?? null,
    outcome,
    words,
    caveats: [...comparability.caveats],
    changes,
  };
}

interface Outcome {
  readonly outcome: Against['outcome'];
  readonly words: string;
}

function collimationChange(
  before: Report,
  now: Report,
  comparability: Comparability,
  changes: readonly Change[],
): Outcome {
  if (comparability.comparable === 'nothing')
    return { outcome: 'cannot-tell', words: `Nothing to compare: ${comparability.caveats[0] ?? 'another telescope.'}` };
  const [old, coma] = [comaOf(before), comaOf(now)];
  if (old === null || coma === null) {
    const side = old === null && coma === null ? 'either report' : old === null ? 'the earlier report' : 'these subs';
    return {
      outcome: 'cannot-tell',
      words: `Cannot tell whether it helped: the coma could not be measured in ${side}.`,
    };
  }
  const shape = changes.find(({ quantity }) => quantity === 'coma');
  const tilt = changes.find(({ quantity }) => quantity === 'primary-tilt');
  const main = tilt ?? shape;
  if (main === undefined)
    return {
      outcome: 'cannot-tell',
      words:
        'Cannot tell whether it helped: seeing or focus differ, and the telescope is not told (--focal, --aperture, --pixel).',
    };
  const sure = tilt === undefined || Math.abs(signed(tilt.change)) < CLAIM_SIGMAS ? 0 : Math.sign(tilt.change.value);
  const apart = intervalsApart(before, now);
  const seen = shape === undefined || Math.abs(signed(shape.change)) < SHAPE_SIGMAS ? 0 : Math.sign(shape.change.value);
  const way = [sure, seen, apart].find((sign) => sign !== 0) ?? 0;
  if (way === 0) {
    const moved = shape?.vector != null && shape.significance >= SHAPE_SIGMAS;
    return unchanged(before, now, main, moved, comparability);
  }
  const result = way < 0 ? 'helped' : 'got worse';
  const certain = sure === way || (seen === way && apart === way);
  const start = certain
    ? `It ${result}`
    : seen === way
      ? `It ${result}, if seeing and focus were alike as the star sizes say`
      : `It most likely ${result}`;
  return {
    outcome: way < 0 ? 'better' : 'worse',
    words: `${start}: ${amountsWords(main, shape)}. ${leftWords(now, old, coma, comparability.turned)}`,
  };
}

/** -1 where all that one focus leaves open lies lower now than it did, 1 where higher, 0 where the two overlap. */
function intervalsApart(before: Report, now: Report): -1 | 0 | 1 {
  const [old, tilt] = [before.field.coma.mirrorTilt, now.field.coma.mirrorTilt];
  if (old === null || tilt === null) return 0;
  if (tilt.arcmin + tilt.plus < old.arcmin - old.minus) return -1;
  return tilt.arcmin - tilt.minus > old.arcmin + old.plus ? 1 : 0;
}

const signed = ({ value, error }: Change['change']): number => (error > 0 ? value / error : 0);

/** 'the coma of the stars fell by 62 % (47 sigma), from 4.4 ± 0.9 to 1.9 ± 0.4 arcminutes of primary tilt'. */
function amountsWords(main: Change, shape: Change | undefined): string {
  const range = `from ${plusMinus(main.before)} to ${plusMinus(main.after)}`;
  const unit = main === shape ? '(coma3)' : 'arcminutes of primary tilt';
  if (shape === undefined || !(shape.before.value > 0))
    return `the coma went ${range} ${unit} (change ${plusMinus(main.change)})`;
  const ratio = shape.after.value / shape.before.value;
  const way = ratio < 1 ? `fell by ${(100 * (1 - ratio)).toFixed(0)} %` : `grew to ${significant(ratio)} times`;
  return `the coma of the stars ${way} (${significant(Math.abs(signed(shape.change)))} sigma), ${range} ${unit}`;
}

function unchanged(before: Report, now: Report, main: Change, moved: boolean, { alike }: Comparability): Outcome {
  const amounts = amountsWords(main, undefined);
  if (isQuiet(before) && isQuiet(now))
    return { outcome: 'unchanged', words: `Within tolerance then and now: ${amounts}. Stop turning.` };
  if (moved)
    return {
      outcome: 'unchanged',
      words: `The coma points elsewhere now but is as large as before: ${amounts}. ${needWords(now)}`,
    };
  // A change as large as the tolerance must be visible before 'no change' is said.
  const open = main.change.error > 0.5 * main.before.value && main.before.value > 0;
  return alike && !open
    ? { outcome: 'unchanged', words: `No change to be seen: ${amounts}. ${needWords(now)}` }
    : { outcome: 'cannot-tell', words: `Cannot tell whether it helped: ${amounts}.` };
}

const comaStatus = (report: Report): string | undefined =>
  report.findings.find(({ cause }) => cause === 'miscollimation')?.status;

const isQuiet = (report: Report): boolean => comaStatus(report) !== 'fault';

/** What is left, and whether it was moved past the middle or sideways. */
function leftWords(now: Report, old: Vector, coma: Vector, turned: Comparability['turned']): string {
  if (isQuiet(now) || turned === null || Math.hypot(coma.x, coma.y) < CLAIM_SIGMAS * coma.error) return needWords(now);
  const was = turnedBy(old, 1, turned);
  if (Math.hypot(was.x, was.y) < CLAIM_SIGMAS * was.error) return needWords(now);
  const along = coma.x * was.x + coma.y * was.y;
  const across = coma.y * was.x - coma.x * was.y;
  const angle = (Math.atan2(across, along) * 180) / Math.PI;
  if (Math.abs(angle) > 135) return `The tails point the other way now: it went too far. ${needWords(now)}`;
  if (Math.abs(angle) > 45) return `What is left points elsewhere: the move went sideways. ${needWords(now)}`;
  return needWords(now);
}

function needWords(now: Report): string {
  return comaStatus(now) === 'fault'
    ? 'It is still beyond its tolerance: go on as said under the next move.'
    : 'It is within its tolerance: stop turning.';
}
