import type { Turn } from './liveState.ts';

/** '1/8 turn', '1 1/4 turns'. */
export function amountWords(turns: number): string {
  const size = Math.abs(turns);
  const denominator = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48].find(
    (d) => Math.abs(size * d - Math.round(size * d)) < 1e-6,
  );
  const many = size > 1 ? 'turns' : 'turn';
  if (denominator === undefined) return `${size.toFixed(3)} ${many}`;
  const parts = Math.round(size * denominator);
  const whole = Math.floor(parts / denominator);
  const rest = parts % denominator;
  const words = [...(whole > 0 ? [String(whole)] : []), ...(rest > 0 ? [`${rest}/${denominator}`] : [])];
  return `${words.join(' ')} ${many}`;
}

/** 'screw A 1/8 turn clockwise'. */
export function turnWords({ screw, turns }: Pick<Turn, 'screw' | 'turns'>): string {
  return `screw ${screw} ${amountWords(turns)} ${turns > 0 ? 'clockwise' : 'counter-clockwise'}`;
}
