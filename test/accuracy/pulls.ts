import type { Cause } from '../../src/diagnosis/finding.ts';
import { CAUSE_NAMES } from './judge.ts';
import type { Outcome } from './runCase.ts';

/** One number of one record beside what was drawn. */
export interface Pull {
  readonly index: number;
  readonly name: string;
  readonly value: number;
  readonly error: number;
  readonly truth: number;
}

/** A direction of one record beside what was drawn, degrees. */
export interface DirectionMiss {
  readonly index: number;
  readonly cause: Cause;
  readonly off: number;
  readonly error: number;
  readonly significance: number;
}

/** Numbers of the record that have a truth; vectors by component. */
export const NUMBERS = [
  'coma, um',
  'coma3',
  'focal-plane tilt, um',
  'curvature, um',
  'drift, px',
  'trefoil3',
  'distortion, uniform',
  'distortion, radial',
  'node, mm',
] as const;

interface Vector {
  readonly x: number;
  readonly y: number;
}

/** Amounts below this share of their tolerance have no direction or length to be held against. */
const LEAST_RATIO = 0.1;

export function pullsOf({ drawn, truth, report }: Outcome): Pull[] {
  const { coma, defocus, smear, astigmatism, trefoil } = report.field;
  const found: Pull[] = [];
  const number = (name: (typeof NUMBERS)[number], value: number, error: number, real: number): void => {
    found.push({ index: drawn.index, name, value, error, truth: real });
  };
  const vector = (
    name: (typeof NUMBERS)[number],
    value: (Vector & { error: number }) | null,
    real: Vector | null,
  ): void => {
    if (value === null || real === null) return;
    number(name, value.x, value.error, real.x);
    number(name, value.y, value.error, real.y);
  };
  vector('coma, um', coma.uniformUm, truth.comaUm);
  vector('coma3', coma.uniform3, truth.coma3);
  vector('trefoil3', trefoil.uniform3, truth.trefoil3);
  vector('distortion, uniform', astigmatism.uniform, truth.distortion?.uniform ?? null);
  if (astigmatism.radial !== null && truth.distortion !== null)
    number('distortion, radial', astigmatism.radial.value, astigmatism.radial.error, truth.distortion.radial);
  if (coma.node !== null && truth.nodeMm !== null) {
    number('node, mm', coma.node.xMm, coma.node.errorMm, truth.nodeMm.x);
    number('node, mm', coma.node.yMm, coma.node.errorMm, truth.nodeMm.y);
  }
  if (defocus.tiltUm !== null && (truth.causes['sensor-tilt'].ratio ?? 0) >= LEAST_RATIO)
    number('focal-plane tilt, um', defocus.tiltUm.value, defocus.tiltUm.error, truth.tiltUm);
  if (defocus.curvatureUm !== null && (truth.causes['corrector-spacing'].ratio ?? 0) >= LEAST_RATIO)
    number('curvature, um', Math.abs(defocus.curvatureUm.value), defocus.curvatureUm.error, truth.curvatureUm);
  if (smear.px !== null && truth.driftPx !== null && (truth.causes.tracking.ratio ?? 0) >= LEAST_RATIO)
    number('drift, px', smear.px.value, smear.px.error, truth.driftPx);
  return found;
}

export function directionsOf({ drawn, truth, report }: Outcome): DirectionMiss[] {
  return CAUSE_NAMES.flatMap((cause) => {
    const real = truth.causes[cause];
    const finding = report.findings.find((f) => f.cause === cause);
    if (!finding || real.directionDeg === null || (real.ratio ?? 0) < LEAST_RATIO) return [];
    // Of a smear that air and mount share neither's direction is its own.
    const rival =
      cause === 'tracking' ? truth.causes.dispersion : cause === 'dispersion' ? truth.causes.tracking : null;
    if (rival !== null && (rival.ratio ?? 0) > 0.3 * (real.ratio ?? 0)) return [];
    const told = finding.directionDeg ?? finding.axisDeg;
    const error = finding.directionErrorDeg ?? finding.axisErrorDeg;
    if (told === null || error === null || finding.significance === null) return [];
    const d = (((told - real.directionDeg) % real.period) + real.period) % real.period;
    return [
      { index: drawn.index, cause, off: Math.min(d, real.period - d), error, significance: finding.significance },
    ];
  });
}
