import type { FrameFacts } from '../frame/frame.ts';
import type { FrameMeasurement } from '../measure.ts';
import { median } from '../numeric/statistics.ts';
import { elongationOf } from '../shapes/shape.ts';

/** What the measuring of one sub told, in a few numbers. */
export interface SubSummary {
  /** Hexadecimal SHA-256 of the file: the same bytes are one sub, whatever the name. */
  readonly sha256: string;
  readonly width: number;
  readonly height: number;
  readonly starsFound: number;
  readonly starsFitted: number;
  /** Medians over the usable stars; null without one. */
  readonly fwhmPx: number | null;
  readonly elongation: number | null;
  readonly facts: SubFacts;
}

/** What is kept of a measured sub for good: enough for the strip, the sets and a restart without measuring again. */
export interface SubRecord extends SubSummary {
  /** Below the watched folder, with '/'. */
  readonly file: string;
  readonly sizeBytes: number;
  readonly mtimeMs: number;
  /** ISO 8601, UTC: when the verdict stood. */
  readonly measuredAt: string;
  /** Running set this sub belongs to. */
  readonly set: number;
  /** Why nothing could be measured; null when it could. */
  readonly problem: string | null;
}

/** The header's part in telling whether something was moved. */
export interface SubFacts {
  readonly dateObs: string | null;
  readonly exposureS: number | null;
  readonly filter: string | null;
  readonly object: string | null;
  readonly focusPosition: number | null;
  readonly focusStepUm: number | null;
  readonly altitudeDeg: number | null;
  readonly azimuthDeg: number | null;
  readonly pierSide: 'east' | 'west' | null;
  readonly camera: string | null;
  readonly mosaic: boolean;
}

export function subFacts(facts: FrameFacts, mosaic: boolean): SubFacts {
  return {
    dateObs: facts.dateObs?.value ?? null,
    exposureS: facts.exposureS?.value ?? null,
    filter: facts.filter?.value ?? null,
    object: facts.object?.value ?? null,
    focusPosition: facts.focusPosition?.value ?? null,
    focusStepUm: facts.focusStepUm?.value ?? null,
    altitudeDeg: facts.altitudeDeg?.value ?? null,
    azimuthDeg: facts.azimuthDeg?.value ?? null,
    pierSide: facts.pierSide?.value ?? null,
    camera: facts.camera?.value ?? null,
    mosaic,
  };
}

export const NO_SUB_FACTS: SubFacts = {
  dateObs: null,
  exposureS: null,
  filter: null,
  object: null,
  focusPosition: null,
  focusStepUm: null,
  altitudeDeg: null,
  azimuthDeg: null,
  pierSide: null,
  camera: null,
  mosaic: false,
};

/** Median FWHM in pixels and elongation of one sub's usable stars. */
export function typicalShape({ stars }: FrameMeasurement): { fwhmPx: number | null; elongation: number | null } {
  if (stars.shapes.length === 0) return { fwhmPx: null, elongation: null };
  return { fwhmPx: median(stars.shapes.map((s) => s.fwhm)), elongation: median(stars.shapes.map(elongationOf)) };
}

/** A file in which nothing could be measured. */
export const nothingMeasured = (sha256: string): SubSummary => ({
  sha256,
  width: 0,
  height: 0,
  starsFound: 0,
  starsFitted: 0,
  fwhmPx: null,
  elongation: null,
  facts: NO_SUB_FACTS,
});

/** The summary alone, of something that holds more. */
export function summaryOfSub(sub: SubSummary): SubSummary {
  const { sha256, width, height, starsFound, starsFitted, fwhmPx, elongation, facts } = sub;
  return { sha256, width, height, starsFound, starsFitted, fwhmPx, elongation, facts };
}
