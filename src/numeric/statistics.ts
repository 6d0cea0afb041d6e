/** Median absolute deviation of a Gaussian to its sigma: 1 / (sqrt(2) erfinv(1/2)). */
export const MAD_TO_SIGMA = 1.482602218505602;

/**
 * The k-th smallest value (0-based); reorders `values` in place.
 * Quickselect after Hoare (1961, Algorithm 65: Find), median of three as pivot.
 */
export function selectInPlace(
  values: Float64Array | Float32Array | number[],
  k: number,
  length = values.length,
): number {
  let left = 0;
  let right = length - 1;
  while (right > left) {
    const middle = (left + right) >> 1;
    const a = values[left];
    const b = values[middle];
    const c = values[right];
    const pivot = a < b ? (b < c ? b : a < c ? c : a) : a < c ? a : b < c ? c : b;
    let i = left;
    let j = right;
    while (i <= j) {
      while (values[i] < pivot) i++;
      while (values[j] > pivot) j--;
      if (i <= j) {
        const swap = values[i];
        values[i] = values[j];
        values[j] = swap;
        i++;
        j--;
      }
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else return values[k];
  }
  return values[k];
}

/** Median; the mean of the two middle values for an even count. RangeError when empty. */
export function median(values: ArrayLike<number>): number {
  const n = values.length;
  if (n === 0) throw new RangeError('median of no values');
  const copy = new Float64Array(values);
  const upper = selectInPlace(copy, n >> 1);
  if (n % 2 === 1) return upper;
  let lower = -Infinity;
  for (let i = 0; i < n >> 1; i++) lower = Math.max(lower, copy[i]);
  return (lower + upper) / 2;
}

/** As many are put in order by sorting. */
const FEW = 32;

/** The value with half of the weight on either side, each value's own weight parted there; equal weights give the median. */
export function weightedMedian(values: readonly number[], weights: readonly number[]): number {
  const n = values.length;
  if (n === 0) throw new RangeError('median of no values');
  let half = 0;
  for (let i = 0; i < n; i++) half += weights[i];
  half /= 2;
  const order = new Int32Array(n);
  for (let i = 0; i < n; i++) order[i] = i;
  const inOrder = (i: number, j: number): number => values[i] - values[j] || i - j;
  // As `selectInPlace`: what lies outside left .. right lies on that side in order, and `passed` is the weight to the left.
  let left = 0;
  let right = n - 1;
  let passed = 0;
  while (right - left >= FEW) {
    const [, pivot] = [order[left], order[(left + right) >> 1], order[right]].sort(inOrder);
    let i = left;
    let j = right;
    let light = passed;
    while (i <= j) {
      while (inOrder(order[i], pivot) < 0) light += weights[order[i++]];
      while (inOrder(order[j], pivot) > 0) j--;
      if (i <= j) {
        const swap = order[i];
        order[i] = order[j];
        order[j] = swap;
        light += weights[order[i]];
        i++;
        j--;
      }
    }
    const last = lastOf(values, order, left, i);
    if (light - weights[last] / 2 >= half) right = i - 1;
    else {
      left = i;
      passed = light;
    }
  }
  const rest = order.subarray(left, right + 1).sort(inOrder);
  let before = left > 0 ? lastOf(values, order, 0, left) : rest[0];
  let placeBefore = left > 0 ? passed - weights[before] / 2 : 0;
  for (const i of rest) {
    const place = passed + weights[i] / 2;
    if (place >= half) {
      const share = place > placeBefore ? (half - placeBefore) / (place - placeBefore) : 1;
      return values[before] + share * (values[i] - values[before]);
    }
    passed += weights[i];
    before = i;
    placeBefore = place;
  }
  return values[before];
}

/** The last in order of order[from .. to). */
function lastOf(values: readonly number[], order: Int32Array, from: number, to: number): number {
  let top = order[from];
  for (let k = from + 1; k < to; k++) {
    const other = order[k];
    if (values[other] > values[top] || (values[other] === values[top] && other > top)) top = other;
  }
  return top;
}

/** Robust sigma: MAD_TO_SIGMA x median |v - centre|. */
export function robustSigma(values: ArrayLike<number>, centre = median(values)): number {
  const away = new Float64Array(values);
  for (let i = 0; i < away.length; i++) away[i] = Math.abs(away[i] - centre);
  return MAD_TO_SIGMA * median(away);
}

/** Index of the first element of an ascending array that is >= value. */
function lowerBound(sorted: ArrayLike<number>, value: number, length: number): number {
  let low = 0;
  let high = length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] < value) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Centre and spread after clipping; `kept` values survived. */
export interface Clipped {
  readonly median: number;
  readonly sigma: number;
  readonly kept: number;
}

/**
 * Sigma clipping of an ASCENDING array about the median until nothing more falls away.
 * Sigma is the half-width of the central 68.27 % of what is kept, its lower half only: stars stand on the upper side.
 */
export function clipSorted(sorted: ArrayLike<number>, length = sorted.length, nSigma = 3, maxRounds = 10): Clipped {
  let from = 0;
  let to = length;
  let centre = 0;
  let sigma = 0;
  for (let round = 0; round < maxRounds; round++) {
    const n = to - from;
    centre = quantileOf(sorted, from, n, 0.5);
    sigma = centre - quantileOf(sorted, from, n, 0.1587);
    const newFrom = lowerBound(sorted, centre - nSigma * sigma, length);
    const newTo = lowerBound(sorted, centre + nSigma * sigma, length);
    // A cell of equal values has no spread; keep what there is.
    if (sigma === 0 || newTo - newFrom < 8 || (newFrom === from && newTo === to)) break;
    from = newFrom;
    to = newTo;
  }
  return { median: centre, sigma, kept: to - from };
}

/** Linear interpolation of the empirical quantile in sorted[from .. from + n). */
function quantileOf(sorted: ArrayLike<number>, from: number, n: number, q: number): number {
  const position = q * (n - 1);
  const i = Math.floor(position);
  const fraction = position - i;
  const a = sorted[from + i];
  return fraction === 0 ? a : a + fraction * (sorted[from + i + 1] - a);
}
