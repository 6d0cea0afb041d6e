import type { Finding, FindingStatus, Report, Verdict } from './record.ts';

/** The words of every report form (text, page, picture): one place, so that they say the same. */

export const VERDICT_WORDS: Record<Verdict, string> = {
  good: 'In tolerance',
  adjust: 'Adjust',
  inconclusive: 'Cannot tell yet',
};

export const STATUS_WORDS: Record<FindingStatus, string> = {
  fault: 'fault',
  'within-tolerance': 'within tolerance',
  'not-detected': 'not seen',
  'not-measurable': 'cannot be measured',
};

const CAUSE_WORDS: Readonly<Record<string, string>> = {
  miscollimation: 'collimation',
  'sensor-tilt': 'sensor tilt',
  'corrector-spacing': 'corrector spacing',
  'pinched-optics': 'pinched optics',
  astigmatism: 'astigmatism',
  tracking: 'tracking',
  dispersion: 'atmospheric dispersion',
  defocus: 'focus',
};

/** In a bare Newtonian the flat or a decentred primary tilts the focal plane as well as the camera does. */
export function causeWords(cause: string, report: Report): string {
  if (cause === 'sensor-tilt' && report.scale.corrector.present === false) return 'focal-plane tilt';
  return CAUSE_WORDS[cause] ?? cause.replaceAll('-', ' ');
}

const EIGHTHS = ['right', 'upper right', 'top', 'upper left', 'left', 'lower left', 'bottom', 'lower right'] as const;

/** 'lower left' for 215 degrees counter-clockwise from right. */
export function directionWords(deg: number): string {
  return EIGHTHS[((Math.round(deg / 45) % 8) + 8) % 8] ?? 'right';
}

/** 'lower left to upper right' for an axis. */
export function axisWords(deg: number): string {
  const from = directionWords(deg + 180);
  const to = directionWords(deg);
  return from === 'left' || from === 'bottom' || from === 'lower left' || from === 'upper left'
    ? `${from} to ${to}`
    : `${to} to ${from}`;
}

/** Sensor tilt waits for everything that bends the wavefront; what is not the telescope's comes last. */
const WORK_ORDER: Readonly<Record<string, number>> = { 'sensor-tilt': 1, tracking: 2, dispersion: 2, defocus: 2 };

/** The fault to put right first, or null where nothing is a fault. */
export function firstFault(report: Report): Finding | null {
  const rank = (finding: Finding): number => WORK_ORDER[finding.cause] ?? 0;
  const faults = report.findings.filter((finding) => finding.status === 'fault');
  return faults.toSorted((a, b) => rank(a) - rank(b))[0] ?? null;
}

/** 'Move star A 354 px towards the lower left (215°), to B.'; a long way is made of several such steps. */
export function starShiftWords(shift: NonNullable<Finding['starShiftPx']>): string {
  const way = `${directionWords(shift.directionDeg)} (${shift.directionDeg.toFixed(0)}°)`;
  const steps = shift.steps > 1 ? `: the first of ${shift.steps} such steps` : '';
  return `Move star A ${(shift.length / shift.steps).toFixed(0)} px towards the ${way}, to B${steps}.`;
}

/** What to do now, in one or two sentences. */
export function nextMove(report: Report): string {
  const fault = firstFault(report);
  if (fault?.starShiftPx) return starShiftWords(fault.starShiftPx);
  if (fault) return NEXT_WORDS[fault.cause] ?? firstSentence(fault.advice);
  if (report.needs !== null) return `Needed: ${report.needs.replace(/\.$/, '')}.`;
  return 'Nothing to adjust.';
}

/** Where the first thing to do is not what the advice begins with. */
const NEXT_WORDS: Readonly<Record<string, string>> = {
  'sensor-tilt': 'Refocus by 40 µm and take another sub: the side that sharpens tells which way the sensor leans.',
};

function firstSentence(text: string): string {
  return /^.*?[.!?](?=\s|$)/s.exec(text)?.[0] ?? text;
}

/** The headline without the verdict's own words, which stand before it. */
export function bareHeadline(report: Report): string {
  const rest = report.headline.replace(/^(adjust|in tolerance|cannot tell( yet)?)\s*:\s*/i, '');
  return rest === '' ? report.headline : capital(rest);
}

export const capital = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);

/** A capital at the beginning and a full stop at the end. */
export function sentence(text: string): string {
  const whole = text.trim();
  return /[.!?]$/.test(whole) || whole === '' ? capital(whole) : `${capital(whole)}.`;
}

export const starsWords = (count: number): string =>
  count === 0 ? 'no stars' : count === 1 ? '1 star' : `${count} stars`;

/** Median star size and elongation over the frames that were used; null where none was measured. */
export function typicalStar(report: Report): { fwhmPx: number | null; elongation: number | null } {
  const used = report.frames.filter((frame) => frame.used);
  return {
    fwhmPx: middle(used.flatMap((frame) => frame.fwhmPx ?? [])),
    elongation: middle(used.flatMap((frame) => frame.elongation ?? [])),
  };
}

function middle(values: readonly number[]): number | null {
  const sorted = values.toSorted((a, b) => a - b);
  const half = sorted.length / 2;
  if (sorted.length === 0) return null;
  return (sorted[Math.ceil(half) - 1] + sorted[Math.floor(half)]) / 2;
}
