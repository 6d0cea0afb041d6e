import { invertSymmetric, multiply } from './linear.ts';

/**
 * Vectors (x, y) measured in groups (the checks of one night): value_i = sum_k design_ik beta_k + group effect + noise.
 * beta_k are vectors; the group effect is common to all of a group and random from group to group.
 */
export interface VectorSeries {
  /** Regressors, row-major: `terms` of them for each point; the first is usually 1. */
  readonly design: Float64Array;
  readonly terms: number;
  readonly x: ArrayLike<number>;
  readonly y: ArrayLike<number>;
  /** 1 sigma of each component, without direction. */
  readonly noise: ArrayLike<number>;
  /** Further 1-sigma error along the vector, as a share of its true length (an amount known to a factor only). */
  readonly lengthError: ArrayLike<number>;
  /** 0, 1, 2 ... : ascending, members of a group stand together. */
  readonly group: ArrayLike<number>;
}

/** What the search for steps needs of a finished fit. 2 x 2 matrices as (xx, xy, yy). */
export interface FitWorkings {
  readonly residualX: Float64Array;
  readonly residualY: Float64Array;
  /** Precision of each point within its group, 3 numbers a point. */
  readonly precision: Float64Array;
  /** (group effect's precision + sum of the group's precisions)^-1, 3 numbers a group. */
  readonly shared: Float64Array;
}

export interface VectorFit {
  /** beta_k = (parameters[2 k], parameters[2 k + 1]). */
  readonly parameters: Float64Array;
  /** 2 q x 2 q, row-major; includes the observed scatter within and between groups. */
  readonly covariance: Float64Array;
  /** Scatter beyond the given errors, 1 sigma a component: from point to point, and from group to group. */
  readonly scatterWithin: number;
  readonly scatterBetween: number;
  /** Degrees of freedom of the scatter between groups: what tests and intervals should reckon with. */
  readonly freedom: number;
  /** 0..1 of each point: below 1 where it strays from its fellows. */
  readonly weights: Float64Array;
  readonly workings: FitWorkings;
}

/** Squared distance up to which a point counts in full: 99 % of a Gaussian's. */
const CUT2 = 2 * Math.log(100);
/** Mean of min(chi-square, CUT2) with two degrees of freedom. */
const MEAN_CUT = 2 * (1 - 0.01);
const ROUNDS = 40;
const SETTLED = 3e-3;

/**
 * Generalised least squares with two levels of scatter. Both are found by the method of Paule & Mandel (1982, J. Res. NBS
 * 87, 377): the extra variance that makes chi-square meet its expectation, with squared distances cut off so that strays do
 * not count as scatter. Strays keep a reduced weight (Huber & Ronchetti, Robust Statistics). An error that is a share of
 * the length is taken of the FITTED length: taken of the measured one, small values would win. Null when the design is
 * degenerate or there are no more groups than it needs.
 */
export function fitGroupedVectors(series: VectorSeries): VectorFit | null {
  const work = new Work(series);
  if (work.freedomBetween < 1) return null;
  for (let round = 0; round < ROUNDS; round++) {
    const before = work.state();
    if (!work.solve()) return null;
    work.updateScatter();
    work.updateWeights();
    const after = work.state();
    const change = Math.max(...after.map((value, j) => Math.abs(value - (before[j] ?? 0))));
    if (round > 2 && change < SETTLED * work.typicalError()) break;
  }
  return work.solve() ? work.result() : null;
}

class Work {
  readonly series: VectorSeries;
  readonly count: number;
  readonly q: number;
  /** First point of each group, and the end. */
  readonly starts: number[] = [];
  readonly freedomWithin: number;
  readonly freedomBetween: number;
  readonly dofWithin: number;
  within2 = 0;
  between2 = 0;
  readonly weights: Float64Array;
  readonly groupWeights: Float64Array;
  readonly covariances: Float64Array;
  readonly precision: Float64Array;
  readonly shared: Float64Array;
  readonly rx: Float64Array;
  readonly ry: Float64Array;
  parameters: Float64Array;
  covariance: Float64Array = new Float64Array(0);

