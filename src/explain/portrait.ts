import { type Complex, ZERO } from '../optics/complex.ts';
import { type Psf, starImage } from '../optics/psf.ts';
import { wavefrontAt } from '../optics/wavefront.ts';
import { DRAWN_TELESCOPE, type DrawnFault } from './drawnFaults.ts';

/** A star's image, read at any point. */
export interface Portrait {
  /** Light at (x, y) um from the star's centre of gravity, y up, in shares of the star's own peak. */
  at(x: number, y: number): number;
}

/** The star at field position z (mm from the middle of the sensor, y up) of a telescope with that fault. */
export function portraitOf(fault: DrawnFault, z: Complex = ZERO): Portrait {
  const psf = starImage(DRAWN_TELESCOPE, wavefrontAt(DRAWN_TELESCOPE, fault.state, z), fault.conditions);
  const peak = psf.image.reduce((a, b) => Math.max(a, b), 0);
  const perUm = psf.oversample / psf.pixelUm;
  return { at: (x, y) => bilinear(psf, psf.size / 2 + x * perUm, psf.size / 2 + y * perUm) / peak };
}

function bilinear({ size, image }: Psf, x: number, y: number): number {
  const i = Math.floor(x);
  const j = Math.floor(y);
  if (i < 0 || j < 0 || i >= size - 1 || j >= size - 1) return 0;
  const [u, v] = [x - i, y - j];
  const at = j * size + i;
  return (
    (1 - v) * ((1 - u) * image[at] + u * image[at + 1]) + v * ((1 - u) * image[at + size] + u * image[at + size + 1])
  );
}
