export { area, inspect } from './candidates';
export { fitGaussian } from './gaussian';
export { measureStar, setFit, setRing, setThirdOrder, setWindow } from './measure';
export { binBlocks, localMaxima, mesh, stretch, swap16 } from './pixels';
export { cut, setFloats, slope } from './stamp';
export { byLeastSquares, bySums } from './thirdOrder';
