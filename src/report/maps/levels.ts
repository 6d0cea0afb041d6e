/** Contours at most, and how many errors they stand apart at least: a closer line would follow noise. */
const MOST_LEVELS = 6;
const ERRORS_APART = 2.5;

export interface Levels {
  readonly step: number;
  readonly values: readonly number[];
  readonly decimals: number;
}

/** Round contour values between `low` and `high`, steps of 1, 2 or 5 times a power of ten. */
export function roundLevels(low: number, high: number, error: number): Levels {
  const least = Math.max((high - low) / MOST_LEVELS, ERRORS_APART * error, 1e-9);
  const power = 10 ** Math.floor(Math.log10(least));
  const factor = [1, 2, 5, 10].find((each) => each * power >= least * (1 - 1e-9)) ?? 10;
  const step = factor * power;
  const first = Math.ceil(low / step + 1e-9);
  const values: number[] = [];
  for (let i = first; i * step < high; i++) values.push(i * step);
  return { step, values, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}
