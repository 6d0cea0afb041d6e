import { smearWidth, widthOf } from '../diagnosis/amounts.ts';
import { turned } from '../diagnosis/comaBesideSmear.ts';
import type { Finding as DiagnosisFinding } from '../diagnosis/finding.ts';
import { DETECT_SIGMAS } from '../diagnosis/finding.ts';
import { curvatureAmount, tiltAmount, tiltAxis, tiltSignificance } from '../diagnosis/focalPlane.ts';
import { comaHiddenBy, mirrorTiltArcmin } from '../diagnosis/miscollimation.ts';
import { driftOf } from '../diagnosis/motionFindings.ts';
import { comaVectorUm, smearsOf } from '../diagnosis/refined.ts';
import { arcsecPerPx } from '../diagnosis/setup.ts';
import { trefoilIsHidden, trefoilPhase } from '../diagnosis/strain.ts';
import { vectorLength, vectorSignificance } from '../field/frameStars.ts';
import type { Zone as FieldZone } from '../field/zones.ts';
import type { Frame, FrameFacts } from '../frame/frame.ts';
import type { FrameMeasurement, Measurement } from '../measure.ts';
import { median } from '../numeric/statistics.ts';
import { elongationOf } from '../shapes/shape.ts';
import { spikesTogether } from '../stars/spikes.ts';
import { notesOf } from './notes.ts';
import type { Finding, FrameRecord, Report, Zone } from './record.ts';
import { REPORT_FORMAT, REPORT_VERSION } from './reportFormat.ts';
import { type Screen, screenOf } from './screen.ts';
import { wavefrontRecord } from './wavefrontRecord.ts';

/** What the record says beside the measurement. */
export interface ReportContext {
  /** ISO 8601, UTC. */
  readonly created: string;
  readonly tool: { readonly name: string; readonly version: string };
  /** The measured frames, in the order of the measurement. */
  readonly frames: readonly Frame[];
  /** Hexadecimal SHA-256 of each measured file, where it was taken. */
  readonly sha256?: readonly (string | null)[];
  /** Inputs that could not be used, with the reason. */
  readonly rejected?: readonly { readonly file: string; readonly why: string }[];
  readonly settings?: Report['settings'];
  readonly rig?: string | null;
  readonly cameraAngle?: Report['cameraAngle'];
  readonly notes?: readonly string[];
}

/** The record: everything turned to the screen and to units with names. */
export function composeReport(measurement: Measurement, context: ReportContext): Report {
  const { diagnosis, setup, orientation, field } = measurement;
  const screen = screenOf(setup.width, setup.height, orientation.screenY);
  const scale = arcsecPerPx(setup);
  const zones = field.zones
    .map((zone) => zoneRecord(zone, screen, scale))
    .sort((a, b) => a.row - b.row || a.column - b.column);
  return {
    format: REPORT_FORMAT,
    version: REPORT_VERSION,
    created: context.created,
    tool: context.tool,
    verdict: diagnosis.verdict,
    headline: diagnosis.headline,
    needs: diagnosis.needs,
    frames: [
      ...measurement.frames.map((frame, i) => frameRecord(frame, context.frames[i], context.sha256?.[i] ?? null)),
      ...(context.rejected ?? []).map(rejectedRecord),
    ],
    rig: context.rig ?? null,
    scale: {
      pixelUm: setup.pixelUm.value,
      focalLengthMm: setup.focalLengthMm.value,
      primaryFocalLengthMm: setup.primaryFocalLengthMm.value,
      apertureMm: setup.apertureMm.value,
      arcsecPerPx: scale,
      corrector: correctorRecord(measurement),
      from: {
        pixelUm: setup.pixelUm.from,
        focalLengthMm: setup.focalLengthMm.from,
        primaryFocalLengthMm: setup.primaryFocalLengthMm.from,
        apertureMm: setup.apertureMm.from,
        corrector: setup.corrector.from,
      },
    },
    cameraAngle: context.cameraAngle ?? null,
    wavefront: wavefrontRecord(measurement, screen),
    orientation: {
      rowOrder: orientation.rowOrder,
      assumed: orientation.assumed,
      spikes: spikesRecord(measurement, screen),
    },
    zones,
    field: fieldRecord(measurement, screen),
    findings: diagnosis.findings.map((finding) => findingRecord(finding, screen)),
    against: null,
    notes: [...notesOf(measurement), ...(context.notes ?? [])],
    settings: context.settings ?? {},
  };
}

