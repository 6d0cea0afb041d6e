/** FWHM of a long Kolmogorov exposure is 0.976 lambda/r0 (0.97586 by the transform of the MTF below). */
const KOLMOGOROV_FWHM = 0.97586;

/**
 * Long-exposure transfer function of the atmosphere, exp(-3.44 (lambda nu / r0)^(5/3)) (Fried 1966, JOSA 56, 1372),
 * for seeing of the given FWHM; both in the same unit of length and its inverse.
 */
export function kolmogorovTransfer(fwhm: number, frequency: number): number {
  return Math.exp(-3.44 * ((fwhm / KOLMOGOROV_FWHM) * frequency) ** (5 / 3));
}
