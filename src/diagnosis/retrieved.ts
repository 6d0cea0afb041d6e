import { type Uncertain, type UncertainVector, vectorLength } from '../field/frameStars.ts';
import type { Complex } from '../optics/complex.ts';
import { toDefocus, UM_PER_RMS } from '../optics/wavefront.ts';
import type { Explained } from '../retrieval/explained.ts';
import type { Retrieval } from '../retrieval/fitWavefront.ts';
import { mirrored, type ScanPoint } from '../retrieval/focusScan.ts';
import { angleErrorOver, type Interval, lengthAt, mixtureInterval, mixtureMean } from '../retrieval/mixture.ts';
import { telescopeFor } from './drawnStar.ts';
import type { KnownOptics, Setup } from './setup.ts';

/**
 * What the whole-field fit found, in real units; stored axes. The common sign of focus, tilt, curvature and astigmatism is
 * not in one focus: they are told for the reference sub standing inside focus.
 */
export interface Retrieved {
  readonly perSub: readonly {
    readonly frame: number;
    readonly seeingArcsec: Interval;
    /** um along the axis at the middle of the frame, sign relative to the others. */
    readonly focusUm: Interval;
    /** The same of the mean over the frame, unsigned: off the best compromise between middle and corners. */
    readonly compromiseUm: Interval;
    /** (e1, e2) that the smear makes of a star of the sub's typical width. */
    readonly smear: UncertainVector;
    /** (e1, e2) that the uniform astigmatism makes of the stars in the middle at this focus. */
    readonly astigmatic: Complex;
    /** The same of the uniform coma and trefoil. */
    readonly comatic: Complex;
  }[];
  /** W131 along the tail, um; the amount's interval includes the focus that one frame cannot tell from seeing. */
  readonly coma: UncertainVector;
  readonly comaUm: Interval;
  /** Of its direction, radians. */
  readonly comaAngleError: number;
  /** W131 that grows with the distance from the middle, um at the half-diagonal. */
  readonly linearComaUm: Uncertain;
  /** Sigma at which the coma differs from none, whatever its amount: defocus unknown, an offset shadow allowed for. */
  readonly comaSignificance: number;
  /** Of the wavefront, um RMS of the Zernike terms 7 and 8. */
  readonly comaRmsUm: Interval;
  /** Edge to edge along the steepest direction, um along the axis. */
  readonly tiltUm: Interval;
  readonly tiltSignificance: number;
  /** Radians; sign of the vector relative to focus. */
  readonly tiltAxis: number;
  readonly tiltAxisError: number;
  /** Corner less centre, um along the axis, relative to the side of focus. */
  readonly curvatureUm: Uncertain;
  /** The same unsigned: near focus a field bent one way looks like one bent the other way from a little farther. */
  readonly bendUm: Interval;
  /** um RMS: uniform, growing from the middle (at the half-diagonal), radial (there). */
  readonly astigmatismRmsUm: {
    readonly uniform: UncertainVector;
    readonly linear: UncertainVector;
    readonly radial: Uncertain;
  };
  /** What makes the stars of several subs long, told by how it goes with their focus; null where it was not asked or not answered. */
  readonly longBy: 'astigmatism' | 'smear' | 'either' | null;
  /** coma3 of each sub's smear where the fit found them skewed beside coma and trefoil, its error that of the length; else null. */
  readonly skews: readonly UncertainVector[] | null;
  /** Natural logarithm of the odds for astigmatism where it is that; else 0. */
  readonly logOdds: number;
  readonly trefoil: UncertainVector;
  /** Of its phase, three times the direction's; radians. */
  readonly trefoilAngleError: number;
  readonly trefoilRmsUm: Interval;
  readonly chi2PerFreedom: number;
  readonly cells: number;
  /** Freshly drawn stars against the table at the optimum, in errors of a cell as the fit takes them. */
  readonly drawnAgainstTable: number | null;
  readonly explained: Explained;
}

/** Beyond these the fit does not describe the stars and nothing is taken from it. */
const WORST_CHI2 = 6;
/** So far below one the table's own errors, alike in all cells, hide what the stars say. */
const LEAST_CHI2 = 0.2;
const WORST_DRAWN = 1.5;
/** Nor where it needs the seeing to double from one sub of a set to another: one of them then stands at the wrong focus. */
const MOST_SEEING = 2;

