import { fTail } from './fTail.ts';
import type { VectorFit, VectorSeries } from './groupedVectorFit.ts';

/** Where a step fits best into the residuals of a fit without it. */
export interface StepSearch {
  /** The step stands before this point. */
  readonly at: number;
  /** Twice the gain of log-likelihood of a step before each point; NaN where none is looked for. */
  readonly gain: Float64Array;
  /** Sum of |change of sqrt(gain)| from place to place: how many places there were to look at, in effect. */
  readonly variation: number;
}

/** What lasts for fewer points, or within fewer groups, is a stray and no step. */
const LEAST_POINTS = 3;
const LEAST_GROUPS = 2;
/** A step that the other regressors imitate but for this share of it cannot be told from them. */
const LEAST_OWN_SHARE = 0.03;

/**
 * Generalised likelihood ratio of one step (a vector) before each point, all other terms of the fit allowed for (score
 * form; Basseville & Nikiforov 1993, Detection of Abrupt Changes, ch. 2.4; James, James & Siegmund 1987, Biometrika 74, 71).
 * `taken`: steps that the fit holds already. Null when no place allows a step.
 */
export function searchStep(series: VectorSeries, fit: VectorFit, taken: readonly number[] = []): StepSearch | null {
  const { design, terms: q, group } = series;
  const { residualX, residualY, precision, shared } = fit.workings;
  const count = group.length;
  const n = 2 * q;
  const gain = new Float64Array(count).fill(NaN);
  const allowed = placesFor(group, count, taken);
  // Sums over the whole groups behind: step's information (xx, xy, yy), score (x, y), step x regressors (2 x n).
  const info = new Float64Array(3);
  const score = new Float64Array(2);
  const cross = new Float64Array(2 * n);
  const partCross = new Float64Array(2 * n);
  const wholeCross = new Float64Array(2 * n);
  const here = new Float64Array(2 * n);
  let end = count;
  while (end > 0) {
    const g = group[end - 1];
    let start = end - 1;
    while (start > 0 && group[start - 1] === g) start--;
    const [ixx, ixy, iyy] = [shared[3 * g], shared[3 * g + 1], shared[3 * g + 2]];
    let wholeX = 0;
    let wholeY = 0;
    wholeCross.fill(0);
    for (let i = start; i < end; i++) {
      const [wxx, wxy, wyy] = [precision[3 * i], precision[3 * i + 1], precision[3 * i + 2]];
      wholeX += wxx * residualX[i] + wxy * residualY[i];
      wholeY += wxy * residualX[i] + wyy * residualY[i];
      addCross(wholeCross, design, i, q, wxx, wxy, wyy);
    }
    let pxx = 0;
    let pxy = 0;
    let pyy = 0;
    let sx = 0;
    let sy = 0;
    partCross.fill(0);
    for (let i = end - 1; i >= start; i--) {
      const [wxx, wxy, wyy] = [precision[3 * i], precision[3 * i + 1], precision[3 * i + 2]];
      pxx += wxx;
      pxy += wxy;
      pyy += wyy;
      sx += wxx * residualX[i] + wxy * residualY[i];
      sy += wxy * residualX[i] + wyy * residualY[i];
      addCross(partCross, design, i, q, wxx, wxy, wyy);
      const whole = i === start;
      if (!whole && allowed[i] === 0) continue;
      // part x shared, then against part, score and regressors of the group.
      const axx = pxx * ixx + pxy * ixy;
      const axy = pxx * ixy + pxy * iyy;
      const ayx = pxy * ixx + pyy * ixy;
      const ayy = pxy * ixy + pyy * iyy;
      const nxx = info[0] + pxx - (axx * pxx + axy * pxy);
      const nxy = info[1] + pxy - (axx * pxy + axy * pyy);
      const nyy = info[2] + pyy - (ayx * pxy + ayy * pyy);
      const tx = score[0] + sx - (axx * wholeX + axy * wholeY);
      const ty = score[1] + sy - (ayx * wholeX + ayy * wholeY);
      for (let a = 0; a < n; a++) {
        const cx = wholeCross[a];
        const cy = wholeCross[n + a];
        here[a] = cross[a] + partCross[a] - (axx * cx + axy * cy);
        here[n + a] = cross[n + a] + partCross[n + a] - (ayx * cx + ayy * cy);
      }
      if (allowed[i] === 1) gain[i] = gainOf(fit.covariance, here, n, nxx, nxy, nyy, tx, ty);
      if (whole) {
        info[0] = nxx;
        info[1] = nxy;
        info[2] = nyy;
        score[0] = tx;
        score[1] = ty;
        cross.set(here);
      }
    }
    end = start;
  }
  let at = -1;
  let variation = 0;
  let last = NaN;
  for (let i = 0; i < count; i++) {
    if (Number.isNaN(gain[i])) continue;
    if (at < 0 || gain[i] > gain[at]) at = i;
    const root = Math.sqrt(gain[i]);
    if (!Number.isNaN(last)) variation += Math.abs(root - last);
    last = root;
  }
  return at < 0 ? null : { at, gain, variation };
}

