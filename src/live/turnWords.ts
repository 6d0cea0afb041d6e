import type { Turn } from './liveState.ts';

/** 'screw A 1/8 turn clockwise'. */
export function turnWords({ screw, turns }: Turn): string {
  const size = Math.abs(turns);
  const denominator = [1, 2, 4, 8, 16, 32].find((d) => Math.abs(size * d - Math.round(size * d)) < 1e-9);
  const amount =
    denominator === undefined
      ? size.toFixed(3)
      : denominator === 1
        ? size.toFixed(0)
        : `${Math.round(size * denominator)}/${denominator}`;
  return `screw ${screw} ${amount} turn${size > 1 ? 's' : ''} ${turns > 0 ? 'clockwise' : 'counter-clockwise'}`;
}