export function settled(retrieved: Retrieved, retrieval: Retrieval): boolean {
  const seeings = retrieved.perSub.map(({ seeingArcsec }) => seeingArcsec.value);
  return (
    Math.max(...seeings) < MOST_SEEING * Math.min(...seeings) &&
    retrieval.converged &&
    retrieval.scan.length > 0 &&
    retrieved.chi2PerFreedom > LEAST_CHI2 &&
    retrieved.chi2PerFreedom < WORST_CHI2 &&
    retrieved.drawnAgainstTable !== null &&
    retrieved.drawnAgainstTable < WORST_DRAWN
  );
}

/**
 * A star spread by d + a one way and by d - a the other is the same with the two exchanged: in focus in the middle, curvature and radial
 * astigmatism may stand for each other. Ray-traced correctors at a wrong distance make about half as much astigmatism as curvature.
 */
const MOST_ASTIGMATIC = 1;
/** Less of it, um of a at the corner, is not worth the question. */
const LEAST_EXCHANGED_UM = 0.15;

/** Whether the fit seems to have taken the curvature for astigmatism: it then tells nothing. */
export function isExchanged({ layout, best: { parameters } }: Pick<Retrieval, 'layout' | 'best'>): boolean {
  const [d, a] = [layout.curvature, layout.radialAstigmatism].map((index) => Math.abs(parameters[index]));
  return a > LEAST_EXCHANGED_UM && a > MOST_ASTIGMATIC * d;
}

/** What was found beside the fit's numbers; `sigma2`: px^2, of a typical star of each sub. */
interface Beside extends Pick<Retrieved, 'explained' | 'drawnAgainstTable' | 'longBy' | 'logOdds'> {
  readonly astigmatic: readonly Complex[];
  readonly comatic: readonly Complex[];
  readonly sigma2: readonly number[];
  /** Whether the fit found the smears skewed. */
  readonly skewed: boolean;
}

/**
 * The usual obstruction stands for one that is not told: 25 to 40 % of the aperture make a star out of focus as wide as one up to
 * 3 % nearer or farther (drawn frames), rms of an even spread.
 */
const OPEN_OBSTRUCTION = 0.017;

