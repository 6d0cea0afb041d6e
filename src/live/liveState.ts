import { CAUTIONS } from '../report/cautions.ts';
import type { Report, StarShift, Verdict } from '../report/record.ts';
import { capital, causeWords, firstFault, sentence, VERDICT_WORDS } from '../report/wording.ts';
import type { SetCause } from './runningSet.ts';
import type { SubRecord } from './subRecord.ts';

/** One screw turned once. `turns` > 0: clockwise, as the hand sees it that turns the screw. */
export interface Turn {
  readonly screw: string;
  readonly turns: number;
  /** ISO 8601, UTC. */
  readonly at: string;
}

/** A running set and what it said when its last sub was measured. Vectors and angles are those of the report: the screen. */
export interface SetRecord {
  readonly id: number;
  readonly since: string;
  readonly cause: SetCause;
  readonly why: string;
  /** Screws turned between the set before and this one. */
  readonly turns: readonly Turn[];
  readonly subs: number;
  /** Subs that the verdict rests on: the newest ones. */
  readonly used: number;
  readonly summary: SetSummary | null;
}

export interface SetSummary {
  readonly at: string;
  readonly verdict: Verdict;
  readonly fwhmPx: number | null;
  readonly elongation: number | null;
  readonly coma3: { readonly x: number; readonly y: number; readonly error: number } | null;
  readonly tiltArcmin: { readonly value: number; readonly minus: number; readonly plus: number } | null;
}

/** What the screws' record says to turn next. */
export interface NextTurn {
  /** learn: the screw's effect is not known yet. */
  readonly status: 'move' | 'done' | 'learn' | 'cannot-tell';
  /** Smallest next moves, in order; none when done. */
  readonly moves: readonly { readonly screw: string; readonly turns: number }[];
  readonly headline: string;
  readonly expected: { readonly tiltArcmin: number; readonly errorArcmin: number } | null;
  readonly warning: string | null;
  readonly because: string;
}

/** How the person's own screen shows the frame, against the report: mirrored left-right first, then turned. */
export interface OwnScreen {
  readonly mirrored: boolean;
  /** Degrees counter-clockwise. */
  readonly turnedDeg: 0 | 90 | 180 | 270;
}

export const PLAIN_SCREEN: OwnScreen = { mirrored: false, turnedDeg: 0 };

/** Everything the page shows; one is sent whole at every change, so that a page that comes back needs nothing else. */
export interface LiveState {
  readonly format: 'starplumb-live';
  readonly version: 1;
  /** Rises with every change. */
  readonly id: number;
  /** Clock of the machine that measures, ISO 8601: the page tells ages against it. */
  readonly now: string;
  readonly folder: string;
  readonly verdict: Verdict | 'waiting';
  readonly headline: string;
  readonly details: readonly string[];
  readonly needs: string | null;
  readonly shift: StarShift | null;
  /** What to do where there is no star to move, without directions of the screen. */
  readonly advice: string;
  readonly nextTurn: NextTurn | null;
  readonly screws: readonly string[];
  readonly frame: { readonly width: number; readonly height: number } | null;
  /** Changes whenever the picture does; 0: none yet. */
  readonly picture: number;
  readonly set: SetRecord | null;
  /** The sets before, oldest first, the newest at the end; the trend of the night. */
  readonly sets: readonly SetRecord[];
  /** The last ten subs, oldest first. */
  readonly strip: readonly StripSub[];
  readonly measuredSubs: number;
  readonly last: { readonly at: string; readonly exposureS: number | null; readonly gapS: number | null } | null;
  /** Subs that wait to be measured, and the file that is being written. */
  readonly waiting: number;
  readonly arriving: { readonly file: string; readonly share: number | null } | null;
  readonly problems: readonly string[];
  readonly trend: readonly TrendPoint[];
  readonly cautions: readonly string[];
  readonly screen: OwnScreen;
}

