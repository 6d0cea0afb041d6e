/** Coarse pitches of metric threads, mm (ISO 261:1998, table 2, first choice; from memory). */
const COARSE_PITCH_MM: Readonly<Record<string, number>> = {
  'M1.6': 0.35,
  M2: 0.4,
  'M2.5': 0.45,
  M3: 0.5,
  M4: 0.7,
  M5: 0.8,
  M6: 1,
  M8: 1.25,
  M10: 1.5,
  M12: 1.75,
  M16: 2,
};

const METRIC = /^M(\d+(?:\.\d+)?)(?:\s*[x×]\s*(\d+(?:\.\d+)?))?$/i;
const INCH = /^(?:#?\d+(?:\/\d+)?)\s*-\s*(\d+)$/;

/** Advance a turn, mm: of 'M6' (coarse), 'M6x0.75' or '1/4-20' (threads an inch); null where it is none of these. */
export function pitchOf(thread: string): number | null {
  const text = thread.trim();
  const metric = METRIC.exec(text);
  if (metric !== null) {
    const pitch = metric[2] === undefined ? COARSE_PITCH_MM[`M${Number(metric[1])}`] : Number(metric[2]);
    return pitch === undefined || !(pitch > 0 && pitch <= 3) ? null : pitch;
  }
  const perInch = Number(INCH.exec(text)?.[1] ?? 0);
  return perInch >= 8 && perInch <= 80 ? 25.4 / perInch : null;
}