function spikesRecord({ frames }: Measurement, screen: Screen): Report['orientation']['spikes'] {
  const together = spikesTogether(frames.map((frame) => frame.spikes));
  if (together === null) return null;
  const periodDeg = degrees(together.period);
  return {
    angleDeg: screen.directionDeg(together.angle) % periodDeg,
    errorDeg: degrees(together.error),
    periodDeg,
    stars: together.stars,
  };
}

function frameRecord(measured: FrameMeasurement, frame: Frame | undefined, sha256: string | null): FrameRecord {
  const { shapes } = measured.stars;
  const facts = frame?.facts;
  return {
    file: measured.stars.name,
    used: shapes.length > 0,
    whyNot: shapes.length > 0 ? null : 'no usable star',
    width: measured.stars.width,
    height: measured.stars.height,
    dateObs: facts?.dateObs?.value ?? null,
    exposureS: facts?.exposureS?.value ?? null,
    filter: facts?.filter?.value ?? null,
    starsFound: measured.found,
    starsFitted: shapes.length,
    leftOut: { ...measured.leftOut },
    fwhmPx: shapes.length === 0 ? null : median(shapes.map((s) => s.fwhm)),
    elongation: shapes.length === 0 ? null : median(shapes.map(elongationOf)),
    camera: facts?.camera?.value ?? null,
    focusPosition: facts?.focusPosition?.value ?? null,
    altitudeDeg: facts?.altitudeDeg?.value ?? null,
    telescope: facts?.telescope?.value ?? null,
    azimuthDeg: facts?.azimuthDeg?.value ?? null,
    pierSide: facts?.pierSide?.value ?? null,
    ...temperatureOf(facts),
    rotatorDeg: facts?.rotatorDeg?.value ?? null,
    sha256,
    moffat:
      measured.moffat === null
        ? null
        : { stars: measured.moffat.stars, beta: measured.moffat.beta, fwhmPx: measured.moffat.fwhm },
    notes: [...(frame?.notes ?? [])],
  };
}

/** The air's, or else the focuser's, which follows the tube; a cooled sensor tells nothing of either. */
function temperatureOf(facts: FrameFacts | undefined): Pick<FrameRecord, 'temperatureC' | 'temperatureFrom'> {
  const ambient = facts?.ambientTemperatureC?.value;
  if (ambient !== undefined) return { temperatureC: ambient, temperatureFrom: 'ambient' };
  const focuser = facts?.focusTemperatureC?.value;
  return { temperatureC: focuser ?? null, temperatureFrom: focuser === undefined ? null : 'focuser' };
}

function rejectedRecord(rejected: { readonly file: string; readonly why: string }): FrameRecord {
  return {
    file: rejected.file,
    used: false,
    whyNot: rejected.why,
    width: null,
    height: null,
    dateObs: null,
    exposureS: null,
    filter: null,
    starsFound: 0,
    starsFitted: 0,
    leftOut: {},
    fwhmPx: null,
    elongation: null,
    camera: null,
    focusPosition: null,
    altitudeDeg: null,
    telescope: null,
    azimuthDeg: null,
    pierSide: null,
    temperatureC: null,
    temperatureFrom: null,
    rotatorDeg: null,
    sha256: null,
    moffat: null,
    notes: [],
  };
}

/** Told, or recognised from how the coma grows over the field. */
function correctorRecord({ setup, diagnosis }: Measurement): Report['scale']['corrector'] {
  const { present, magnification } = setup.corrector.value;
  if (present === 'unknown' && diagnosis.amounts?.optics.bare === true) return { present: false, magnification };
  return { present, magnification };
}

