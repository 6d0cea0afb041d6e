import { elongationFrom } from '../../diagnosis/tolerances.ts';
import { fieldPosition } from '../../field/frameStars.ts';
import type { Measurement } from '../../measure.ts';
import { median } from '../../numeric/statistics.ts';
import type { Screen } from '../screen.ts';
import { screenOf } from '../screen.ts';
import { type Spot, smoothField } from './smoothField.ts';

/** One quantity over the frame, on an even grid that spans it; rows from the top of the screen. */
export interface FieldMap {
  readonly columns: number;
  readonly rows: number;
  readonly values: Float64Array;
  /** 1 sigma. */
  readonly errors: Float64Array;
  /** Same grid: negative where the focus lies on one side, positive on the other, which is which not known; defocus only. */
  readonly signed: Float64Array | null;
}

export interface FieldMaps {
  /** Of the frame, pixels. */
  readonly width: number;
  readonly height: number;
  /** FWHM of the typical sub, pixels of the file. */
  readonly size: FieldMap | null;
  readonly elongation: FieldMap | null;
  /** Distance of the sensor from best focus: micrometres, or pixels of blur where the optics are not known. */
  readonly defocus: FieldMap | null;
  readonly defocusUnit: 'µm' | 'px';
}

const COLUMNS = 37;

/** Maps of star size, elongation and defocus, as the frame lies on the screen. */
export function composeMaps({ frames, setup, orientation, diagnosis }: Measurement): FieldMaps {
  const { width, height } = setup;
  const screen = screenOf(width, height, orientation.screenY);
  // Seeing makes one sub wider than another: each is brought to the typical sub's width first.
  const used = frames.filter(({ stars }) => stars.shapes.length > 0);
  const widths = used.map(({ stars }) => median(stars.shapes.map((shape) => shape.fwhm)));
  const typical = widths.length === 0 ? 0 : median(widths);
  const spots = used.flatMap(({ stars }, i) =>
    stars.shapes.map((shape): Spot => {
      const { x, y } = screen.position(shape);
      return { x, y, values: [(shape.fwhm * typical) / widths[i], shape.e1, screen.up(shape.e2)] };
    }),
  );
  const smooth = smoothField(spots, width, height);
  const physical = diagnosis.amounts?.physical === true;
  return {
    width,
    height,
    size:
      smooth &&
      mapOver(width, height, (x, y) => {
        const { values, errors } = smooth(x, y);
        return { value: values[0] ?? 0, error: errors[0] ?? 0 };
      }),
    elongation:
      smooth &&
      mapOver(width, height, (x, y) => {
        const { values, errors } = smooth(x, y);
        const [, e1 = 0, e2 = 0] = values;
        const error = Math.hypot(errors[1] ?? 0, errors[2] ?? 0) / Math.SQRT2;
        // Noise alone makes no star look long: its share is taken off.
        const e = Math.sqrt(Math.max(0, e1 * e1 + e2 * e2 - 2 * error * error));
        return { value: elongationFrom(e), error: (elongationFrom(e) * error) / (1 - e * e) };
      }),
    defocus: defocusMap(frames[0]?.stars, diagnosis.amounts, screen, width, height),
    defocusUnit: physical ? 'µm' : 'px',
  };
}

function defocusMap(
  stars: Measurement['frames'][number]['stars'] | undefined,
  amounts: Measurement['diagnosis']['amounts'],
  screen: Screen,
  width: number,
  height: number,
): FieldMap | null {
  const size = amounts?.size;
  if (!stars || !size || !amounts.response) return null;
  const { response, physical } = amounts;
  const [centre = 0] = size.centre;
  const [centreError = 0] = size.centreError;
  const inUnit = (blur: number): number => (physical ? response.defocusUm(Math.abs(blur)) : Math.abs(blur));
  const blurAt = (x: number, y: number): { blur: number; error: number } => {
    const { u, v } = fieldPosition(stars, x + (width - 1) / 2, screen.up(y) + (height - 1) / 2);
    const r2 = u * u + v * v;
    return {
      blur: centre + size.tilt.x * u + size.tilt.y * v + size.curvature.value * r2,
      // As if the parts' errors were independent.
      error: Math.hypot(centreError, size.tilt.error * Math.sqrt(r2), size.curvature.error * r2),
    };
  };
  const map = mapOver(width, height, (x, y) => {
    const { blur, error } = blurAt(x, y);
    const value = inUnit(blur);
    return { value, error: inUnit(Math.abs(blur) + error) - value };
  });
  return { ...map, signed: mapOver(width, height, (x, y) => ({ value: blurAt(x, y).blur, error: 0 })).values };
}

/** `at` is asked at pixels from the frame's centre, y up. */
function mapOver(
  width: number,
  height: number,
  at: (x: number, y: number) => { readonly value: number; readonly error: number },
): FieldMap {
  const columns = COLUMNS;
  const rows = Math.max(5, Math.round(((columns - 1) * height) / width) + 1);
  const values = new Float64Array(columns * rows);
  const errors = new Float64Array(columns * rows);
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const { value, error } = at((column / (columns - 1) - 0.5) * width, (0.5 - row / (rows - 1)) * height);
      values[row * columns + column] = value;
      errors[row * columns + column] = error;
    }
  }
  return { columns, rows, values, errors, signed: null };
}
