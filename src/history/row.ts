/**
 * What history keeps of one check and of one event, flat enough to be trended. Directions and vectors are those of the
 * report: on the SCREEN, degrees counter-clockwise from right, x right, y up. Errors are 1 sigma. A missing value is null.
 */

export interface Measured {
  readonly value: number;
  readonly error: number;
}

/** `error` is that of each component. */
export interface Vector {
  readonly x: number;
  readonly y: number;
  readonly error: number;
}

/**
 * How the camera stands in the tube. A direction in the tube's frame is the direction on the screen less `deg`, wherever
 * two checks have the same `from` (another source, or none, is another zero point).
 */
export interface CameraAngle {
  /** Direction on the screen of a mark that is fixed to the tube. */
  readonly deg: number;
  /** 0 where it was told. */
  readonly errorDeg: number;
  /** 'rig': told by the user; 'header': a rotator of known sense; 'spikes': measured on diffraction spikes. */
  readonly from: 'rig' | 'header' | 'spikes';
  /** 360, or the turn after which the measurement repeats: 90 for the spikes of four vanes. */
  readonly moduloDeg: number;
}

/** One check. */
export interface CheckRow {
  readonly id: number;
  /** Middle of the subs, UTC, ISO 8601 with Z and milliseconds; that of the report where no sub tells (`timeFrom`). */
  readonly time: string;
  readonly timeFrom: 'subs' | 'report';
  /** When the report was made, UTC. */
  readonly created: string;
  /** Name of the rig; null where none was used. */
  readonly rig: string | null;
  readonly telescope: string | null;
  readonly camera: string | null;
  readonly filter: string | null;
  /** Subs used, their exposures together, and the stars fitted in all of them. */
  readonly subs: number;
  readonly exposureS: number | null;
  readonly stars: number;
  readonly widthPx: number | null;
  readonly heightPx: number | null;

  /** Mean of the subs, above the horizon. */
  readonly altitudeDeg: number | null;
  /** Mean direction of the subs, from north over east. */
  readonly azimuthDeg: number | null;
  readonly pierSide: 'east' | 'west' | null;
  readonly temperatureC: number | null;
  /** 'ambient': of the air; 'focuser': of the focuser's sensor, which follows the tube. Never the cooled sensor's. */
  readonly temperatureFrom: 'ambient' | 'focuser' | null;
  readonly focuserPosition: number | null;
  /** As the header tells it, whatever its zero and sense: equal means not turned. */
  readonly rotatorAngleDeg: number | null;
  readonly cameraAngle: CameraAngle | null;
  /** Measured direction of a diffraction spike on the screen, the same again after every `moduloDeg`. */
  readonly spikeAngle: { readonly deg: number; readonly errorDeg: number; readonly moduloDeg: number } | null;

  readonly pixelUm: number | null;
  /** Effective: with the corrector or reducer. */
  readonly focalLengthMm: number | null;
  readonly primaryFocalLengthMm: number | null;
  readonly apertureMm: number | null;
  readonly arcsecPerPx: number | null;

  /** Uniform over the field, along the coma tail: dimensionless, and as W131 in um. */
  readonly coma3: Vector | null;
  readonly comaUm: Vector | null;
  /** [arcmin - minus, arcmin + plus] holds 68 %. */
  readonly mirrorTilt: { readonly arcmin: number; readonly minus: number; readonly plus: number } | null;
  /** Edge to edge; the axis has no arrow head (0..180) and is null where the tilt is not significant. */
  readonly sensorTilt: {
    readonly um: Measured;
    readonly upperLimitUm: number | null;
    readonly axisDeg: number | null;
    readonly axisErrorDeg: number | null;
  } | null;
  /** Corner minus centre. */
  readonly curvatureUm: Measured | null;
  /** Distortion e, uniform over the field, spin 2: the axis is half the vector's angle. */
  readonly astigmatism: Vector | null;
  readonly astigmatismRadial: Measured | null;
  /** Uniform, spin 3. */
  readonly trefoil3: Vector | null;
  readonly smearPx: Measured | null;
  readonly smearAxisDeg: number | null;
  /** Of the sharpest of the nine zones: what seeing and focus left at best. */
  readonly fwhmFloorPx: Measured | null;
  readonly fwhmFloorArcsec: Measured | null;
  /** Major/minor axis, median of the zones. */
  readonly elongation: Measured | null;

  readonly verdict: 'good' | 'adjust' | 'inconclusive';
  readonly headline: string;
  /** Causes that were faults, as named in the report. */
  readonly faults: readonly string[];
  /** Of the subs used, lower-case hexadecimal, sorted. */
  readonly sha256: readonly string[];
  readonly reportVersion: number;
}

/** Something done to the telescope or worth knowing: 'adjustment' starts a new stretch of the trend, 'note' does not. */
export interface EventRow {
  readonly id: number;
  /** When it happened, UTC, ISO 8601 with Z and milliseconds. */
  readonly time: string;
  /** The rig it concerns; null concerns all. */
  readonly rig: string | null;
  readonly kind: 'adjustment' | 'note';
  readonly text: string;
}
