export const ARCMIN_PER_RAD = 10_800 / Math.PI;
