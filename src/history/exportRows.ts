import { csvText } from '../report/tableText.ts';
import type { CheckRow, EventRow } from './row.ts';

/** Every leaf of a row, in the order of the columns. */
const LEAVES = [
  ...['id', 'time', 'timeFrom', 'created', 'rig', 'telescope', 'camera', 'filter', 'subs', 'exposureS', 'stars'],
  ...['widthPx', 'heightPx', 'altitudeDeg', 'azimuthDeg', 'pierSide', 'temperatureC', 'temperatureFrom'],
  ...['focuserPosition', 'rotatorAngleDeg'],
  ...['cameraAngle.deg', 'cameraAngle.errorDeg', 'cameraAngle.from', 'cameraAngle.moduloDeg'],
  ...['spikeAngle.deg', 'spikeAngle.errorDeg', 'spikeAngle.moduloDeg'],
  ...['pixelUm', 'focalLengthMm', 'primaryFocalLengthMm', 'apertureMm', 'arcsecPerPx'],
  ...['coma3.x', 'coma3.y', 'coma3.error', 'comaUm.x', 'comaUm.y', 'comaUm.error'],
  ...['mirrorTilt.arcmin', 'mirrorTilt.minus', 'mirrorTilt.plus'],
  ...['sensorTilt.um.value', 'sensorTilt.um.error', 'sensorTilt.upperLimitUm'],
  ...['sensorTilt.axisDeg', 'sensorTilt.axisErrorDeg', 'curvatureUm.value', 'curvatureUm.error'],
  ...['astigmatism.x', 'astigmatism.y', 'astigmatism.error', 'astigmatismRadial.value', 'astigmatismRadial.error'],
  ...['trefoil3.x', 'trefoil3.y', 'trefoil3.error', 'smearPx.value', 'smearPx.error', 'smearAxisDeg'],
  ...['fwhmFloorPx.value', 'fwhmFloorPx.error', 'fwhmFloorArcsec.value', 'fwhmFloorArcsec.error'],
  ...['elongation.value', 'elongation.error', 'verdict', 'headline', 'faults', 'sha256', 'reportVersion'],
] as const;

/** 'sensorTilt.um.error' is the column sensorTiltUmError, 'curvatureUm.value' is curvatureUm. */
function columnName(leaf: string): string {
  return leaf
    .split('.')
    .filter((part, i, parts) => part !== 'value' || i < parts.length - 1)
    .map((part, i) => (i === 0 ? part : part.charAt(0).toUpperCase() + part.slice(1)))
    .join('');
}

/** Checks as CSV (RFC 4180), one a line; empty where nothing was measured; no cell that a spreadsheet would compute. */
export function checksCsv(rows: readonly CheckRow[]): string {
  const columns = LEAVES.map((leaf) => ({
    name: columnName(leaf),
    unit: null,
    description: '',
    type: 'text' as const,
    value: (row: CheckRow): number | string => cellOf(leaf, row),
  }));
  return csvText({ columns, rows, about: {} });
}

function cellOf(leaf: string, row: CheckRow): number | string {
  const value = leaf
    .split('.')
    .reduce<unknown>((at, key) => (at as Record<string, unknown> | null | undefined)?.[key], row);
  if (Array.isArray(value)) return value.join(' ');
  return typeof value === 'number' || typeof value === 'string' ? value : Number.NaN;
}

/** All of it as JSON, with its own format and version. */
export function historyJson(checks: readonly CheckRow[], events: readonly EventRow[]): string {
  return `${JSON.stringify({ format: 'starplumb-history', version: 1, checks, events }, null, 1)}\n`;
}
