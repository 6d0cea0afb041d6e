import type { Measurement } from '../measure.ts';
import type { FieldPicture, Whisker } from './picture.ts';
import type { Preview } from './preview.ts';
import { screenOf } from './screen.ts';

/** The picture of one sub with the elongation of every star that was measured on any of them. */
export function composePicture(preview: Preview, { frames, setup, orientation }: Measurement): FieldPicture {
  const screen = screenOf(setup.width, setup.height, orientation.screenY);
  const whiskers = frames.flatMap(({ stars }) =>
    stars.shapes.map((shape): Whisker => {
      const { x, y } = screen.position(shape);
      return {
        x: preview.width / 2 + x * preview.pixelsPerFramePixel,
        y: preview.height / 2 - y * preview.pixelsPerFramePixel,
        elongation: shape.sigmaMajor / shape.sigmaMinor,
        axisDeg: screen.axisDeg(shape.theta),
      };
    }),
  );
  return { ...preview, whiskers };
}
