/** Numbers as people read them: an error rounded to what it can carry, the value to the same place. */

/** Decimals that show an error with one significant figure, two where it begins with a 1. */
export function decimalsFor(error: number): number {
  if (!(error > 0)) return 2;
  const exponent = Math.floor(Math.log10(error));
  const leading = Math.round(error / 10 ** exponent);
  return Math.max(0, Math.min(6, leading === 1 ? 1 - exponent : -exponent));
}

/** Fixed decimals with a true minus sign, never '-0.0'. */
export function fixed(value: number, decimals: number): string {
  const text = value.toFixed(decimals);
  return text.replace('-', Number(text) === 0 ? '' : '−');
}

/** '84 ± 9', '2.95 ± 0.02'. */
export function plusMinus(measured: { readonly value: number; readonly error: number }): string {
  const decimals = decimalsFor(measured.error);
  return `${fixed(measured.value, decimals)} ± ${fixed(measured.error, decimals)}`;
}

/** '2.9 +0.8 −0.6'. */
export function plusAndMinus(value: number, plus: number, minus: number): string {
  const decimals = decimalsFor(Math.min(plus, minus));
  return `${fixed(value, decimals)} +${fixed(plus, decimals)} −${fixed(minus, decimals)}`;
}

/** Three significant figures or whole numbers: '12', '3.4', '0.05'. */
export function significant(value: number): string {
  const size = Math.abs(value);
  if (size >= 10) return fixed(value, 0);
  return fixed(value, size >= 1 ? 1 : 2);
}
