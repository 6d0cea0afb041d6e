import { type FocalSurface, focalSurface, type SurfacePoint } from '../../diagnosis/focalSurface.ts';
import { elongationFrom } from '../../diagnosis/tolerances.ts';
import { type FrameStars, fieldPosition } from '../../field/frameStars.ts';
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
  const [first] = frames;
  const surface = diagnosis.amounts && focalSurface(diagnosis.amounts, setup);
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
    defocus: surface && first ? defocusMap(surface, screen, first.stars) : null,
    defocusUnit: surface?.unit === 'px' ? 'px' : 'µm',
  };
}

function defocusMap(surface: FocalSurface, screen: Screen, stars: FrameStars): FieldMap {
  const { width, height } = stars;
  const at = (x: number, y: number): SurfacePoint =>
    surface.at(fieldPosition(stars, x + (width - 1) / 2, screen.up(y) + (height - 1) / 2));
  const map = mapOver(width, height, (x, y) => {
    const { value, error } = at(x, y);
    return { value: Math.abs(value), error };
  });
  return { ...map, signed: mapOver(width, height, at).values };
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
