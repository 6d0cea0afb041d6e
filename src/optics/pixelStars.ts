import {
  diffractionSpectrum,
  type Grid,
  gridFor,
  type ImageConditions,
  lightsOf,
  maxHalfSize,
  stampAt,
  starImage,
} from './psf.ts';
import type { Telescope } from './telescope.ts';
import { NEGLIGIBLE, transferOf } from './transfer.ts';
import type { Coefficients } from './wavefront.ts';
import { workspace } from './workspace.ts';

/** Small diffraction spectra are kept for the next seeing: the transform of one aberration on one grid is the same. */
const SPECTRA_KEPT = 12;
const LARGEST_KEPT = 256;

/** What draws many stars of one telescope, each in the middle of a pixel, at changing aberrations and seeing. */
export class PixelStars {
  private readonly telescope: Telescope;
  private readonly conditions: Omit<ImageConditions, 'seeingArcsec' | 'smear' | 'grid'>;
  private readonly spectra = new Map<string, Float64Array>();

  constructor(telescope: Telescope, conditions: Omit<ImageConditions, 'seeingArcsec' | 'smear' | 'grid'>) {
    this.telescope = telescope;
    this.conditions = conditions;
  }

  /**
   * What `starImage` and `stampAt(psf, 0, 0, half)` give, (2 half + 1)^2 shares of the star's light: its spectrum is folded onto
   * the frequencies of whole pixels, so that nothing finer need be transformed back.
   */
  draw(
    w: Coefficients,
    seeingArcsec: number,
    mostHalf: number,
  ): { readonly half: number; readonly pixels: Float64Array } {
    const conditions = { ...this.conditions, seeingArcsec };
    const grid = gridFor(this.telescope, w, conditions);
    const { size, oversample } = grid;
    const half = Math.min(mostHalf, maxHalfSize(grid));
    const across = size / oversample;
    if (!Number.isInteger(across)) {
      const psf = starImage(this.telescope, w, { ...conditions, grid });
      return { half, pixels: stampAt(psf, 0, 0, half) };
    }
    const spectrum = this.spectrumOf(w, conditions, grid);
    const transfer = transferOf(this.telescope, conditions, grid).re;
    const work = workspace(across);
    const fine = workspace(size);
    if (fine.compiled === null) fold(spectrum, transfer, size, across, work.a);
    else {
      // What stands elsewhere is brought to the kernels.
      if (spectrum !== fine.b) fine.b.set(spectrum);
      fine.transfer.set(transfer);
      const [from, by, to] = [fine.b.byteOffset, fine.transfer.byteOffset, work.a.byteOffset];
      fine.compiled.run.fold(from, by, size, across, to, NEGLIGIBLE);
    }
    work.fft.transform(work.a, work.b);
    const width = 2 * half + 1;
    const pixels = new Float64Array(width * width);
    const norm = (oversample * oversample) / (size * size);
    for (let j = -half; j <= half; j++)
      for (let i = -half; i <= half; i++) {
        const from = ((across - i) % across) * across + ((across - j) % across);
        pixels[(j + half) * width + i + half] = work.b[2 * from] * norm;
      }
    return { half, pixels };
  }

  private spectrumOf(w: Coefficients, conditions: ImageConditions, grid: Grid): Float64Array {
    const key = JSON.stringify([w, grid]);
    const known = this.spectra.get(key);
    if (known !== undefined) return known;
    const work = workspace(grid.size);
    diffractionSpectrum(this.telescope, w, conditions, lightsOf(conditions), grid, work);
    if (grid.size > LARGEST_KEPT) return work.b;
    const oldest = this.spectra.keys().next();
    if (this.spectra.size >= SPECTRA_KEPT && !oldest.done) this.spectra.delete(oldest.value);
    const values = work.b.slice();
    this.spectra.set(key, values);
    return work.b;
  }
}

/** Adds spectrum x transfer, size x size, onto the across x across frequencies of whole pixels. */
function fold(spectrum: Float64Array, transfer: Float64Array, size: number, across: number, out: Float64Array): void {
  out.fill(0);
  for (let i = 0; i < size; i++) {
    const row = (i % across) * across;
    for (let j = 0; j < size; j++) {
      const k = i * size + j;
      const factor = transfer[k];
      if (factor < NEGLIGIBLE) continue;
      const to = 2 * (row + (j % across));
      out[to] += spectrum[2 * k] * factor;
      out[to + 1] += spectrum[2 * k + 1] * factor;
    }
  }
}
