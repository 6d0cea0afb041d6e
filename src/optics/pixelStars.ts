import {
  diffractionSpectrum,
  type Grid,
  gridFor,
  halfSpectrum,
  type ImageConditions,
  imageOfSpectrum,
  lightsOf,
  maxHalfSize,
  stampAt,
} from './psf.ts';
import type { Telescope } from './telescope.ts';
import { NEGLIGIBLE, transferOf } from './transfer.ts';
import type { Coefficients } from './wavefront.ts';
import { workspace } from './workspace.ts';

/** Diffraction spectra are kept for the next seeing: the transform of one aberration on one grid is the same. */
const SPECTRA_KEPT = 6;
const LARGEST_KEPT = 512;

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
    const spectrum = this.spectrumOf(w, conditions, grid);
    const passed = transferOf(this.telescope, conditions, grid);
    const fine = workspace(size);
    if (!Number.isInteger(across)) {
      if (spectrum !== fine.b) fine.b.set(spectrum);
      return { half, pixels: stampAt(imageOfSpectrum(fine, passed, grid, conditions.pixelUm), 0, 0, half) };
    }
    const transfer = passed.re;
    const work = workspace(across);
    if (fine.compiled === null) fold(spectrum, transfer, size, across, work.a);
    else {
      // What stands elsewhere is brought to the kernels.
      if (spectrum !== fine.b) fine.b.set(spectrum);
      fine.transfer.set(transfer.subarray(0, halfSpectrum(size) / 2));
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
    this.spectra.set(key, this.copyOf(work.b.subarray(0, halfSpectrum(grid.size))));
    return work.b;
  }

  /** In the place of the one that has been kept longest, once enough are: memory is got once. */
  private copyOf(spectrum: Float64Array): Float64Array {
    const oldest = this.spectra.entries().next();
    if (this.spectra.size < SPECTRA_KEPT || oldest.done) return spectrum.slice();
    const [key, values] = oldest.value;
    this.spectra.delete(key);
    if (values.length !== spectrum.length) return spectrum.slice();
    values.set(spectrum);
    return values;
  }
}

/** Adds spectrum x transfer, size x size of which half the rows are told, onto the across x across frequencies of whole pixels. */
function fold(spectrum: Float64Array, transfer: Float64Array, size: number, across: number, out: Float64Array): void {
  out.fill(0);
  const mask = across - 1;
  for (let i = 0; i <= size / 2; i++)
    for (let j = 0; j < size; j++) {
      const k = i * size + j;
      const factor = transfer[k];
      if (Math.abs(factor) < NEGLIGIBLE) continue;
      const x = spectrum[2 * k] * factor;
      const y = spectrum[2 * k + 1] * factor;
      const to = 2 * ((i & mask) * across + (j & mask));
      out[to] += x;
      out[to + 1] += y;
      if (i === 0 || 2 * i === size) continue;
      const mirrored = 2 * ((-i & mask) * across + (-j & mask));
      out[mirrored] += x;
      out[mirrored + 1] -= y;
    }
}