function zoneRecord(zone: FieldZone, screen: Screen, scale: number | null): Zone {
  const row = screen.zoneRow(zone.row);
  const { summary, column, stars } = zone;
  if (summary === null) {
    return {
      row,
      column,
      stars,
      fwhmPx: null,
      fwhmArcsec: null,
      elongation: null,
      axisDeg: null,
      axisErrorDeg: null,
      coma3: null,
      trefoil3: null,
    };
  }
  return {
    row,
    column,
    stars,
    fwhmPx: summary.fwhm,
    fwhmArcsec: scale === null ? null : { value: summary.fwhm.value * scale, error: summary.fwhm.error * scale },
    elongation: summary.elongation,
    axisDeg: screen.axisDeg(summary.theta.value),
    axisErrorDeg: degrees(summary.theta.error),
    coma3: screen.vector(summary.coma3),
    trefoil3: screen.vector(summary.trefoil3),
  };
}

const degrees = (radians: number): number => (radians * 180) / Math.PI;

function fieldRecord(measurement: Measurement, screen: Screen): Report['field'] {
  const { diagnosis, setup } = measurement;
  const amounts = diagnosis.amounts;
  if (amounts === null) return EMPTY_FIELD;
  const { smooth, size, coma, comaUm, physical, halfDiagonalMm: mm } = amounts;
  const hidden = comaHiddenBy(amounts) !== null;
  const comaVector = hidden ? null : comaVectorUm(amounts);
  const tilt = physical ? tiltAmount(amounts, setup) : null;
  const tiltSeen = size !== null && tiltSignificance(amounts, size) >= DETECT_SIGMAS;
  const curvature = physical ? curvatureAmount(amounts) : null;
  const smear = amounts.smear;
  const uniform = smooth.distortion.uniform;
  const { trefoil } = amounts;
  const { phase, phaseError } = trefoilPhase(amounts);
  const trefoilLength = vectorLength(trefoil);
  const trefoilSeen = vectorSignificance(trefoil) >= DETECT_SIGMAS;
  const drift = driftOf(smear, smearWidth(amounts), amounts.optics.bare);
  const smearSeen = vectorSignificance(smear) >= DETECT_SIGMAS;
  const dispersion = diagnosis.findings.find((f) => f.cause === 'dispersion' && f.status === 'fault');
  const [p, q, r, s] = smooth.distortion.linear;
  const centreUm = size === null ? null : centreOf(measurement);
  return {
    coma: {
      uniform3: hidden ? null : screen.vector(turned(coma, amounts.comaTurn)),
      linear3PerMm: physical ? { value: smooth.coma.linear.value / mm, error: smooth.coma.linear.error / mm } : null,
      uniformUm: comaVector === null ? null : screen.vector(comaVector),
      node:
        physical && amounts.node !== null
          ? {
              xMm: amounts.node.u * mm,
              yMm: screen.up(amounts.node.v * mm),
              errorMm: amounts.node.error * mm,
            }
          : null,
      mirrorTilt: physical && comaUm !== null && !hidden ? mirrorTilt(measurement) : null,
    },
    defocus: {
      centreUm,
      tiltUm: tilt === null ? null : { value: tilt.um, error: tilt.error },
      tiltUpperLimitUm: tilt === null ? null : tilt.upperLimit,
      axisDeg: tiltSeen ? screen.axisDeg(tiltAxis(amounts, size).angle) : null,
      axisErrorDeg: tiltSeen ? degrees(tiltAxis(amounts, size).error) : null,
      signKnown: false,
      curvatureUm: curvature === null ? null : { value: curvature.um, error: curvature.error },
    },
    smear: {
      px: drift,
      axisDeg: smearSeen ? screen.axisDeg(0.5 * Math.atan2(smear.y, smear.x)) : null,
      axisErrorDeg: smearSeen
        ? degrees(Math.min(Math.PI / 4, smear.error / (2 * Math.max(vectorLength(smear), 1e-12))))
        : null,
      skewRatio: amounts.skewRatio,
      perFrame: smearsOf(amounts).map(({ frame, distortion }) => ({
        file: measurement.frames[frame]?.stars.name ?? '',
        px: driftOf(distortion, widthOf(amounts, frame), amounts.optics.bare).value,
        axisDeg:
          vectorSignificance(distortion) >= DETECT_SIGMAS
            ? screen.axisDeg(0.5 * Math.atan2(distortion.y, distortion.x))
            : null,
      })),
    },
    dispersion:
      dispersion?.axis === null || dispersion === undefined
        ? null
        : { px: drift.value, axisDeg: screen.axisDeg(dispersion.axis), altitudeDeg: setup.altitudeDeg },
    astigmatism: {
      uniform: screen.vector(uniform),
      // e = a1 z + a1' conj(z): the part that third-order misalignment allows is a1.
      linearPerMm: physical
        ? screen.vector({
            x: (p + s) / 2 / mm,
            y: (r - q) / 2 / mm,
            error: smooth.distortion.linearError / Math.SQRT2 / mm,
          })
        : null,
      radial: smooth.distortion.radial,
    },
    trefoil: trefoilIsHidden(amounts)
      ? { uniform3: null, directionDeg: null, directionErrorDeg: null }
      : {
          uniform3: screen.vector({
            x: trefoilLength * Math.cos(phase),
            y: trefoilLength * Math.sin(phase),
            error: trefoil.error,
          }),
          directionDeg: trefoilSeen ? screen.trefoilDeg(phase) : null,
          directionErrorDeg: trefoilSeen ? degrees(Math.min(Math.PI / 6, phaseError / 3)) : null,
        },
  };
}

