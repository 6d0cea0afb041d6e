import { MAD_TO_SIGMA, median } from '../numeric/statistics.ts';
import type { Background, Plane } from './background.ts';
import { type Candidate, HOT_SPREAD } from './detect.ts';

/** How the spider stands on the sensor, from the diffraction spikes of the bright stars. */
export interface SpikeAngle {
  /** Direction of a spike from +x towards +y of the stored pixels, radians in [0, period). */
  readonly angle: number;
  /** 1 sigma, radians. */
  readonly error: number;
  /** After this turn the spikes look the same: a right angle for four vanes, 60 degrees for three. */
  readonly period: number;
  readonly stars: number;
}

/** Or why it cannot be told. */
export interface SpikesUnseen {
  readonly why: 'no bright stars' | 'no spikes' | 'more than one cross' | 'not looked for';
}

/** Bright stars looked at. */
const MOST_STARS = 40;
const LEAST_STARS = 3;
/** A star this many times brighter than the sky's noise may show spikes. */
const BRIGHT = 150;
/** Rings from 3 FWHM, where the star itself is gone, to 30 FWHM or this many pixels. */
const INNER_FWHM = 3;
const OUTER_FWHM = 30;
const MOST_OUTER = 90;
const RING_STEP = 1.5;
/** Angles looked at in a whole turn. */
const ANGLES = 720;
/** The stack of all stars must stand out of its own noise by so much, and a second cross stay below this share of it. */
const SEEN = 5.5;
const RIVAL_SHARE = 0.5;
/** Every arm is at least this share of the middle one: a stalk or a bloomed column has but two. */
const LEAST_ARM = 0.3;
/** One star counts for no more than so many sigma in the stack. */
const STAR_CAP = 12;
/** Groups of stars left out in turn for the error. */
const JACKKNIFE = 10;
/** Frames whose angles differ from their mean by more than so many of their errors were not taken with one camera angle. */
const MOST_PULL = 6;
/** Pixels are square: no cross is known better than this, radians (0.05 degrees). */
const ERROR_FLOOR = (0.05 * Math.PI) / 180;

/**
 * Angle of the diffraction spikes. Each vane throws light along the line across it (Fraunhofer diffraction at a strip;
 * Born & Wolf, Principles of Optics, 8.5), so four vanes make a cross and three a six-pointed star. Rings around bright
 * stars, saturated ones too, less their medians, are folded by the period, where the second lowest of four (third of six)
 * counts: a neighbour, a bloomed column or a smear lights fewer. A filter as wide as a star runs over the angles.
 * `plane` without holes (a filled mosaic).
 */
export function measureSpikes(
  plane: Plane,
  background: Background,
  candidates: readonly Candidate[],
  fwhm: number,
): SpikeAngle | SpikesUnseen {
  const outer = Math.min(OUTER_FWHM * fwhm, MOST_OUTER);
  const bright = brightStars(plane, candidates, outer);
  if (bright.length < LEAST_STARS) return { why: 'no bright stars' };
  // None counts more than the third brightest: one odd star must not make a cross.
  const most = Math.max(1, [...bright].sort((a, b) => b.light - a.light)[LEAST_STARS - 1].light);
  const stars = bright.map((star) => ({
    rings: ringsAround(plane, background, star, fwhm, outer),
    weight: Math.max(0, Math.min(1, star.light / most)),
  }));
  const found = ([4, 6] as const).map((arms) => crossOf(stars, arms));
  const seen = found
    .filter((cross) => cross.strength >= SEEN && cross.leastArm >= LEAST_ARM)
    .sort((a, b) => b.strength - a.strength);
  const [best] = seen;
  if (best === undefined) return { why: 'no spikes' };
  if (best.rival > RIVAL_SHARE) return { why: 'more than one cross' };
  return { angle: best.angle, error: best.error, period: best.period, stars: bright.length };
}

interface Bright {
  readonly x: number;
  readonly y: number;
  /** Light near the centre, ADU: how strong its spikes should be. */
  readonly light: number;
}

/** Centres of the brightest stars whose rings lie within the frame, none in another's rings' inner half. */
function brightStars(plane: Plane, candidates: readonly Candidate[], outer: number): Bright[] {
  const { width, height } = plane;
  const ordered = candidates
    .filter((c) => c.spread >= HOT_SPREAD && c.peak > BRIGHT * c.noise)
    .filter((c) => c.x > outer + 1 && c.y > outer + 1 && c.x < width - outer - 2 && c.y < height - outer - 2)
    .sort((a, b) => b.smoothed - a.smoothed);
  const chosen: Candidate[] = [];
  for (const c of ordered) {
    if (chosen.length === MOST_STARS) break;
    if (chosen.every((o) => Math.hypot(o.x - c.x, o.y - c.y) > outer / 2)) chosen.push(c);
  }
  return chosen.map((c) => centreOf(plane, c));
}

