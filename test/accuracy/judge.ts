import { CAUSES, type Cause } from '../../src/diagnosis/finding.ts';
import type { Finding } from '../../src/report/record.ts';
import type { Outcome } from './runCase.ts';

/** What a drawn case is, by its amounts and not by what was meant: between the classes nothing is claimed. */
export type TruthClass = 'good' | 'single' | 'mixture' | 'between';

/** Every amount below this share of its tolerance: nothing is wrong. */
const GOOD_BELOW = 0.8;
/** Beside a single fault everything else is below this share. */
const BESIDE_BELOW = 0.6;

export const CAUSE_NAMES = Object.keys(CAUSES) as Cause[];

/**
 * Causes that count in this case: not a bare mirror's own, nor a deliberate difference of focus, nor a defocus that one
 * focus and a flat field cannot tell from seeing.
 */
export function counted({ drawn, truth }: Outcome): Cause[] {
  return CAUSE_NAMES.filter((cause) => truth.causes[cause].ratio !== null).filter(
    (cause) => cause !== 'defocus' || (!drawn.bracketed && truth.causes.defocus.identifiable),
  );
}

const ratioOf = (outcome: Outcome, cause: Cause): number => outcome.truth.causes[cause].ratio ?? 0;

/** Causes drawn beyond their tolerance, the widest first. */
export function trueFaults(outcome: Outcome): Cause[] {
  return counted(outcome)
    .filter((cause) => ratioOf(outcome, cause) > 1)
    .sort((a, b) => outcome.truth.causes[b].widensPx - outcome.truth.causes[a].widensPx);
}

export function classOf(outcome: Outcome): TruthClass {
  const over = trueFaults(outcome);
  const ratios = counted(outcome).map((cause) => ratioOf(outcome, cause));
  if (over.length === 0) {
    return Math.max(...ratios, outcome.truth.smearRatio) <= GOOD_BELOW ? 'good' : 'between';
  }
  if (over.length > 1) return 'mixture';
  const beside = counted(outcome).filter((cause) => cause !== over[0] && ratioOf(outcome, cause) > BESIDE_BELOW);
  return beside.length === 0 ? 'single' : 'between';
}

/**
 * Faults of the record in its order. Left out: a deliberate defocus, and a real one that one focus need not show (the whole-field
 * fit may find it all the same, and then it is neither asked for nor wrong).
 */
export function foundFaults(outcome: Outcome): Finding[] {
  const { drawn, truth, report } = outcome;
  const { ratio, identifiable } = truth.causes.defocus;
  const unasked = drawn.bracketed || (!identifiable && (ratio ?? 0) > GOOD_BELOW);
  return report.findings.filter((f) => f.status === 'fault' && !(f.cause === 'defocus' && unasked));
}

/** First fault of the record; 'none', or 'cannot tell' where the record says so. */
export function topOf(outcome: Outcome): string {
  const [top] = foundFaults(outcome);
  if (top !== undefined) return top.cause;
  return outcome.report.verdict === 'inconclusive' ? 'cannot tell' : 'none';
}

/** A single fault that must be named: beyond 1.3 tolerances, 0.3 px wide, and not hidden by an exact symmetry. */
export function isClear(outcome: Outcome): boolean {
  if (classOf(outcome) !== 'single') return false;
  const cause = outcome.truth.causes[trueFaults(outcome)[0]];
  return (cause.ratio ?? 0) > 1.3 && cause.widensPx >= 0.3 && cause.identifiable;
}

/** Faults of the record that were not drawn beyond their tolerance. */
export function falseFaults(outcome: Outcome): Finding[] {
  return foundFaults(outcome).filter((f) => (outcome.truth.causes[f.cause as Cause]?.ratio ?? 0) <= 1);
}