/** The sub nearest to its best focus stands for the centre; one focus leaves the sign open. */
function centreOf({ diagnosis }: Measurement): Report['field']['defocus']['centreUm'] {
  const amounts = diagnosis.amounts;
  const { size, response, physical, retrieved } = amounts ?? {};
  const fitted = retrieved?.perSub[0]?.focusUm;
  if (fitted !== undefined)
    return { value: Math.abs(fitted.value), error: (fitted.high - fitted.low) / 2, signKnown: false };
  if (!size || !response || physical !== true) return null;
  const centre = Math.abs(size.centre[0] ?? 0);
  const error = size.centreError[0] ?? 0;
  const value = response.defocusUm(centre);
  return { value, error: response.defocusUm(centre + error) - value, signKnown: false };
}

function mirrorTilt({ diagnosis }: Measurement): Report['field']['coma']['mirrorTilt'] {
  const amounts = diagnosis.amounts;
  if (amounts?.comaUm == null) return null;
  const arcmin = mirrorTiltArcmin(amounts.comaUm.value, amounts);
  return {
    arcmin,
    minus: arcmin - mirrorTiltArcmin(amounts.comaUm.low, amounts),
    plus: Math.max(0, mirrorTiltArcmin(amounts.comaUm.high, amounts) - arcmin),
  };
}

const EMPTY_FIELD: Report['field'] = {
  coma: { uniform3: null, linear3PerMm: null, uniformUm: null, node: null, mirrorTilt: null },
  defocus: {
    centreUm: null,
    tiltUm: null,
    tiltUpperLimitUm: null,
    axisDeg: null,
    axisErrorDeg: null,
    signKnown: false,
    curvatureUm: null,
  },
  smear: { px: null, axisDeg: null, axisErrorDeg: null, skewRatio: null, perFrame: [] },
  dispersion: null,
  astigmatism: { uniform: null, linearPerMm: null, radial: null },
  trefoil: { uniform3: null, directionDeg: null, directionErrorDeg: null },
};

function findingRecord(finding: DiagnosisFinding, screen: Screen): Finding {
  const shift = finding.starShift;
  return {
    cause: finding.cause,
    status: finding.status,
    significance: finding.significance,
    tolerance: finding.tolerance === '' ? null : finding.tolerance,
    widensPx: finding.widens,
    directionDeg:
      finding.direction === null
        ? null
        : finding.cause === 'pinched-optics'
          ? screen.trefoilDeg(3 * finding.direction)
          : screen.directionDeg(finding.direction),
    directionErrorDeg: finding.directionError === null ? null : degrees(finding.directionError),
    axisDeg: finding.axis === null ? null : screen.axisDeg(finding.axis),
    axisErrorDeg: finding.axisError === null ? null : degrees(finding.axisError),
    starShiftPx:
      shift === null
        ? null
        : {
            x: shift.x,
            y: screen.up(shift.y),
            length: shift.length,
            directionDeg: screen.directionDeg(Math.atan2(shift.y, shift.x)),
            error: shift.error,
            from: screen.position(shift.from),
            to: screen.position(shift.to),
            steps: shift.steps,
          },
    toleranceShare: finding.status === 'not-measurable' ? null : finding.share,
    because: finding.because,
    advice: finding.advice,
  };
}
