import type { Change } from './againstRecord.ts';
import type { Comparability } from './comparability.ts';
import type { Measured, Report, Vector } from './record.ts';

type Pair<T> = readonly [before: T, after: T];

/** What changed from one report to another, each with its error: the root of the sum of both sides' squares. */
export function changesOf(before: Report, after: Report, { comparable, turned, alike }: Comparability): Change[] {
  if (comparable === 'nothing') return [];
  const turn = comparable === 'directions' ? turned : null;
  const pair = <T>(of: (report: Report) => T | null): Pair<T> | null => {
    const [one, two] = [of(before), of(after)];
    return one === null || two === null ? null : [one, two];
  };
  const sameScale = pair((report) => report.scale.arcsecPerPx);
  const scalesAgree = sameScale === null || Math.abs(sameScale[1] / sameScale[0] - 1) < 0.02;
  return [
    alike ? vectorChange('coma', 'coma3', pair(comaOf), 1, turn) : null,
    vectorChange('primary-tilt', 'arcmin', pair(primaryTiltOf), 1, turn),
    vectorChange('sensor-tilt', 'um', pair(sensorTiltOf), 2, turn) ??
      scalarChange(
        'sensor-tilt',
        'um',
        pair((report) => report.field.defocus.tiltUm),
      ),
    // One focus leaves the sign of curvature open.
    scalarChange(
      'field-curvature',
      'um',
      pair((report) => unsigned(report.field.defocus.curvatureUm)),
    ),
    alike
      ? vectorChange(
          'trefoil',
          'trefoil3',
          pair((report) => report.field.trefoil.uniform3),
          3,
          turn,
        )
      : null,
    scalesAgree
      ? (vectorChange('smear', 'px', pair(smearOf), 2, turn) ??
        scalarChange(
          'smear',
          'px',
          pair((report) => report.field.smear.px),
        ))
      : null,
    scalarChange(
      'fwhm',
      'arcsec',
      pair((report) => meanOf(report.zones.map((zone) => zone.fwhmArcsec))),
    ) ??
      (scalesAgree
        ? scalarChange(
            'fwhm',
            'px',
            pair((report) => meanOf(report.zones.map((zone) => zone.fwhmPx))),
          )
        : null),
  ].filter((change) => change !== null);
}

/** Coma counts only where the diagnosis trusts it: a smear to one side hides it. */
export function comaOf(report: Report): Vector | null {
  const finding = report.findings.find(({ cause }) => cause === 'miscollimation');
  return finding === undefined || report.verdict === 'inconclusive' || finding.status === 'not-measurable'
    ? null
    : report.field.coma.uniform3;
}

/** Along the coma tail, arcminutes; the error is half the interval that one focus leaves open. */
function primaryTiltOf(report: Report): Vector | null {
  const coma = comaOf(report);
  const tilt = report.field.coma.mirrorTilt;
  if (coma === null || tilt === null) return null;
  const length = Math.hypot(coma.x, coma.y);
  const scale = length > 0 ? tilt.arcmin / length : 0;
  return { x: coma.x * scale, y: coma.y * scale, error: (tilt.minus + tilt.plus) / 2 };
}

/** Amount along twice its axis: which side is too near does not matter then. Null where no axis was seen. */
function sensorTiltOf({ field }: Report): Vector | null {
  const { tiltUm, axisDeg, axisErrorDeg } = field.defocus;
  return tiltUm === null || axisDeg === null ? null : doubled(tiltUm, axisDeg, axisErrorDeg ?? 0);
}

function smearOf({ field }: Report): Vector | null {
  const { px, axisDeg, axisErrorDeg } = field.smear;
  return px === null || axisDeg === null ? null : doubled(px, axisDeg, axisErrorDeg ?? 0);
}

function doubled({ value, error }: Measured, axisDeg: number, axisErrorDeg: number): Vector {
  const angle = 2 * radians(axisDeg);
  return {
    x: value * Math.cos(angle),
    y: value * Math.sin(angle),
    error: Math.max(error, 2 * radians(axisErrorDeg) * value),
  };
}

const radians = (deg: number): number => (deg * Math.PI) / 180;

const unsigned = (value: Measured | null): Measured | null =>
  value === null ? null : { value: Math.abs(value.value), error: value.error };

function meanOf(values: readonly (Measured | null)[]): Measured | null {
  const known = values.filter((value) => value !== null);
  if (known.length === 0) return null;
  return {
    value: known.reduce((sum, { value }) => sum + value, 0) / known.length,
    error: Math.hypot(...known.map(({ error }) => error)) / known.length,
  };
}

function scalarChange(quantity: Change['quantity'], unit: string, pair: Pair<Measured> | null): Change | null {
  if (pair === null) return null;
  const [before, after] = pair;
  const change = { value: after.value - before.value, error: Math.hypot(before.error, after.error) };
  return {
    quantity,
    unit,
    before: plain(before),
    after: plain(after),
    change,
    vector: null,
    significance: sigmas(change.value, change.error),
  };
}

const plain = ({ value, error }: Measured): Measured => ({ value, error });

function vectorChange(
  quantity: Change['quantity'],
  unit: string,
  pair: Pair<Vector> | null,
  spin: 1 | 2 | 3,
  turn: Comparability['turned'],
): Change | null {
  if (pair === null) return null;
  const [before, after] = pair;
  const amounts = scalarChange(quantity, unit, [lengthOf(before), lengthOf(after)]);
  if (amounts === null || turn === null) return amounts;
  const old = turnedBy(before, spin, turn);
  const vector = { x: after.x - old.x, y: after.y - old.y, error: Math.hypot(old.error, after.error) };
  return { ...amounts, vector, significance: sigmas(Math.hypot(vector.x, vector.y), vector.error) };
}

const lengthOf = ({ x, y, error }: Vector): Measured => ({ value: Math.hypot(x, y), error });

/** A vector of some spin as it lies on the screen of a camera that was turned. */
export function turnedBy(
  vector: Vector,
  spin: 1 | 2 | 3,
  { deg, errorDeg }: { readonly deg: number; readonly errorDeg: number },
): Vector {
  const angle = spin * radians(deg);
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  return {
    x: vector.x * cos - vector.y * sin,
    y: vector.x * sin + vector.y * cos,
    error: Math.hypot(vector.error, Math.hypot(vector.x, vector.y) * spin * radians(errorDeg)),
  };
}

const sigmas = (value: number, error: number): number => (error > 0 ? Math.abs(value) / error : 0);