export function retrievedAmounts(
  retrieval: Retrieval,
  optics: KnownOptics,
  setup: Setup,
  { explained, drawnAgainstTable, astigmatic, comatic, sigma2, skewed, longBy, logOdds }: Beside,
): Retrieved {
  const { layout, referenceSub } = retrieval;
  const telescope = telescopeFor(optics);
  const umOfFocus = 1 / toDefocus(telescope, 1);
  const share = optics.obstruction === undefined ? OPEN_OBSTRUCTION : 0;
  const scan = withTable(alike(retrieval.scan, retrieval), retrieval, drawnAgainstTable ?? 0);
  const number = (index: number, factor = 1): Uncertain => {
    const { value, error } = mixtureMean(scan, index);
    return { value: factor * value, error: Math.abs(factor) * error };
  };
  const vector = (index: number, factor = 1): UncertainVector => {
    const x = number(index, factor);
    const y = number(index + 1, factor);
    return { x: x.value, y: y.value, error: Math.sqrt((x.error ** 2 + y.error ** 2) / 2) };
  };
  const spread = (index: number, factor: number): Interval =>
    scaled(
      mixtureInterval(scan, (point) => ({
        value: point.parameters[index],
        error: Math.sqrt(Math.max(0, point.covariance[index * layout.length + index])),
      })),
      factor,
    );
  const length = (index: number, factor: number): Interval =>
    positive(
      scaled(
        mixtureInterval(scan, (point) => lengthAt(point, index)),
        factor,
      ),
    );
  const significance = (index: number): number =>
    scan.reduce((sum, point) => {
      const { value, error } = lengthAt(point, index);
      return sum + (point.weight * value) / error;
    }, 0);
  const tilt = vector(layout.tilt);
  const tiltLength = Math.hypot(tilt.x, tilt.y);
  const curvature = number(layout.curvature, umOfFocus);
  const half = 0.5 * Math.hypot(setup.width, setup.height);
  const extent =
    tiltLength === 0 ? 2 : (setup.width * Math.abs(tilt.x) + setup.height * Math.abs(tilt.y)) / (half * tiltLength);
  return {
    perSub: Array.from({ length: layout.subs }, (_, frame) => ({
      frame,
      seeingArcsec: spread(layout.seeing(frame), 1),
      focusUm: withShare(
        frame === referenceSub
          ? scaled(focusInterval(scan, retrieval), umOfFocus)
          : spread(layout.focus(frame), umOfFocus),
        share,
      ),
      compromiseUm: positive(withShare(scaled(compromise(scan, retrieval, frame), umOfFocus), share)),
      // A traceless second moment m on top of a round star's sigma^2 makes e = m/(2 sigma^2).
      smear: vector(layout.smear(frame), 1 / (2 * sigma2[frame])),
      astigmatic: astigmatic[frame],
      comatic: comatic[frame],
    })),
    coma: vector(layout.coma),
    comaUm: length(layout.coma, 1),
    comaAngleError: angleErrorOver(scan, layout.coma),
    linearComaUm: number(layout.linearComa),
    comaSignificance: significance(layout.coma),
    tiltSignificance: significance(layout.tilt),
    comaRmsUm: length(layout.coma, 1 / UM_PER_RMS.c),
    tiltUm: positive(withShare(length(layout.tilt, umOfFocus * extent), share)),
    tiltAxis: Math.atan2(tilt.y, tilt.x),
    tiltAxisError: Math.min(Math.PI / 2, tilt.error / Math.max(tiltLength, 1e-12)),
    curvatureUm: { value: curvature.value, error: Math.hypot(curvature.error, share * curvature.value) },
    bendUm: positive(
      withShare(
        scaled(
          mixtureInterval(scan, ({ parameters: p, covariance }) => ({
            value: Math.abs(p[layout.curvature]),
            error: Math.sqrt(Math.max(0, covariance[layout.curvature * (p.length + 1)])),
          })),
          umOfFocus,
        ),
        share,
      ),
    ),
    astigmatismRmsUm: {
      uniform: vector(layout.astigmatism, 1 / UM_PER_RMS.a),
      linear: vector(layout.linearAstigmatism, 1 / UM_PER_RMS.a),
      radial: number(layout.radialAstigmatism, 1 / UM_PER_RMS.a),
    },
    longBy,
    skews: skewed
      ? Array.from({ length: layout.subs }, (_, frame): UncertainVector => {
          const { low, high } = length(layout.skew(frame), 1);
          return { ...vector(layout.skew(frame)), error: (high - low) / 2 };
        })
      : null,
    logOdds,
    trefoil: vector(layout.trefoil),
    trefoilAngleError: angleErrorOver(scan, layout.trefoil),
    trefoilRmsUm: length(layout.trefoil, 1 / UM_PER_RMS.t),
    chi2PerFreedom: retrieval.chi2PerFreedom,
    cells: retrieval.cells.length,
    drawnAgainstTable,
    explained,
  };
}

/**
 * The held focus carries no error of its own: its interval is that of the places, each smeared by half a step. Its side is told only
 * where the fit is signed.
 */
function focusInterval(scan: readonly ScanPoint[], { layout, referenceSub, signed }: Retrieval): Interval {
  const index = layout.focus(referenceSub);
  const error = halfStep(scan, ({ focus }) => focus);
  const held = mixtureInterval(scan, (point) => {
    const focus = point.parameters[index];
    return { value: signed ? focus : Math.abs(focus), error: error(point) };
  });
  return signed ? held : positive(held);
}

/** Half of the way that a number goes from a place of the scan to halfway to its neighbours. */
function halfStep(scan: readonly ScanPoint[], of: (point: ScanPoint) => number): (point: ScanPoint) => number {
  const sorted = [...scan].sort((a, b) => a.focus - b.focus);
  return (point) => {
    const k = sorted.indexOf(point);
    return Math.abs(of(sorted[Math.min(sorted.length - 1, k + 1)]) - of(sorted[Math.max(0, k - 1)])) / 4;
  };
}

/** Mean of r^2 over the frame, squared half-diagonals. */
export const MEAN_R2 = 1 / 3;

