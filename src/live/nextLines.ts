import type { NextTurn } from './liveState.ts';

/** ' Then 0.9′ ± 0.4′ should be left.', or nothing where that is not known. */
export function afterWords({ expected }: Pick<NextTurn, 'expected'>): string {
  if (expected === null) return '';
  return ` Then ${expected.tiltArcmin.toFixed(1)}′ ± ${expected.errorArcmin.toFixed(1)}′ should be left.`;
}

/** What to turn next, for a terminal: a warning first. */
export function nextLines(next: NextTurn): string[] {
  return [...(next.warning === null ? [] : [`Careful: ${next.warning}`]), `${next.headline}${afterWords(next)}`];
}
