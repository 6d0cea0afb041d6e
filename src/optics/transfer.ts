import type { Grid, ImageConditions } from './psf.ts';
import { kolmogorovTransfer } from './seeing.ts';
import { type Smear, STEADY, sinc, smearTransfer } from './smear.ts';
import { type Telescope, umPerArcsec } from './telescope.ts';

/** Share of the light at a frequency that the seeing has wiped out. */
export const NEGLIGIBLE = 1e-12;

export interface Transfer {
  readonly re: Float64Array;
  readonly im: Float64Array | null;
}

/** Three seeings on three grids, as a table of responses asks for them in turn; of large ones fewer. */
const TRANSFERS_KEPT = 9;
const LARGE_KEPT = 4;
const LARGE = 1024;
const transfers = new Map<string, Transfer>();

/** Seeing, pixel and smear on the grid's frequencies; the last few are kept since a frame's stars share them. */
export function transferOf(telescope: Telescope, conditions: ImageConditions, grid: Grid): Transfer {
  const smear = conditions.smear ?? STEADY;
  const seeingUm = conditions.seeingArcsec * umPerArcsec(telescope);
  const key = JSON.stringify([grid, conditions.pixelUm, seeingUm, smear]);
  const known = transfers.get(key);
  if (known) return known;
  const { size, oversample } = grid;
  const moving = Object.keys(STEADY).some((name) => {
    const part = smear[name as keyof Smear];
    return typeof part === 'number' ? name === 'jitterUm' && part !== 0 : part.x !== 0 || part.y !== 0;
  });
  const re = new Float64Array(size * size);
  const im = moving ? new Float64Array(size * size) : null;
  const round = roundTransfer(seeingUm, conditions.pixelUm, grid);
  mirrored(round, size, re);
  if (im !== null) moveTransfer(smear, oversample / (size * conditions.pixelUm), size, re, im);
  const kept = size < LARGE ? TRANSFERS_KEPT : LARGE_KEPT;
  for (const oldest of transfers.keys()) {
    if (transfers.size < kept) break;
    transfers.delete(oldest);
  }
  const transfer = { re, im };
  transfers.set(key, transfer);
  return transfer;
}

/** Turns the transfer of a still star, in `re`, to that of a moving one. */
function moveTransfer(smear: Smear, perUm: number, size: number, re: Float64Array, im: Float64Array): void {
  const half = size / 2;
  for (let j = 0; j < size; j++) {
    for (let i = 0; i < size; i++) {
      const still = re[j * size + i];
      if (still < NEGLIGIBLE) continue;
      const moved = smearTransfer(smear, (i < half ? i : i - size) * perUm, (j < half ? j : j - size) * perUm);
      re[j * size + i] = still * moved.x;
      im[j * size + i] = still * moved.y;
    }
  }
}

/** Seeing and pixel for frequencies (i, j) from 0 to half the grid: all other quadrants, and (j, i), are the same. */
function roundTransfer(seeingUm: number, pixelUm: number, { size, oversample }: Grid): Float64Array {
  const side = size / 2 + 1;
  const out = new Float64Array(side * side);
  const perUm = oversample / (size * pixelUm);
  const pixel = Float64Array.from({ length: side }, (_, i) => sinc(i * perUm * pixelUm));
  for (let j = 0; j < side; j++)
    for (let i = 0; i <= j; i++) {
      const value = kolmogorovTransfer(seeingUm, Math.sqrt(i * i + j * j) * perUm) * pixel[i] * pixel[j];
      out[j * side + i] = value;
      out[i * side + j] = value;
    }
  return out;
}

/** A quarter of a symmetric table, (size/2 + 1)^2, to all size x size frequencies. */
function mirrored(quarter: Float64Array, size: number, out: Float64Array): void {
  const half = size / 2;
  for (let j = 0; j < size; j++) {
    const from = (j <= half ? j : size - j) * (half + 1);
    for (let i = 0; i < size; i++) out[j * size + i] = quarter[from + (i <= half ? i : size - i)];
  }
}