  constructor(series: VectorSeries) {
    this.series = series;
    const { group, terms } = series;
    this.count = group.length;
    this.q = terms;
    for (let i = 0; i < this.count; i++) if (i === 0 || group[i] !== group[i - 1]) this.starts.push(i);
    const groups = this.starts.length;
    this.starts.push(this.count);
    this.weights = new Float64Array(this.count).fill(1);
    this.groupWeights = new Float64Array(groups).fill(1);
    this.covariances = new Float64Array(3 * this.count);
    this.precision = new Float64Array(3 * this.count);
    this.shared = new Float64Array(3 * groups);
    this.rx = new Float64Array(this.count);
    this.ry = new Float64Array(this.count);
    this.parameters = new Float64Array(2 * this.q);
    const shares = this.sharesBetween();
    this.dofWithin = this.count - groups;
    this.freedomWithin = this.dofWithin - (this.q - shares);
    this.freedomBetween = groups - shares;
    // The first fitted length is a plain mean's.
    let mx = 0;
    let my = 0;
    for (let i = 0; i < this.count; i++) {
      mx += series.x[i] / this.count;
      my += series.y[i] / this.count;
    }
    for (let i = 0; i < this.count; i++) this.setCovariance(i, mx, my);
  }

  /** How many regressors' worth of freedom the groups lose; a regressor that varies within groups costs those less. */
  sharesBetween(): number {
    const { design } = this.series;
    let shares = 0;
    for (let k = 0; k < this.q; k++) {
      let total = 0;
      let between = 0;
      for (let g = 0; g + 1 < this.starts.length; g++) {
        let sum = 0;
        for (let i = this.starts[g]; i < this.starts[g + 1]; i++) {
          const value = design[i * this.q + k];
          sum += value;
          total += value * value;
        }
        between += sum ** 2 / (this.starts[g + 1] - this.starts[g]);
      }
      shares += total > 0 ? between / total : 1;
    }
    return shares;
  }

  setCovariance(i: number, mx: number, my: number): void {
    const { noise, lengthError } = this.series;
    const base = noise[i] ** 2;
    const share = lengthError[i] ** 2;
    this.covariances[3 * i] = base + share * mx * mx;
    this.covariances[3 * i + 1] = share * mx * my;
    this.covariances[3 * i + 2] = base + share * my * my;
  }

  state(): number[] {
    return [...this.parameters, Math.sqrt(this.within2), Math.sqrt(this.between2)];
  }

  typicalError(): number {
    let sum = 0;
    for (let k = 0; k < 2 * this.q; k++) sum += Math.sqrt(this.covariance[k * 2 * this.q + k]);
    return sum / (2 * this.q);
  }