export interface StripSub {
  readonly file: string;
  readonly at: string;
  readonly set: number;
  readonly fwhmPx: number | null;
  readonly elongation: number | null;
  readonly stars: number;
  readonly exposureS: number | null;
  readonly problem: string | null;
}

/** One earlier check of this telescope. */
export interface TrendPoint {
  readonly at: string;
  readonly tiltArcmin: number;
  readonly errorArcmin: number;
  /** A screw was turned or something else was done just before. */
  readonly adjusted: boolean;
}

const STRIP_SUBS = 10;
const SHOWN_SETS = 24;
const SHOWN_PROBLEMS = 4;
const SHOWN_TREND = 120;

/** What the watch knows when a state is composed. */
export interface Watched {
  readonly id: number;
  readonly now: Date;
  readonly folder: string;
  readonly report: Report | null;
  readonly sets: readonly SetRecord[];
  readonly subs: readonly SubRecord[];
  readonly nextTurn: NextTurn | null;
  readonly screws: readonly string[];
  readonly picture: number;
  readonly waiting: number;
  readonly arriving: LiveState['arriving'];
  readonly problems: readonly string[];
  readonly trend: readonly TrendPoint[];
  readonly screen: OwnScreen;
}

export function composeState(watched: Watched): LiveState {
  const { report, subs, sets } = watched;
  const last = subs.at(-1) ?? null;
  const first = report?.frames.find((frame) => frame.used);
  const fault = report === null ? null : firstFault(report);
  return {
    format: 'starplumb-live',
    version: 1,
    id: watched.id,
    now: watched.now.toISOString(),
    folder: watched.folder,
    verdict: report?.verdict ?? 'waiting',
    ...answerOf(report),
    needs: report?.needs ?? null,
    shift: fault?.starShiftPx ?? null,
    nextTurn: watched.nextTurn,
    screws: watched.screws,
    frame: first && first.width !== null && first.height !== null ? { width: first.width, height: first.height } : null,
    picture: watched.picture,
    set: sets.at(-1) ?? null,
    sets: sets.slice(-SHOWN_SETS),
    strip: subs.slice(-STRIP_SUBS).map(stripSub),
    measuredSubs: subs.length,
    last: last && { at: last.measuredAt, exposureS: last.facts.exposureS, gapS: typicalGapS(subs) },
    waiting: watched.waiting,
    arriving: watched.arriving,
    problems: watched.problems.slice(-SHOWN_PROBLEMS),
    trend: watched.trend.slice(-SHOWN_TREND),
    cautions: CAUTIONS,
    screen: watched.screen,
  };
}

/**
 * The answer without a direction in words: those depend on how the person's own screen stands, and only the page knows. The
 * report's own sentences name directions, so none of those that do is passed on.
 */
function answerOf(report: Report | null): Pick<LiveState, 'headline' | 'details' | 'advice'> {
  if (report === null) return { headline: 'Waiting for the first sub.', details: [], advice: '' };
  const fault = firstFault(report);
  const faults = report.findings.filter((finding) => finding.status === 'fault');
  const named = faults.map((finding) => causeWords(finding.cause, report));
  const tilt = tiltOf(report);
  const headline =
    report.verdict === 'good'
      ? 'Within tolerance. Stop turning.'
      : report.verdict === 'inconclusive'
        ? sentence(report.headline.replace(/^cannot tell( yet)?\s*:\s*/i, ''))
        : fault?.cause === 'miscollimation'
          ? tilt === null
            ? 'The primary is off.'
            : `The primary is off by ${tilt}.`
          : `${capital(causeWords(fault?.cause ?? '', report))}.`;
  const others = named.slice(1);
  const open = report.findings.filter((finding) => finding.status === 'not-measurable');
  return {
    headline,
    details: [
      ...(report.verdict === 'good' && tilt !== null ? [`Primary within ${tilt}.`] : []),
      ...(others.length > 0 ? [`Also: ${others.join(', ')}.`] : []),
      ...(report.verdict !== 'adjust' && named.length > 0 ? [`Beyond its tolerance: ${named.join(', ')}.`] : []),
      ...(report.verdict !== 'inconclusive' && open.length > 0
        ? [`Cannot be told from these subs: ${open.map((finding) => causeWords(finding.cause, report)).join(', ')}.`]
        : []),
    ],
    advice:
      fault === null ? '' : (ADVICE[fault.cause] ?? 'The report of `starplumb check` on these subs tells what to do.'),
  };
}

