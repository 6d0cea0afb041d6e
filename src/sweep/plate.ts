/** A tilt plate or a set of shims: screws evenly on a circle about the middle of the sensor. */
export interface Plate {
  /** Radius of the screws' circle, mm. */
  readonly radiusMm: number;
  /** Thread pitch, mm a turn; null for shims. */
  readonly pitchMm: number | null;
  readonly screws: number;
  /** Where the first screw stands on the screen, degrees counter-clockwise from right. */
  readonly firstDeg: number;
}

export interface ScrewMove {
  readonly directionDeg: number;
  /** How far the plate must move there, um, the way the camera moves for larger readings; negative: the other way. */
  readonly travelUm: number;
  readonly errorUm: number;
  readonly turns: number | null;
  /** Thickness between telescope and camera that does the same, um; null where it is not known which way is out. */
  readonly shimUm: number | null;
}

/**
 * Travel of each screw that squares a sensor whose best focus changes by `gradient` um/mm (screen axes): h = R g.n, which
 * leaves the middle of the sensor where it is.
 */
export function plateMoves(
  plate: Plate,
  gradient: { readonly x: number; readonly y: number; readonly error: number },
  largerReadings: 'in' | 'out' | null,
): ScrewMove[] {
  const moves = Array.from({ length: plate.screws }, (_, i) => {
    const directionDeg = (((plate.firstDeg + (360 * i) / plate.screws) % 360) + 360) % 360;
    const angle = (directionDeg * Math.PI) / 180;
    const travelUm = plate.radiusMm * (gradient.x * Math.cos(angle) + gradient.y * Math.sin(angle));
    return { directionDeg, travelUm };
  });
  // A shim moves the camera out.
  const outward = largerReadings === 'in' ? -1 : 1;
  const least = Math.min(...moves.map((m) => outward * m.travelUm));
  return moves.map(({ directionDeg, travelUm }) => ({
    directionDeg,
    travelUm,
    errorUm: plate.radiusMm * gradient.error,
    turns: plate.pitchMm === null ? null : travelUm / 1000 / plate.pitchMm,
    shimUm: largerReadings === null ? null : outward * travelUm - least,
  }));
}