  /** Parameters, covariance and residuals with the present scatter and weights. */
  solve(): boolean {
    const { q, count, starts, precision, shared } = this;
    const { design, x, y } = this.series;
    const n = 2 * q;
    const normal = new Float64Array(n * n);
    const right = new Float64Array(n);
    const cross = new Float64Array(2 * n);
    for (let g = 0; g + 1 < starts.length; g++) {
      cross.fill(0);
      let pxx = 0;
      let pxy = 0;
      let pyy = 0;
      let sx = 0;
      let sy = 0;
      for (let i = starts[g]; i < starts[g + 1]; i++) {
        const cxx = this.covariances[3 * i] + this.within2;
        const cxy = this.covariances[3 * i + 1];
        const cyy = this.covariances[3 * i + 2] + this.within2;
        const scale = this.weights[i] / (cxx * cyy - cxy * cxy);
        const wxx = scale * cyy;
        const wxy = -scale * cxy;
        const wyy = scale * cxx;
        precision[3 * i] = wxx;
        precision[3 * i + 1] = wxy;
        precision[3 * i + 2] = wyy;
        pxx += wxx;
        pxy += wxy;
        pyy += wyy;
        const vx = wxx * x[i] + wxy * y[i];
        const vy = wxy * x[i] + wyy * y[i];
        sx += vx;
        sy += vy;
        const row = i * q;
        for (let k = 0; k < q; k++) {
          const rk = design[row + k];
          if (rk === 0) continue;
          right[2 * k] += rk * vx;
          right[2 * k + 1] += rk * vy;
          cross[2 * k] += rk * wxx;
          cross[2 * k + 1] += rk * wxy;
          cross[n + 2 * k] += rk * wxy;
          cross[n + 2 * k + 1] += rk * wyy;
          for (let l = 0; l <= k; l++) {
            const f = rk * design[row + l];
            normal[2 * k * n + 2 * l] += f * wxx;
            normal[2 * k * n + 2 * l + 1] += f * wxy;
            normal[(2 * k + 1) * n + 2 * l] += f * wxy;
            normal[(2 * k + 1) * n + 2 * l + 1] += f * wyy;
          }
        }
      }
      // Woodbury: what the members share is no independent evidence.
      const extra = this.between2 > 0 ? this.groupWeights[g] / this.between2 : Infinity;
      const mxx = pxx + extra;
      const myy = pyy + extra;
      const scale = Number.isFinite(extra) ? 1 / (mxx * myy - pxy * pxy) : 0;
      const ixx = scale === 0 ? 0 : scale * myy;
      const ixy = scale === 0 ? 0 : -scale * pxy;
      const iyy = scale === 0 ? 0 : scale * mxx;
      shared[3 * g] = ixx;
      shared[3 * g + 1] = ixy;
      shared[3 * g + 2] = iyy;
      if (scale === 0) continue;
      const tx = ixx * sx + ixy * sy;
      const ty = ixy * sx + iyy * sy;
      for (let a = 0; a < n; a++) {
        const ca = cross[a];
        const da = cross[n + a];
        if (ca === 0 && da === 0) continue;
        right[a] -= ca * tx + da * ty;
        const ua = ca * ixx + da * ixy;
        const va = ca * ixy + da * iyy;
        for (let b = 0; b <= a; b++) normal[a * n + b] -= ua * cross[b] + va * cross[n + b];
      }
    }
    for (let a = 0; a < n; a++) for (let b = 0; b < a; b++) normal[b * n + a] = normal[a * n + b];
    const inverse = invertSymmetric(normal, n);
    if (inverse === null) return false;
    this.covariance = inverse;
    this.parameters = multiply(inverse, right, n);
    for (let i = 0; i < count; i++) {
      let fx = 0;
      let fy = 0;
      const row = i * q;
      for (let k = 0; k < q; k++) {
        fx += design[row + k] * this.parameters[2 * k];
        fy += design[row + k] * this.parameters[2 * k + 1];
      }
      this.rx[i] = x[i] - fx;
      this.ry[i] = y[i] - fy;
      this.setCovariance(i, fx, fy);
    }
    return true;
  }

  /** One Newton step each towards the extra variances that explain the residuals. */
  updateScatter(): void {
    const { starts } = this;
    const mean = new Float64Array(5);
    const away = new Float64Array(2);
    const groups = starts.length - 1;
    let within = 0;
    let withinSlope = 0;
    let withinPoints = 0;
    let between = 0;
    let betweenSlope = 0;
    for (let g = 0; g < groups; g++) {
      this.groupMean(g, mean);
      const ux = mean[0];
      const uy = mean[1];
      const vxx = mean[2];
      const vxy = mean[3];
      const vyy = mean[4];
      const bxx = vxx + this.between2;
      const byy = vyy + this.between2;
      const det = bxx * byy - vxy * vxy;
      const hx = (byy * ux - vxy * uy) / det;
      const hy = (bxx * uy - vxy * ux) / det;
      const d2 = ux * hx + uy * hy;
      between += Math.min(d2, CUT2);
      if (d2 < CUT2) betweenSlope += hx * hx + hy * hy;
      const members = starts[g + 1] - starts[g];
      if (members < 2) continue;
      const stretch = members / (members - 1);
      for (let i = starts[g]; i < starts[g + 1]; i++) {
        this.distance(i, this.rx[i] - ux, this.ry[i] - uy, away);
        withinPoints++;
        within += Math.min(stretch * away[0], CUT2);
        if (stretch * away[0] < CUT2) withinSlope += stretch * away[1];
      }
    }
    const step = (value: number, sum: number, slope: number, target: number): number =>
      Math.max(0, value + (slope > 0 ? (sum - target) / slope : sum > target ? value : 0));
    this.between2 = step(this.between2, between, betweenSlope, MEAN_CUT * this.freedomBetween);
    if (this.freedomWithin >= 1) {
      const share = this.freedomWithin / this.dofWithin;
      this.within2 = step(this.within2, within, withinSlope, MEAN_CUT * withinPoints * share);
    }
  }

