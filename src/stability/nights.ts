const HOUR = 3_600_000;
/** A pause this long, or a night this long, begins a new night. */
const PAUSE_HOURS = 6;
const LONGEST_HOURS = 18;

/** Number of the night of each check, from 0; times ascending, milliseconds. */
export function nightsOf(times: ArrayLike<number>): Int32Array {
  const nights = new Int32Array(times.length);
  let start = times[0] ?? 0;
  for (let i = 1; i < times.length; i++) {
    const fresh = times[i] - times[i - 1] > PAUSE_HOURS * HOUR || times[i] - start > LONGEST_HOURS * HOUR;
    if (fresh) start = times[i];
    nights[i] = nights[i - 1] + (fresh ? 1 : 0);
  }
  return nights;
}
