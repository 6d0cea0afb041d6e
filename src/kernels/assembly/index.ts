export { fitGaussian } from './gaussian';
export { binBlocks, localMaxima, mesh, swap16 } from './pixels';
export { cut, slope } from './stamp';
export { byLeastSquares, bySums } from './thirdOrder';