  /** Mean residual (x, y) of a group and its variance (xx, xy, yy) without the scatter between groups, into `out`. */
  groupMean(g: number, out: Float64Array): void {
    let pxx = 0;
    let pxy = 0;
    let pyy = 0;
    let sx = 0;
    let sy = 0;
    for (let i = this.starts[g]; i < this.starts[g + 1]; i++) {
      const cxx = this.covariances[3 * i] + this.within2;
      const cxy = this.covariances[3 * i + 1];
      const cyy = this.covariances[3 * i + 2] + this.within2;
      const scale = this.weights[i] / (cxx * cyy - cxy * cxy);
      pxx += scale * cyy;
      pxy -= scale * cxy;
      pyy += scale * cxx;
      sx += scale * (cyy * this.rx[i] - cxy * this.ry[i]);
      sy += scale * (cxx * this.ry[i] - cxy * this.rx[i]);
    }
    const det = pxx * pyy - pxy * pxy;
    const vxx = pyy / det;
    const vxy = -pxy / det;
    const vyy = pxx / det;
    out[0] = vxx * sx + vxy * sy;
    out[1] = vxy * sx + vyy * sy;
    out[2] = vxx;
    out[3] = vxy;
    out[4] = vyy;
  }

  /** Squared distance of a vector in units of point i's own errors, and minus its slope with the variance within, into `out`. */
  distance(i: number, ex: number, ey: number, out: Float64Array): void {
    const cxx = this.covariances[3 * i] + this.within2;
    const cxy = this.covariances[3 * i + 1];
    const cyy = this.covariances[3 * i + 2] + this.within2;
    const det = cxx * cyy - cxy * cxy;
    const hx = (cyy * ex - cxy * ey) / det;
    const hy = (cxx * ey - cxy * ex) / det;
    out[0] = ex * hx + ey * hy;
    out[1] = hx * hx + hy * hy;
  }

  updateWeights(): void {
    const mean = new Float64Array(5);
    const away = new Float64Array(2);
    const huber = (d2: number): number => (d2 <= CUT2 ? 1 : Math.sqrt(CUT2 / d2));
    for (let g = 0; g + 1 < this.starts.length; g++) {
      this.groupMean(g, mean);
      const ux = mean[0];
      const uy = mean[1];
      const vxx = mean[2];
      const vxy = mean[3];
      const vyy = mean[4];
      const bxx = vxx + this.between2;
      const byy = vyy + this.between2;
      const d2 = (byy * ux * ux - 2 * vxy * ux * uy + bxx * uy * uy) / (bxx * byy - vxy * vxy);
      this.groupWeights[g] = huber(d2);
      const members = this.starts[g + 1] - this.starts[g];
      for (let i = this.starts[g]; i < this.starts[g + 1]; i++) {
        const stretch = members > 1 ? members / (members - 1) : 1;
        this.distance(i, this.rx[i] - ux, this.ry[i] - uy, away);
        this.weights[i] = members > 1 ? huber(stretch * away[0]) : this.groupWeights[g];
      }
    }
  }

  result(): VectorFit {
    const weights = this.weights.slice();
    for (let g = 0; g + 1 < this.starts.length; g++)
      for (let i = this.starts[g]; i < this.starts[g + 1]; i++) weights[i] = Math.min(weights[i], this.groupWeights[g]);
    return {
      parameters: this.parameters,
      covariance: this.covariance,
      scatterWithin: Math.sqrt(this.within2),
      scatterBetween: Math.sqrt(this.between2),
      freedom: Math.max(1, 2 * this.freedomBetween),
      weights,
      workings: {
        residualX: this.rx,
        residualY: this.ry,
        precision: this.precision,
        shared: this.shared,
      },
    };
  }
}
