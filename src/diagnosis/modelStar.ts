import { vectorLength, vectorSignificance } from '../field/frameStars.ts';
import { gridFor, type ImageConditions, maxHalfSize, type Psf, stampAt, starImage } from '../optics/psf.ts';
import { STEADY } from '../optics/smear.ts';
import { type Coefficients, NO_ABERRATION, toDefocus, UM_PER_RMS } from '../optics/wavefront.ts';
import { measureStar } from '../shapes/measureStar.ts';
import type { Shape } from '../shapes/shape.ts';
import type { Source } from '../shapes/stamp.ts';
import { type Amounts, filterName, smearWidth } from './amounts.ts';
import { telescopeFor } from './drawnStar.ts';
import { DETECT_SIGMAS } from './finding.ts';
import { defocusUmAt, type FieldPoint } from './focalSurface.ts';
import { driftLength } from './motionFindings.ts';

import type { Response } from './response.ts';
import type { Setup } from './setup.ts';

/** What of the fitted state a drawn star shows. */
export interface ModelParts {
  readonly coma: boolean;
  readonly defocus: boolean;
  readonly trefoil: boolean;
  readonly smear: boolean;
}

export const ALL_PARTS: ModelParts = { coma: true, defocus: true, trefoil: true, smear: true };

/** A star drawn from the fitted amounts and measured as the subs' stars are: pixels and shape, stored axes. */
export interface DrawnStar {
  readonly source: Source;
  readonly shape: Shape;
}

/** Light of a drawn star, ADU and electrons: bright enough that no noise shows. */
const LIGHT = 1e6;
/** The box of a drawn star, in FWHM of seeing: its sky is looked for out to 4 FWHM from the centre. */
const BOX_FWHM = 11;
const SEEING_ROUNDS = 6;
/** Steps of the two-dimensional golden ratio (its plastic number): phases that fill the pixel evenly (Roberts 2018). */
const PHASE_STEPS = [0.7548776662466927, 0.5698402909980532] as const;

/** Coma's coefficient at a place, um along the tail. */
function comaAt(amounts: Amounts, response: Response, { u, v }: FieldPoint): Coefficients['c'] {
  const { optics, coma, smooth, node, retrieved } = amounts;
  if (retrieved !== null) return retrieved.coma;
  if (node !== null) {
    const perUnit = (1000 * amounts.halfDiagonalMm) / (32 * (optics.primaryFocalLengthMm / optics.apertureMm) ** 3);
    return { x: (u - node.u) * perUnit, y: (v - node.v) * perUnit };
  }
  const linear = smooth.coma.linear.value;
  const there = { x: coma.x + linear * u, y: coma.y + linear * v };
  const length = vectorLength(there);
  const middle = response.comaUm(vectorLength(coma));
  // One focus leaves an interval for the coma; the same share of it everywhere.
  const share = amounts.comaUm === null || middle === 0 ? 1 : amounts.comaUm.value / middle;
  const perShape = length === 0 ? 0 : (share * response.comaUm(length)) / length;
  return { x: perShape * there.x, y: perShape * there.y };
}

/** Wavefront at a place of the field from the fitted amounts; null without a model of the telescope. */
function stateAt(amounts: Amounts, setup: Setup, at: FieldPoint, parts: ModelParts): ImageState | null {
  const { response, optics, trefoil, smear, retrieved } = amounts;
  if (response === null) return null;
  const seen = vectorSignificance(trefoil) >= DETECT_SIGMAS ? vectorLength(trefoil) : 0;
  const t = seen === 0 ? 0 : (UM_PER_RMS.t * response.trefoilRmsUm(seen)) / seen;
  const drift = vectorSignificance(smear) >= DETECT_SIGMAS ? driftLength(vectorLength(smear), smearWidth(amounts)) : 0;
  const axis = 0.5 * Math.atan2(smear.y, smear.x);
  const driftUm = parts.smear ? drift * optics.pixelUm : 0;
  return {
    coefficients: {
      ...NO_ABERRATION,
      ...(parts.coma && { c: comaAt(amounts, response, at) }),
      ...(parts.trefoil && { t: retrieved?.trefoil ?? { x: t * trefoil.x, y: t * trefoil.y } }),
      ...(parts.defocus && { d: toDefocus(telescopeFor(optics), defocusUmAt(amounts, setup, at)) }),
    },
    conditions: {
      pixelUm: optics.pixelUm,
      filter: filterName(setup.filter, setup.mosaic),
      recentred: true,
      smear: { ...STEADY, driftUm: { x: driftUm * Math.cos(axis), y: driftUm * Math.sin(axis) } },
    },
  };
}

interface ImageState {
  readonly coefficients: Coefficients;
  readonly conditions: Omit<ImageConditions, 'seeingArcsec'>;
}

function draw(amounts: Amounts, { coefficients, conditions }: ImageState, seeingArcsec: number): Psf {
  const telescope = telescopeFor(amounts.optics);
  const whole = { ...conditions, seeingArcsec };
  return starImage(telescope, coefficients, { ...whole, grid: gridFor(telescope, coefficients, whole, BOX_FWHM) });
}

function starAt(psf: Psf, x: number, y: number, fwhm: number): DrawnStar | null {
  const half = maxHalfSize(psf);
  const width = 2 * half + 1;
  const data = Float32Array.from(stampAt(psf, x, y, half), (v) => v * LIGHT);
  const peak = data.reduce((a, b) => Math.max(a, b), 0);
  const source: Source = { data, width, height: width, mask: null, greenParity: null };
  const guess = { x: half + x, y: half + y, fwhm, peak, sky: 0, noise: peak * 1e-4, gainEPerAdu: LIGHT };
  const measured = measureStar(source, guess);
  return measured.status === 'measured' ? { source, shape: measured.shape } : null;
}

/** Seeing with which the star drawn at a place is as wide as the measured one; the response's own where none is. */
export function seeingAt(amounts: Amounts, setup: Setup, at: FieldPoint, fwhmPx: number): number | null {
  const state = stateAt(amounts, setup, at, ALL_PARTS);
  if (state === null || amounts.response === null) return null;
  const scale = (206.264806 * amounts.optics.pixelUm) / amounts.optics.focalLengthMm;
  let seeing = amounts.response.seeingArcsec;
  for (let round = 0; round < SEEING_ROUNDS; round++) {
    const width = starAt(draw(amounts, state, seeing), 0, 0, fwhmPx)?.shape.fwhm;
    if (width === undefined) return null;
    if (Math.abs(width - fwhmPx) < 2e-3 * fwhmPx) break;
    // Squares of widths nearly add.
    seeing = Math.sqrt(Math.max((0.3 * seeing) ** 2, seeing ** 2 + (fwhmPx ** 2 - width ** 2) * scale ** 2));
  }
  return seeing;
}

/** Stars of one place at `count` sub-pixel phases, as the optics draw them from the fitted amounts. */
export function modelStars(
  amounts: Amounts,
  setup: Setup,
  at: FieldPoint,
  seeingArcsec: number,
  parts: ModelParts,
  count: number,
): DrawnStar[] {
  const state = stateAt(amounts, setup, at, parts);
  if (state === null) return [];
  const psf = draw(amounts, state, seeingArcsec);
  return Array.from({ length: count }, (_, i) => {
    const phase = (step: number): number => ((0.5 + (i + 1) * step) % 1) - 0.5;
    return starAt(psf, phase(PHASE_STEPS[0]), phase(PHASE_STEPS[1]), amounts.response?.focusedFwhmPx ?? 3);
  }).flatMap((star) => star ?? []);
}