/** Centre of what is brighter than half the peak: of a saturated star, of its flat top. */
function centreOf(plane: Plane, c: Candidate): Bright {
  const { data, width } = plane;
  const half = 12;
  const limit = c.highest - c.peak / 2;
  let sum = 0;
  let sx = 0;
  let sy = 0;
  let light = 0;
  for (let y = c.y - half; y <= c.y + half; y++) {
    for (let x = c.x - half; x <= c.x + half; x++) {
      const value = data[Math.round(y) * width + Math.round(x)];
      if (Number.isFinite(value)) light += value - (c.highest - c.peak);
      if (!(value > limit)) continue;
      sum += 1;
      sx += x;
      sy += y;
    }
  }
  return sum > 0 ? { x: sx / sum, y: sy / sum, light } : { x: c.x, y: c.y, light };
}

interface Ring {
  readonly radius: number;
  /** ANGLES values, ring's median taken off, in units of its noise. */
  readonly values: Float64Array;
  /** 1 sigma along the angles in which a star looks as wide as it is, radians. */
  readonly width: number;
}

const COS = Float64Array.from({ length: ANGLES }, (_, i) => Math.cos((2 * Math.PI * i) / ANGLES));
const SIN = Float64Array.from({ length: ANGLES }, (_, i) => Math.sin((2 * Math.PI * i) / ANGLES));

function ringsAround(plane: Plane, background: Background, star: Bright, fwhm: number, outer: number): Ring[] {
  const { data, width } = plane;
  const floor = median(background.noise);
  const rings: Ring[] = [];
  for (let radius = INNER_FWHM * fwhm; radius <= outer; radius += RING_STEP) {
    const values = new Float64Array(ANGLES);
    for (let i = 0; i < ANGLES; i++) {
      const x = star.x + radius * COS[i];
      const y = star.y + radius * SIN[i];
      const u = Math.floor(x);
      const v = Math.floor(y);
      const fx = x - u;
      const fy = y - v;
      const k = v * width + u;
      const value =
        (1 - fy) * ((1 - fx) * data[k] + fx * data[k + 1]) +
        fy * ((1 - fx) * data[k + width] + fx * data[k + width + 1]);
      values[i] = Number.isFinite(value) ? value : NaN;
    }
    const good = values.filter((value) => value === value);
    if (good.length < ANGLES / 2) continue;
    const middle = median(good);
    const noise = Math.max(MAD_TO_SIGMA * median(good.map((value) => Math.abs(value - middle))), floor / 4);
    for (let i = 0; i < ANGLES; i++) values[i] = values[i] === values[i] ? (values[i] - middle) / noise : 0;
    rings.push({ radius, values, width: fwhm / 2.3548 / radius });
  }
  return rings;
}

interface WeighedStar {
  readonly rings: readonly Ring[];
  readonly weight: number;
}

interface Cross {
  readonly angle: number;
  readonly error: number;
  readonly period: number;
  /** Height over the robust noise of the stack. */
  readonly strength: number;
  /** Highest other maximum over the first. */
  readonly rival: number;
  /** Weakest arm over the middle one. */
  readonly leastArm: number;
}

/** The best cross of `arms` arms in the stack of all stars. */
function crossOf(stars: readonly WeighedStar[], arms: 4 | 6): Cross {
  const bins = ANGLES / arms;
  const profiles = stars.map(({ rings, weight }) => profileOf(rings, arms).map((value) => weight * value));
  const stack = stackOf(profiles, bins);
  const top = peakOf(stack);
  const noise = MAD_TO_SIGMA * median(stack.map(Math.abs));
  const apart = Math.round(bins / 9);
  let rival = 0;
  for (let i = 0; i < bins; i++) {
    const away = Math.abs(((i - top + 1.5 * bins) % bins) - bins / 2);
    if (away > apart) rival = Math.max(rival, stack[i]);
  }
  const groups = Math.min(JACKKNIFE, profiles.length);
  let spread = 0;
  for (let g = 0; g < groups; g++) {
    const without = peakOf(
      stackOf(
        profiles.filter((_, i) => i % groups !== g),
        bins,
      ),
    );
    spread += (((without - top + 1.5 * bins) % bins) - bins / 2) ** 2;
  }
  const step = (2 * Math.PI) / ANGLES;
  const each = Float64Array.from({ length: arms }, (_, k) => armsTogether(stars, top + k * bins));
  return {
    angle: (((top % bins) + bins) % bins) * step,
    error: Math.max(ERROR_FLOOR, Math.sqrt((spread * (groups - 1)) / groups) * step),
    period: bins * step,
    strength: stack[Math.round(top) % bins] / Math.max(noise, 1e-12),
    rival: rival / Math.max(stack[Math.round(top) % bins], 1e-12),
    leastArm: Math.min(...each) / Math.max(median(each), 1e-12),
  };
}

/** One arm over all stars, their median by weight, so that neither neighbours nor faint stars decide. */
function armsTogether(stars: readonly WeighedStar[], direction: number): number {
  const arms = stars
    .map(({ rings, weight }) => ({ arm: armOf(rings, direction), weight }))
    .sort((p, q) => p.arm - q.arm);
  const half = arms.reduce((sum, { weight }) => sum + weight, 0) / 2;
  let passed = 0;
  return arms.find(({ weight }) => (passed += weight) >= half)?.arm ?? 0;
}