/** What to do first, by cause, where no star can be moved. Long forms stand in the report. */
const ADVICE: Readonly<Record<string, string>> = {
  miscollimation: 'Tell focal length, aperture and pixel size (--focal, --aperture, --pixel) to get a star to move.',
  'sensor-tilt': 'Check that the camera sits square in the drawtube before touching any screw of the mirror.',
  'corrector-spacing': 'Leave the mirror alone: check the distance from corrector to sensor.',
  'pinched-optics':
    'Loosen the clips of the primary until a sheet of paper slides under them; turn no collimation screw.',
  astigmatism: 'Turn nothing yet: take a sub on each side of focus, and look for a strained flat or primary.',
  tracking: 'This is the mount, not the mirror: check guiding, balance and wind.',
  dispersion: 'This is the air: point higher, or use a narrower filter.',
  defocus: 'Refocus, then take new subs.',
};

/** '4.4′ (3.2′ to 5.0′)', or null where the optics are not known or a smear hides the coma. */
export function tiltOf(report: Report): string | null {
  const tilt = report.field.coma.mirrorTilt;
  if (tilt === null) return null;
  const low = Math.max(0, tilt.arcmin - tilt.minus);
  return `${tilt.arcmin.toFixed(1)}′ (${low.toFixed(1)}′ to ${(tilt.arcmin + tilt.plus).toFixed(1)}′)`;
}

export function summaryOf(report: Report): SetSummary {
  const used = report.frames.filter((frame) => frame.used);
  const last = used.at(-1);
  const tilt = report.field.coma.mirrorTilt;
  return {
    at: report.created,
    verdict: report.verdict,
    fwhmPx: last?.fwhmPx ?? null,
    elongation: last?.elongation ?? null,
    coma3: report.field.coma.uniform3,
    tiltArcmin: tilt === null ? null : { value: tilt.arcmin, minus: tilt.minus, plus: tilt.plus },
  };
}

/** One line a sub for the terminal. */
export function subLine(sub: SubRecord, report: Report | null): string {
  const parts = [sub.measuredAt.slice(11, 19), sub.file];
  if (sub.problem !== null) return [...parts, sub.problem].join('  ');
  if (sub.fwhmPx !== null) parts.push(`FWHM ${sub.fwhmPx.toFixed(2)} px`);
  if (sub.elongation !== null) parts.push(`elongation ${sub.elongation.toFixed(2)}`);
  parts.push(`${sub.starsFitted} stars`);
  const tilt = report === null ? null : tiltOf(report);
  if (report !== null)
    parts.push(`set ${sub.set}: ${VERDICT_WORDS[report.verdict]}${tilt === null ? '' : `, primary ${tilt}`}`);
  return parts.join('  ');
}

function stripSub(sub: SubRecord): StripSub {
  return {
    file: sub.file,
    at: sub.measuredAt,
    set: sub.set,
    fwhmPx: sub.fwhmPx,
    elongation: sub.elongation,
    stars: sub.starsFitted,
    exposureS: sub.facts.exposureS,
    problem: sub.problem,
  };
}

/** Median seconds from sub to sub over the strip; null below three subs. */
function typicalGapS(subs: readonly SubRecord[]): number | null {
  const times = subs.slice(-STRIP_SUBS).map((sub) => Date.parse(sub.measuredAt));
  if (times.length < 3) return null;
  const gaps = times.slice(1).map((time, i) => (time - times[i]) / 1000);
  return gaps.sort((a, b) => a - b)[Math.floor(gaps.length / 2)] ?? null;
}