/** 1 where a step leaves enough points and groups on both sides, up to the ends and to the other steps. */
function placesFor(group: ArrayLike<number>, count: number, taken: readonly number[]): Uint8Array {
  const allowed = new Uint8Array(count);
  const bounds = [0, ...[...taken].sort((a, b) => a - b), count];
  for (let b = 0; b + 1 < bounds.length; b++) {
    const from = bounds[b];
    const to = bounds[b + 1];
    for (let i = from + LEAST_POINTS; i <= to - LEAST_POINTS; i++) {
      const before = group[i - 1] - group[from] + 1;
      const after = group[to - 1] - group[i] + 1;
      if (before >= LEAST_GROUPS && after >= LEAST_GROUPS) allowed[i] = 1;
    }
  }
  return allowed;
}

/** Adds precision x regressors of point i. */
function addCross(
  out: Float64Array,
  design: Float64Array,
  i: number,
  q: number,
  wxx: number,
  wxy: number,
  wyy: number,
): void {
  const n = 2 * q;
  for (let k = 0; k < q; k++) {
    const rk = design[i * q + k];
    out[2 * k] += rk * wxx;
    out[2 * k + 1] += rk * wxy;
    out[n + 2 * k] += rk * wxy;
    out[n + 2 * k + 1] += rk * wyy;
  }
}

/** Score test: t' (N - C A^-1 C')^-1 t; NaN where the other regressors leave nothing of the step. */
function gainOf(
  covariance: Float64Array,
  cross: Float64Array,
  n: number,
  nxx: number,
  nxy: number,
  nyy: number,
  tx: number,
  ty: number,
): number {
  let qxx = 0;
  let qxy = 0;
  let qyy = 0;
  for (let a = 0; a < n; a++) {
    let bx = 0;
    let by = 0;
    for (let b = 0; b < n; b++) {
      const v = covariance[a * n + b];
      bx += v * cross[b];
      by += v * cross[n + b];
    }
    qxx += cross[a] * bx;
    qxy += cross[a] * by;
    qyy += cross[n + a] * by;
  }
  const vxx = nxx - qxx;
  const vxy = nxy - qxy;
  const vyy = nyy - qyy;
  if (!(vxx > LEAST_OWN_SHARE * nxx) || !(vyy > LEAST_OWN_SHARE * nyy)) return NaN;
  const det = vxx * vyy - vxy * vxy;
  return det > 0 ? (vyy * tx * tx - 2 * vxy * tx * ty + vxx * ty * ty) / det : NaN;
}

/**
 * Chance that pure noise shows a step as large as this somewhere in the search: `wald` is the squared step over its
 * covariance in the fit that includes it. Davies's bound on the maximum of a chi-square process (1987, Biometrika 74, 33,
 * eq. 3.4), each place judged by F with the freedom there is.
 */
export function chanceOfStep(wald: number, freedom: number, variation: number): number {
  const single = fTail(wald / 2, 2, freedom);
  const equivalent = -2 * Math.log(Math.max(single, 1e-300));
  return Math.min(1, single * (1 + (variation * Math.sqrt(equivalent)) / 2));
}
