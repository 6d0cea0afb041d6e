import type { Measurement } from '../measure.ts';
import { elongationOf, type Shape } from '../shapes/shape.ts';
import { LEFT_OUT, type LeftOutStar } from '../stars/leftOut.ts';
import type { Column, Table } from './tableText.ts';

/** Where pixels are counted from, said in every table: the tables are for programs that read the frame themselves. */
const PIXELS =
  'Pixels count from 0, an integer is the centre of a pixel, x is the column and y the STORED row (FITS counts from 1). ' +
  'Axes and vectors are in stored pixels too: degrees and components from +x towards +y.';

interface StarRow {
  readonly sub: string;
  readonly shape: Shape;
}

const column = <Row>(
  name: string,
  unit: string | null,
  description: string,
  value: (row: Row) => number | string,
): Column<Row> => ({ name, unit, description, type: 'number', value });

const STAR_COLUMNS: readonly Column<StarRow>[] = [
  { ...column<StarRow>('sub', null, 'file the star was measured in', ({ sub }) => sub), type: 'text' },
  column('xPx', 'pix', 'column of the star', ({ shape }) => shape.x),
  column('yPx', 'pix', 'stored row of the star', ({ shape }) => shape.y),
  column('positionErrorPx', 'pix', 'error of each of xPx and yPx', ({ shape }) => shape.positionError),
  column('fwhmPx', 'pix', 'full width at half maximum, geometric mean of both axes', ({ shape }) => shape.fwhm),
  column('fwhmErrorPx', 'pix', 'error of fwhmPx', ({ shape }) => shape.fwhmError),
  column('elongation', null, 'major over minor axis, at least 1', ({ shape }) => elongationOf(shape)),
  column('elongationError', null, 'error of elongation', ({ shape }) => elongationErrorOf(shape)),
  column('axisDeg', 'deg', 'long axis from +x towards +y', ({ shape }) => axisOf(shape)),
  column('axisErrorDeg', 'deg', 'error of axisDeg, at most 45', ({ shape }) => axisErrorOf(shape)),
  column('e1', null, '(a2 - b2)/(a2 + b2) cos 2 axis', ({ shape }) => shape.e1),
  column('e2', null, '(a2 - b2)/(a2 + b2) sin 2 axis', ({ shape }) => shape.e2),
  column('eError', null, 'error of each of e1 and e2', ({ shape }) => shape.eError),
  column('coma3X', null, 'third-order shape of spin 1 along the tail, x', ({ shape }) => shape.coma3.x),
  column('coma3Y', null, 'third-order shape of spin 1 along the tail, y', ({ shape }) => shape.coma3.y),
  column('coma3Error', null, 'error of each of coma3X and coma3Y', ({ shape }) => shape.coma3.error),
  column('trefoil3X', null, 'third-order shape of spin 3, cosine of 3 phi', ({ shape }) => shape.trefoil3.x),
  column('trefoil3Y', null, 'third-order shape of spin 3, sine of 3 phi', ({ shape }) => shape.trefoil3.y),
  column('trefoil3Error', null, 'error of each of trefoil3X and trefoil3Y', ({ shape }) => shape.trefoil3.error),
  column('fluxAdu', 'adu', 'volume under the fitted Gaussian', ({ shape }) => shape.flux),
  column('fluxErrorAdu', 'adu', 'error of fluxAdu', ({ shape }) => shape.fluxError),
  column('peakAdu', 'adu', 'height of the fitted Gaussian over the sky', ({ shape }) => shape.amplitude),
  column('peakErrorAdu', 'adu', 'error of peakAdu', ({ shape }) => shape.amplitudeError),
  column('peakSnr', null, 'peak over its noise in one pixel', ({ shape }) => shape.peakSnr),
];

/** d(major/minor)/de of elongation^2 = (1 + e)/(1 - e). */
function elongationErrorOf(shape: Shape): number {
  const e = Math.hypot(shape.e1, shape.e2);
  return (elongationOf(shape) / (1 - e * e)) * shape.eError;
}

const degrees = (radians: number): number => (radians * 180) / Math.PI;

/** 0..180. */
const axisOf = ({ theta }: Shape): number => (degrees(theta) + 180) % 180;

function axisErrorOf({ e1, e2, eError }: Shape): number {
  return Math.min(45, degrees(eError / (2 * Math.max(Math.hypot(e1, e2), 1e-12))));
}

/** What the tables say of themselves. */
export interface TableOrigin {
  readonly tool: { readonly name: string; readonly version: string };
}

/** Every star whose shape went into the field, sub by sub. */
export function starTable({ frames, orientation }: Measurement, { tool }: TableOrigin): Table<StarRow> {
  return {
    columns: STAR_COLUMNS,
    rows: frames.flatMap(({ stars }) => stars.shapes.map((shape) => ({ sub: stars.name, shape }))),
    about: about('stars measured, one a row; errors are 1 sigma', tool, orientation.rowOrder),
  };
}

interface LeftOutRow {
  readonly sub: string;
  readonly star: LeftOutStar;
}

const LEFT_OUT_COLUMNS: readonly Column<LeftOutRow>[] = [
  { ...column<LeftOutRow>('sub', null, 'file it was found in', ({ sub }) => sub), type: 'text' },
  column('xPx', 'pix', 'column', ({ star }) => star.x),
  column('yPx', 'pix', 'stored row', ({ star }) => star.y),
  { ...column<LeftOutRow>('reason', null, 'why it was left out', ({ star }) => star.reason), type: 'text' },
];

/** Everything found that is no star or no use, with the reason. */
export function leftOutTable({ frames, orientation }: Measurement, { tool }: TableOrigin): Table<LeftOutRow> {
  return {
    columns: LEFT_OUT_COLUMNS,
    rows: frames.flatMap(({ stars, leftOutStars }) => leftOutStars.map((star) => ({ sub: stars.name, star }))),
    about: { ...about('objects left out, one a row', tool, orientation.rowOrder), ...LEFT_OUT },
  };
}

function about(holds: string, tool: TableOrigin['tool'], rowOrder: string): Record<string, string> {
  return {
    holds,
    pixels: PIXELS,
    rowOrder: `${rowOrder}: the first stored row is shown ${rowOrder === 'TOP-DOWN' ? 'on top' : 'at the bottom'}`,
    madeBy: `${tool.name} ${tool.version}`,
  };
}
