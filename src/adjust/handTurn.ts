/** Parts of a turn that a hand can set: by sixteenths, and by the hours of a clock face; in between it cannot. */
export const HAND_TURNS: readonly number[] = [
  1 / 24,
  1 / 16,
  1 / 12,
  1 / 8,
  1 / 6,
  3 / 16,
  1 / 4,
  5 / 16,
  3 / 8,
  1 / 2,
  5 / 8,
  3 / 4,
  1,
];