/** Light along one direction (in bins) of one star, through the filter, in sigma of a ring. */
function armOf(rings: readonly Ring[], direction: number): number {
  let sum = 0;
  for (const { values, width } of rings) {
    const sigma = Math.max(0.5, (width * ANGLES) / (2 * Math.PI));
    const reach = Math.ceil(2.5 * sigma);
    let total = 0;
    let weight = 0;
    for (let j = -reach; j <= reach; j++) {
      const w = Math.exp(-0.5 * (j / sigma) ** 2);
      total += w * values[(Math.round(direction) + j + ANGLES) % ANGLES];
      weight += w * w;
    }
    sum += total / Math.sqrt(weight);
  }
  return sum;
}

/** Of one star: how well a cross fits at each angle of one period, in sigma of the profile's own noise. */
function profileOf(rings: readonly Ring[], arms: number): Float64Array {
  const bins = ANGLES / arms;
  const rank = arms / 2 - 1;
  const sum = new Float64Array(bins);
  const folded = new Float64Array(bins);
  const members = new Float64Array(arms);
  for (const ring of rings) {
    for (let i = 0; i < bins; i++) {
      for (let k = 0; k < arms; k++) members[k] = ring.values[i + k * bins];
      members.sort();
      folded[i] = members[rank];
    }
    addFiltered(sum, folded, (ring.width * ANGLES) / (2 * Math.PI));
  }
  const middle = median(sum);
  for (let i = 0; i < bins; i++) sum[i] -= middle;
  const noise = Math.max(MAD_TO_SIGMA * median(sum.map(Math.abs)), 1e-12);
  return sum.map((value) => Math.min(STAR_CAP, value / noise));
}

/** Adds a circular convolution with a Gaussian of unit power, sigma in bins. */
function addFiltered(sum: Float64Array, folded: Float64Array, sigma: number): void {
  const bins = folded.length;
  const reach = Math.min(Math.floor(bins / 2) - 1, Math.ceil(2.5 * sigma));
  const kernel = Float64Array.from({ length: reach + 1 }, (_, i) => Math.exp(-0.5 * (i / Math.max(sigma, 0.5)) ** 2));
  let power = -(kernel[0] ** 2);
  for (const value of kernel) power += 2 * value * value;
  const scale = 1 / Math.sqrt(power);
  for (let i = 0; i < bins; i++) {
    let total = kernel[0] * folded[i];
    for (let j = 1; j <= reach; j++) total += kernel[j] * (folded[(i + j) % bins] + folded[(i - j + bins) % bins]);
    sum[i] += scale * total;
  }
}

function stackOf(profiles: readonly Float64Array[], bins: number): Float64Array {
  const stack = new Float64Array(bins);
  for (const profile of profiles) for (let i = 0; i < bins; i++) stack[i] += profile[i];
  const middle = median(stack);
  return stack.map((value) => value - middle);
}

/** Bins: where a parabola through the maximum and its neighbours stands highest. */
function peakOf(stack: Float64Array): number {
  const bins = stack.length;
  let top = 0;
  for (let i = 1; i < bins; i++) if (stack[i] > stack[top]) top = i;
  const reach = 3;
  // Least squares on 2 reach + 1 points: y = a + b j + c j^2.
  let s1 = 0;
  let s2 = 0;
  let s0 = 0;
  for (let j = -reach; j <= reach; j++) {
    const value = stack[(top + j + bins) % bins];
    s0 += value;
    s1 += j * value;
    s2 += j * j * value;
  }
  const m2 = 28;
  const m4 = 196;
  const b = s1 / m2;
  const c = (s2 - (m2 / 7) * s0) / (m4 - (m2 * m2) / 7);
  const shift = c < 0 ? -b / (2 * c) : 0;
  return top + Math.max(-reach, Math.min(reach, shift));
}

/** Frames of one set-up together; null where none shows spikes, or where they disagree. */
export function spikesTogether(frames: readonly (SpikeAngle | SpikesUnseen)[]): SpikeAngle | null {
  const seen = frames.filter((frame) => 'angle' in frame);
  const [first] = seen;
  if (first === undefined || seen.some((frame) => frame.period !== first.period)) return null;
  const { period } = first;
  const away = (angle: number): number => ((angle - first.angle + 1.5 * period) % period) - period / 2;
  let weight = 0;
  let sum = 0;
  for (const { angle, error } of seen) {
    weight += error ** -2;
    sum += away(angle) / error ** 2;
  }
  const mean = sum / weight;
  const pulls = seen.map(({ angle, error }) => (away(angle) - mean) / error);
  if (pulls.some((pull) => Math.abs(pull) > MOST_PULL)) return null;
  const spread = Math.sqrt(pulls.reduce((total, pull) => total + pull * pull, 0) / Math.max(1, seen.length - 1));
  return {
    angle: (((first.angle + mean) % period) + period) % period,
    // The cross of each frame is on the same pixels: the floor does not average down.
    error: Math.max(ERROR_FLOOR, Math.max(1, spread) / Math.sqrt(weight)),
    period,
    stars: seen.reduce((total, frame) => total + frame.stars, 0),
  };
}