/** Focus and curvature lean on each other: their sum is surer than either. */
function compromise(scan: readonly ScanPoint[], { layout, referenceSub }: Retrieval, frame: number): Interval {
  const [focus, curvature, n] = [layout.focus(frame), layout.curvature, layout.length];
  const meanFocus = ({ parameters: p }: ScanPoint): number => p[focus] + MEAN_R2 * p[curvature];
  const step = halfStep(scan, meanFocus);
  return mixtureInterval(scan, (point) => {
    const { covariance } = point;
    const variance =
      covariance[focus * n + focus] +
      2 * MEAN_R2 * covariance[focus * n + curvature] +
      MEAN_R2 ** 2 * covariance[curvature * n + curvature];
    const held = frame === referenceSub ? step(point) : 0;
    return {
      value: Math.abs(meanFocus(point)),
      error: Math.hypot(Math.sqrt(Math.max(0, variance)), held),
    };
  });
}

/** Places with the reference focus at nothing may hold either sign of the rest: turned to that of the most probable one. */
function alike(scan: readonly ScanPoint[], { layout, signed }: Retrieval): readonly ScanPoint[] {
  if (signed) return scan;
  const [first] = scan;
  if (first === undefined) throw new RangeError('a retrieval without a scan has no amounts');
  const group = [layout.tilt, layout.tilt + 1, layout.curvature];
  return scan.map((point) => {
    const along = group.reduce((sum, index) => sum + point.parameters[index] * first.parameters[index], 0);
    const near = Math.abs(point.focus) < 1e-6;
    return near && along < 0 ? { ...point, parameters: mirrored(layout, point.parameters) } : point;
  });
}

/** How much of the table's square error is alike in all cells (900 drawn nights: what it misses of one star it misses of others). */
const ALIKE_SHARE = 0.1;
/** Where chi-square is below one the table's error was told too large: variances are as much smaller, but not by more than this. */
const LEAST_SCALE = 0.5;

/**
 * The fit takes the table for wrong in each cell by itself, `tableError` of a cell's error; what is alike in all no number averages
 * away. Where the cells' errors were scaled up, it is as much less of them; where chi-square is small, the table was better than told.
 */
export function withTable(
  scan: readonly ScanPoint[],
  { cells, chi2PerFreedom }: { readonly cells: { readonly length: number }; readonly chi2PerFreedom: number },
  tableError: number,
): readonly ScanPoint[] {
  const wider = 1 + (ALIKE_SHARE * tableError ** 2 * cells.length) / Math.max(1, chi2PerFreedom);
  const scale = wider * Math.max(LEAST_SCALE, Math.min(1, chi2PerFreedom));
  return sidesAfresh(scan, wider).map((point) => ({
    ...point,
    covariance: point.covariance.map((value) => scale * value),
  }));
}

/**
 * The two sides of focus, where a bare mirror's scan holds both, weighed against each other anew: a chi-square is worth as much less as
 * the variances are wider.
 */
function sidesAfresh(scan: readonly ScanPoint[], wider: number): readonly ScanPoint[] {
  const inside = scan.reduce((sum, { focus, weight }) => sum + (focus < 0 ? weight : 0), 0);
  const total = scan.reduce((sum, { weight }) => sum + weight, 0);
  const odds = inside / (total - inside);
  if (!(odds > 0 && Number.isFinite(odds))) return scan;
  const flatter = odds ** (1 / wider);
  const among = { inside: flatter / (1 + flatter), outside: 1 / (1 + flatter) };
  return scan
    .map((point) =>
      point.focus < 0
        ? { ...point, weight: (point.weight * among.inside * total) / inside }
        : { ...point, weight: (point.weight * among.outside * total) / (total - inside) },
    )
    .sort((a, b) => b.weight - a.weight);
}

/**
 * Uniform astigmatism is told from a smear by its turn through focus, where the subs or the field show one: sigma of its amount, or of
 * the odds for it, for its amount hangs on the foci and they on each other.
 */
export const astigmatismSigmas = ({ astigmatismRmsUm: { uniform }, logOdds }: Retrieved): number =>
  Math.max(vectorLength(uniform) / Math.max(uniform.error, 1e-12), Math.sqrt(2 * Math.max(0, logOdds)));

const scaled = ({ value, low, high }: Interval, factor: number): Interval => ({
  value: factor * value,
  low: factor * low,
  high: factor * high,
});

/** An interval with an error that is a share of the value beside its own. */
export const withShare = ({ value, low, high }: Interval, share: number): Interval => ({
  value,
  low: value - Math.hypot(value - low, share * value),
  high: value + Math.hypot(high - value, share * value),
});

const positive = ({ value, low, high }: Interval): Interval => ({
  value: Math.max(0, value),
  low: Math.max(0, low),
  high: Math.max(0, high),
});
