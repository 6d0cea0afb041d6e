export { area, inspect } from './candidates';
export { addIntensity, asComplex, fold, pupil, transform } from './drawing';
export { fitGaussian } from './gaussian';
export { measureStar, setFit, setRing, setThirdOrder, setWindow } from './measure';
export { binBlocks, localMaxima, mesh, stretch, swap16 } from './pixels';
export { robustFit } from './robustFit';
export { cut, setFloats, slope } from './stamp';
export { byLeastSquares, bySums } from './thirdOrder';
export { descendSurface } from './sizeSurface';
